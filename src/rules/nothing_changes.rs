//! `nothing-changes`: an update that sends pixels of which none changes, and that cleans nothing.

use super::{Rule, Setup, wording};
use crate::{
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every update on its own.
#[derive(Clone)]
pub(super) struct NothingChanges<'p> {
    plan: &'p Plan,
}

impl<'p> NothingChanges<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for NothingChanges<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let display = &self.plan.display;
        for (index, update) in step.updates.iter().enumerate() {
            let mode = &display.modes[update.mode];
            if update.sent.is_empty() || update.changed_px > 0 || mode.cleans || update.takes_residue {
                continue;
            }
            let observation = Observation {
                update: Some(index),
                rect: update.sent_bounds(),
                message: format!(
                    "the `{}` update sends {} but changes none of them; it takes {} ms",
                    mode.name,
                    wording::area(update.sent_px, display),
                    wording::figure(update.duration_ms)
                ),
                help: "remove the update, or ask for \"changed\", which sends nothing where nothing differs".into(),
                corrections: vec![
                    Correction::of(step, ChangeOf::RemoveUpdate { update: index }),
                    Correction::of(step, ChangeOf::Window { update: index, window: WindowAsk::Changed }),
                ],
                figures: vec![("sent_px", update.sent_px as f64), ("duration_ms", update.duration_ms)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }
}
