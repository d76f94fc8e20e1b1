//! `cannot-keep-up`: requests come faster than the panel works, so that the wait grows from step to step.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows a run of steps that wait, until one finds the panel idle.
#[derive(Clone)]
pub(super) struct CannotKeepUp<'p> {
    plan: &'p Plan,
    limit_ms: f64,
    run: Option<Run>,
}

/// From which difference on a wait has grown, ms: below it nobody can distinguish rounding from a backlog.
const RISE_MS: f64 = 1.0;

/// Steps that wait one after the other.
#[derive(Clone)]
struct Run {
    place: Where,
    steps: u64,
    first_wait_ms: f64,
    longest_wait_ms: f64,
    /// The wait that the next rise is measured from, and how often it rose.
    risen_to_ms: f64,
    rises: u64,
    first_request_ms: f64,
    last_request_ms: f64,
    last_finish_ms: f64,
    /// The update that drives the panel longest: its step, its mode, and how long, ms.
    longest: (u64, usize, f64),
}

impl<'p> CannotKeepUp<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, limit_ms: setup.limits.cannot_keep_up.wait_ms.value, run: None }
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some(run) = self.run.take() else { return };
        // One long wait is a collision and no backlog: here the wait grows, and grows again.
        if run.longest_wait_ms <= self.limit_ms || run.rises < 2 {
            return;
        }
        let every_ms = (run.last_request_ms - run.first_request_ms) / (run.steps - 1) as f64;
        let needs_ms = (run.last_finish_ms - run.first_request_ms) / run.steps as f64;
        let grows = format!(
            "over {} steps the wait grows from {} to {} ms",
            run.steps,
            wording::ms(run.first_wait_ms),
            wording::ms(run.longest_wait_ms)
        );
        let (step, mode, longest_ms) = run.longest;
        let [message, help] = if 2.0 * longest_ms > run.last_finish_ms - run.first_request_ms {
            let it = format!("`{}` at {}", self.plan.display.modes[mode].name, self.plan.kind().step(step));
            [
                format!("{grows}, mostly because of {it}, which takes {} ms", wording::ms(longest_ms)),
                format!(
                    "delay what comes after {it}, or use a quicker mode there; otherwise skip steps while the panel is \
                     busy, but none that somebody must see"
                ),
            ]
        } else {
            [
                format!(
                    "{grows}: a step comes every {} ms, but the panel needs about {} ms for each",
                    wording::ms(every_ms),
                    wording::ms(needs_ms)
                ),
                "skip steps while the panel is busy and show only the newest (but skip none that somebody must see), use a \
                 quicker mode, or update less often"
                    .to_owned(),
            ]
        };
        let observation = Observation {
            message,
            help: help + wording::input_of_flow(self.plan),
            figures: vec![
                ("steps", run.steps as f64),
                ("wait_ms", run.longest_wait_ms),
                ("limit_ms", self.limit_ms),
                ("every_ms", every_ms),
                ("needs_ms", needs_ms),
            ],
            margin: Margin::of(Figure::Durations, run.longest_wait_ms, self.limit_ms, &self.plan.display),
            // The run is reported at its first step: without an update there, that is a later one.
            lasts: true,
            ..Observation::default()
        };
        sink.report(run.place, observation);
    }
}

impl Rule for CannotKeepUp<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let sent = || step.updates.iter().filter(|update| !update.sent.is_empty());
        let Some(wait_ms) = sent().map(|update| update.times.wait_ms).reduce(f64::max) else { return };
        let request_ms = step.updates_request_ms();
        let finish_ms = sent().map(|update| update.times.finish_ms).fold(request_ms, f64::max);
        if self.run.as_ref().is_some_and(|run| run.last_finish_ms <= request_ms) {
            self.close(sink);
        }
        let run = self.run.get_or_insert_with(|| Run {
            place: Where::of(step, StepField::Updates),
            steps: 0,
            first_wait_ms: wait_ms,
            longest_wait_ms: wait_ms,
            risen_to_ms: wait_ms,
            rises: 0,
            first_request_ms: request_ms,
            last_request_ms: request_ms,
            last_finish_ms: finish_ms,
            longest: (step.planned.index, 0, 0.0),
        });
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let drives_ms = update.times.finish_ms - update.times.start_ms;
            if drives_ms > run.longest.2 {
                run.longest = (step.planned.index, update.mode, drives_ms);
            }
        }
        run.steps += 1;
        run.place.last_step = step.planned.index;
        run.longest_wait_ms = run.longest_wait_ms.max(wait_ms);
        if wait_ms > run.risen_to_ms + RISE_MS {
            (run.risen_to_ms, run.rises) = (wait_ms, run.rises + 1);
        }
        run.last_request_ms = request_ms;
        run.last_finish_ms = run.last_finish_ms.max(finish_ms);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
