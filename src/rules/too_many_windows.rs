//! `too-many-windows`: more windows in a step than the controller takes.

use super::{Rule, Setup};
use crate::{
    finding::{Sight, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Counts the boxes of every step.
#[derive(Clone)]
pub(super) struct TooManyWindows<'p> {
    plan: &'p Plan,
}

impl<'p> TooManyWindows<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for TooManyWindows<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(most) = self.plan.display.windows.and_then(|windows| windows.most_in_a_step) else { return };
        let sent: usize = step.updates.iter().map(|update| update.sent.len()).sum();
        if sent > most {
            let sight = Sight {
                message: format!("this step sends {sent} windows; the controller takes {most}"),
                help: "join windows that lie close to each other, or spread them over two steps".into(),
                figures: vec![("windows", sent as f64), ("most", most as f64)],
                ..Sight::default()
            };
            sink.report(Where::of(step, StepField::Updates), sight);
        }
    }
}
