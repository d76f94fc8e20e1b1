//! `done-otherwise`: a device carried out a planned update differently, or late.

use super::{Rule, Setup, departures};
use crate::{
    finding::Sink,
    plan::{DepartureKind, Plan},
};

/// Looks at what the device did in another way than the plan that its trace is held against.
#[derive(Clone)]
pub(super) struct DoneOtherwise<'p> {
    plan: &'p Plan,
}

impl<'p> DoneOtherwise<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for DoneOtherwise<'_> {
    fn end(&mut self, sink: &mut Sink) {
        departures::report(self.plan, DepartureKind::DoneOtherwise, sink);
    }
}
