//! `never-idle`: updates follow each other without a pause for a long time.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
};

/// Follows the time for which the panel is never idle for long.
#[derive(Clone)]
pub(super) struct NeverIdle {
    limit_ms: f64,
    run: Option<Run>,
    reported: u64,
}

/// Updates without a pause between them.
#[derive(Clone)]
struct Run {
    begins: Begin,
    /// The first update of it that no person asked for: a cursor that blinks after a key.
    unasked: Option<Begin>,
    last_step: u64,
    until_ms: f64,
    updates: u64,
}

#[derive(Clone)]
struct Begin {
    place: Where,
    at_ms: f64,
    /// The updates of the run before it.
    before: u64,
}

/// A shorter gap is no pause: the panel's supply stays up. Common practice, no source.
const PAUSE_MS: f64 = 1000.0;
/// One long update is how a slow panel works: with fewer than these nothing follows anything.
const FEWEST_UPDATES: u64 = 2;
const MS_IN_A_SECOND: f64 = 1000.0;

impl NeverIdle {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        Self { limit_ms: setup.limits.never_idle.seconds.value * MS_IN_A_SECOND, run: None, reported: 0 }
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some(run) = self.run.take() else { return };
        let passes =
            |begin: &Begin| run.until_ms - begin.at_ms > self.limit_ms && run.updates - begin.before >= FEWEST_UPDATES;
        // What a person asks for in a row is less of an unrest than what goes on by itself.
        let goes_on_by_itself = run.unasked.as_ref().is_some_and(passes);
        let begins = run.unasked.filter(passes).or(Some(run.begins).filter(passes));
        let Some(Begin { place, at_ms, before }) = begins else { return };
        let (busy_ms, updates) = (run.until_ms - at_ms, run.updates - before);
        let observation = Observation {
            message: format!(
                "{updates} updates follow each other for {} without a pause of one second, from {} on: the panel stays \
                 powered and wears out sooner",
                wording::span(busy_ms),
                wording::step_name(place.step, place.label.as_deref())
            ),
            help: if goes_on_by_itself {
                "leave out pictures that nobody needs to see, show the state in a still picture, and let an animation \
                 stop after a few seconds"
                    .into()
            } else {
                "leave pauses between the updates, or answer several touches or keys that follow each other quickly with one \
                 update; if each must come as it does, fix the other findings first, and accept this one if it is then \
                 still reported"
                    .into()
            },
            figures: vec![
                ("busy_seconds", busy_ms / MS_IN_A_SECOND),
                ("limit_seconds", self.limit_ms / MS_IN_A_SECOND),
                ("updates", updates as f64),
            ],
            key: self.reported.to_string(),
            ..Observation::default()
        };
        self.reported += 1;
        sink.report(Where { last_step: run.last_step, ..place }, observation);
    }
}

impl Rule for NeverIdle {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let is_asked = step.planned.step.cause.is_person();
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let times = &update.times;
            if self.run.as_ref().is_some_and(|run| times.start_ms - run.until_ms >= PAUSE_MS) {
                self.close(sink);
            }
            let begin = |before| Begin { place: Where::of(step, StepField::Updates), at_ms: times.start_ms, before };
            let run = self.run.get_or_insert_with(|| Run {
                begins: begin(0),
                unasked: None,
                last_step: step.planned.index,
                until_ms: times.finish_ms,
                updates: 0,
            });
            if !is_asked {
                run.unasked.get_or_insert_with(|| begin(run.updates));
            }
            run.until_ms = run.until_ms.max(times.finish_ms);
            run.updates += 1;
            run.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
