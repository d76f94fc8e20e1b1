//! A plan with what a rule asks for instead of its own updates.
//!
//! Knows how steps follow from decisions; decides nothing.

use std::sync::Arc;

use super::{
    events::Events,
    rule::{Ask, Decision},
};
use crate::{
    plan::{Cause, Node, Plan, Shows, Step, Updates},
    planner::turned::{with_all, with_steps_named},
};

/// The label of a cleaning that a rule does in a pause.
pub(super) const IN_PAUSE: &str = "cleaning in a pause";

/// The same steps with what a rule asks for instead of their own updates; `plan` is the one that the events are of.
pub(super) fn written_out(plan: &Plan, events: &Events, decisions: &[Decision]) -> Plan {
    let mut nodes: Vec<Node> = Vec::new();
    let mut numbers = vec![0; events.list.len()];
    // When the steps so far end: a pause that is cleaned in is shorter for the step after it.
    let mut ended_ms = 0.0;
    for decision in decisions {
        let event = &events.list[decision.event];
        let (at_ms, step) = if let Some(at_ms) = decision.in_pause_at_ms {
            (at_ms, in_pause(&event.step))
        } else {
            numbers[decision.event] = nodes.len() as u64;
            (event.at_ms, event.step.with(event.screen.map_or(Shows::Same, Shows::Screen), Updates::Choose))
        };
        let after_ms = at_ms - ended_ms;
        ended_ms = at_ms + step.updates_after_ms();
        let updates = Updates::Listed(decision.asks.iter().copied().map(Ask::update).collect());
        nodes.push(Node::Step(Arc::new(Step { after_ms, updates, ..step })));
    }
    let number = |index: u64| numbers.get(index as usize).map(|number| vec![*number]).unwrap_or_default();
    let accept = with_steps_named(&plan.accept, &number);
    let count = nodes.len() as u64;
    with_all(plan, nodes, (count, 1), accept)
}

/// A step that cleans in the pause after another.
pub(super) fn in_pause(step: &Step) -> Step {
    let (pointer, label, cause) = (step.pointer.clone(), Some(IN_PAUSE.to_owned()), Cause::System);
    Step { pointer, label, cause, ..Step::new(Shows::Same) }
}
