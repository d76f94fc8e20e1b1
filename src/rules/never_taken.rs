//! `never-taken`: a move of a flow that no walk takes.

use super::{Outcome, Rule, Setup, reach::report_each};
use crate::finding::Sink;

/// Reports the moves that no walk takes.
#[derive(Clone)]
pub(super) struct NeverTaken;

impl NeverTaken {
    pub(super) fn new(_setup: &Setup<'_>) -> Self {
        Self
    }
}

impl Rule for NeverTaken {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let Some(of_flow) = outcome.of_flow else { return };
        let message =
            |_: &str| "no walk takes this move, because no walk reaches a state in which it can be made".into();
        let help = "add a move that leads to a state where this move begins, or remove this move; `never-reached` names the states that no walk reaches";
        report_each(&of_flow.never_taken, &message, help, sink);
    }
}
