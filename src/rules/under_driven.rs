//! `under-driven`: a drive that is too short for the whole swing.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
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
        Self { least_share: setup.limits.under_driven.share.value, plan: setup.plan }
    }

    fn observation(&self, index: usize, update: &PlayedUpdate) -> Observation {
        let mode = &self.plan.display.modes[update.mode];
        let percent = 100.0 * update.share;
        let whole_ms = mode.full_swing_ms.unwrap_or(update.duration_ms);
        Observation {
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!(
                "`{}` drives for {} ms, but a full swing takes {} ms: the pixels that change reach only {percent:.0} % of their \
                contrast",
                mode.name,
                wording::figure(update.duration_ms),
                wording::figure(whole_ms)
            ),
            help: format!(
                "drive for at least {} ms; do not raise the voltage unless the panel maker's documents allow it",
                wording::figure(whole_ms)
            ),
            figures: vec![("drive_ms", update.duration_ms), ("full_swing_ms", whole_ms), ("share_percent", percent)],
            ..Observation::default()
        }
    }
}

impl Rule for UnderDriven<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, update) in step.updates.iter().enumerate() {
            if update.changes_something() && update.share < self.least_share {
                sink.report(Where::of(step, StepField::Mode(index)), self.observation(index, update));
            }
        }
    }
}
