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
    told: u64,
}

#[derive(Clone)]
struct Run {
    place: Where,
    from_ms: f64,
    until_ms: f64,
    updates: u64,
}

/// A shorter gap is no pause: the panel's supply stays up. Common practice, no source.
const PAUSE_MS: f64 = 1000.0;

impl NeverIdle {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        Self { limit_ms: setup.limits.never_idle.seconds.value * 1000.0, run: None, told: 0 }
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some(run) = self.run.take() else { return };
        let busy_ms = run.until_ms - run.from_ms;
        // One long update is how a slow panel works.
        if busy_ms <= self.limit_ms || run.updates < 2 {
            return;
        }
        let observation = Observation {
            message: format!(
                "{} updates follow each other for {} without a pause of a second: the panel stays powered, and wears",
                run.updates,
                wording::span(busy_ms)
            ),
            help: "stop the animation after a few seconds, blink less often, or show the state in a still picture"
                .into(),
            figures: vec![
                ("busy_seconds", busy_ms / 1000.0),
                ("limit_seconds", self.limit_ms / 1000.0),
                ("updates", run.updates as f64),
            ],
            key: self.told.to_string(),
            ..Observation::default()
        };
        self.told += 1;
        sink.report(run.place, observation);
    }
}

impl Rule for NeverIdle {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let times = &update.times;
            if self.run.as_ref().is_some_and(|run| times.start_ms - run.until_ms >= PAUSE_MS) {
                self.close(sink);
            }
            let run = self.run.get_or_insert_with(|| Run {
                place: Where::of(step, StepField::Updates),
                from_ms: times.start_ms,
                until_ms: times.finish_ms,
                updates: 0,
            });
            run.until_ms = run.until_ms.max(times.finish_ms);
            run.updates += 1;
            run.place.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
