//! `not-done`: a device left out something of its plan.

use super::{Rule, Setup, departures};
use crate::{
    finding::Sink,
    plan::{DepartureKind, Plan},
};

/// Looks at what the device left out of the plan that its trace is held against.
#[derive(Clone)]
pub(super) struct NotDone<'p> {
    plan: &'p Plan,
}

impl<'p> NotDone<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for NotDone<'_> {
    fn end(&mut self, sink: &mut Sink) {
        departures::report(self.plan, DepartureKind::NotDone, sink);
    }
}
