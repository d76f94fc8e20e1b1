//! What the rules of the pen share: which updates are still running, and one finding for what goes on from stroke to stroke.

use crate::{
    finding::{Observation, Sink, Where},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::Cause,
};

/// Whether a step's updates are what the host commits after the pen.
pub(super) fn is_commit(step: &PlayedStep<'_>) -> bool {
    !step.planned.step.strokes.is_empty() || step.planned.step.cause == Cause::Pen
}

/// A trouble that may go on from one stroke to the next: one finding from the first to the last of the same kind.
#[derive(Clone, Debug, Default)]
pub(super) struct Lasting {
    open: Option<Open>,
    reported: u64,
}

#[derive(Clone, Debug)]
struct Open {
    place: Where,
    badness: f64,
    worst_step: u64,
    observation: Observation,
}

impl Lasting {
    /// Sees the trouble once more; the worst of it is reported. Another kind is another finding.
    pub(super) fn see(&mut self, kind: &str, place: Where, badness: f64, observation: Observation, sink: &mut Sink) {
        if self.open.as_ref().is_some_and(|open| open.observation.key != kind) {
            self.close(sink);
        }
        let observation = Observation { key: kind.to_owned(), ..observation };
        match &mut self.open {
            Some(open) => {
                open.place.last_step = place.last_step;
                // A change of one step does not end what several have.
                open.observation.corrections.clear();
                let observation = Observation { corrections: Vec::new(), ..observation };
                if badness > open.badness {
                    (open.badness, open.worst_step, open.observation) = (badness, place.step, observation);
                }
            }
            None => self.open = Some(Open { badness, worst_step: place.step, observation, place }),
        }
    }

    /// Tells what was seen up to here.
    pub(super) fn close(&mut self, sink: &mut Sink) {
        let Some(open) = self.open.take() else { return };
        let mut observation = Observation { key: self.reported.to_string(), ..open.observation };
        self.reported += 1;
        if open.worst_step != open.place.step {
            observation.message = format!("{} (worst at step {})", observation.message, open.worst_step);
        }
        sink.report(open.place, observation);
    }
}

/// Updates of the host that have not finished.
#[derive(Clone, Debug, Default)]
pub(super) struct Running(pub(super) Vec<RunningUpdate>);

/// An update of the host that has not finished.
#[derive(Clone, Debug)]
pub(super) struct RunningUpdate {
    pub(super) step: u64,
    pub(super) place: Where,
    pub(super) index: usize,
    pub(super) mode: usize,
    pub(super) sent: Vec<Rect>,
    pub(super) duration_ms: f64,
    pub(super) finish_ms: f64,
    pub(super) is_commit: bool,
    /// When it was asked for, ms since the plan began.
    pub(super) request_ms: f64,
}

impl Running {
    /// Forgets what has finished at that time.
    pub(super) fn until(&mut self, now_ms: f64) {
        self.0.retain(|update| update.finish_ms > now_ms);
    }

    /// Adds the updates of a step.
    pub(super) fn add(&mut self, step: &PlayedStep<'_>) {
        let sent = step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty());
        self.0.extend(sent.map(|(index, update)| running(step, index, update)));
    }
}

fn running(step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> RunningUpdate {
    RunningUpdate {
        step: step.planned.index,
        place: Where::of(step, crate::finding::StepField::Mode(index)),
        index,
        mode: update.mode,
        sent: update.sent.clone(),
        duration_ms: update.duration_ms,
        finish_ms: update.times.finish_ms,
        is_commit: is_commit(step),
        request_ms: step.updates_request_ms(),
    }
}
