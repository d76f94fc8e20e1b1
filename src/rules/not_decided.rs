//! `not-decided`: a step whose updates are left to choose.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, Updates},
};

/// Looks at every step.
#[derive(Clone)]
pub(super) struct NotDecided<'p> {
    plan: &'p Plan,
}

impl<'p> NotDecided<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for NotDecided<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if step.planned.step.updates != Updates::Choose {
            return;
        }
        let modes: Vec<String> = self.plan.display.mode_names().map(|mode| format!("`{mode}`")).collect();
        let observation = Observation {
            rect: step.changed.bounds(step.grid()),
            message: format!(
                "the updates of this step are still to be chosen, so nothing is sent; {} differ from the glass",
                wording::area(step.changed.count(), &self.plan.display)
            ),
            help: format!(
                "list the updates, or let `stillpage replan` choose them; the display's modes are {}",
                wording::listed(&modes, 6)
            ),
            figures: vec![("px", step.changed.count() as f64)],
            ..Observation::default()
        };
        sink.report(Where::of(step, StepField::Updates), observation);
    }
}
