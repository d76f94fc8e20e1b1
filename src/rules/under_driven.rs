//! `under-driven`: a drive that is too short for the whole swing.

use super::{Rule, Setup, words};
use crate::{
    finding::{Sight, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Looks at how much of the way every drive goes.
#[derive(Clone)]
pub(super) struct UnderDriven<'p> {
    plan: &'p Plan,
    least_share: f64,
}

impl<'p> UnderDriven<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { least_share: setup.limit("share"), plan: setup.plan }
    }

    fn sight(&self, index: usize, update: &PlayedUpdate) -> Sight {
        let mode = &self.plan.display.modes[update.mode];
        let percent = 100.0 * update.share;
        let whole_ms = mode.full_swing_ms.unwrap_or(update.duration_ms);
        Sight {
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!(
                "`{}` is driven for {} ms, a whole swing takes {} ms: what changes reaches {percent:.0} % of its contrast",
                mode.name,
                words::figure(update.duration_ms),
                words::figure(whole_ms)
            ),
            help: format!(
                "drive for at least {} ms, or at a higher voltage",
                words::figure(self.least_share * whole_ms)
            ),
            figures: vec![("drive_ms", update.duration_ms), ("full_swing_ms", whole_ms), ("share_percent", percent)],
            ..Sight::default()
        }
    }
}

impl Rule for UnderDriven<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, update) in step.updates.iter().enumerate() {
            if update.changes_something() && update.share < self.least_share {
                sink.report(Where::of(step, StepField::Mode(index)), self.sight(index, update));
            }
        }
    }
}
