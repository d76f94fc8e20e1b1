//! `never-reached`: a state of a flow that no walk reaches.

use super::{Outcome, Rule, Setup, reach::report_each};
use crate::finding::Sink;

/// Reports the states that no walk reaches.
#[derive(Clone)]
pub(super) struct NeverReached;

impl NeverReached {
    pub(super) fn new(_setup: &Setup<'_>) -> Self {
        Self
    }
}

impl Rule for NeverReached {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let Some(of_flow) = outcome.of_flow else { return };
        let message = |name: &str| format!("no walk reaches the state `{name}`, so nothing was checked there");
        let help = "add a move to this state, make it a start, or remove it and its moves";
        report_each(&of_flow.never_reached, &message, help, sink);
    }
}
