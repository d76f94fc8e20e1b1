//! `no-way-out`: a state of a flow that walks reach and that no move leaves.

use super::{Outcome, Rule, Setup, reach::report_each};
use crate::finding::Sink;

/// Reports the states in which walks end.
#[derive(Clone)]
pub(super) struct NoWayOut;

impl NoWayOut {
    pub(super) fn new(_setup: &Setup<'_>) -> Self {
        Self
    }
}

impl Rule for NoWayOut {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let Some(of_flow) = outcome.of_flow else { return };
        let message = |name: &str| format!("no move leaves the state `{name}`: every walk that comes here ends here");
        let help =
            "add a move that leaves this state; if the device really stops here, switch this rule off in `rules`";
        report_each(&of_flow.no_way_out, &message, help, sink);
    }
}
