//! `not-in-plan`: a device did something that its plan does not have.

use super::{Rule, Setup, departures};
use crate::{
    finding::Sink,
    plan::{DepartureKind, Plan},
};

/// Looks at what the plan that a trace is held against does not have.
#[derive(Clone)]
pub(super) struct NotInPlan<'p> {
    plan: &'p Plan,
}

impl<'p> NotInPlan<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for NotInPlan<'_> {
    fn end(&mut self, sink: &mut Sink) {
        departures::report(self.plan, DepartureKind::NotInPlan, sink);
    }
}
