//! Plans written out for a rule: several turns of a plan that loops, and the plan with what a rule asks for.
//!
//! Knows how references to steps and budgets follow; decides nothing.

use std::sync::Arc;

use super::{
    events::Events,
    rule::{Ask, Decision},
};
use crate::plan::{Accept, Cause, Node, Plan, Shows, Step, StepName, Updates};

/// Figures with a budget that are the largest of all turns; the others grow with every turn.
const LARGEST_OF_ALL: [&str; 4] = ["longest_answer_ms", "most_since_cleaning", "residue_l", "worst_residue_l"];

/// The label of a cleaning that a rule does in a pause.
pub(super) const IN_PAUSE: &str = "cleaning in a pause";

/// So many turns of a plan as one plan: budgets of what adds up are as many times as large, and what is accepted is accepted
/// in every turn.
pub fn turned(plan: &Plan, turns: u64) -> Plan {
    let steps = plan.step_count;
    let nodes = vec![Node::Repeat { count: turns, body: plan.nodes.clone() }];
    let accept = with_steps_named(&plan.accept, &|index| (0..turns).map(|turn| turn * steps + index).collect());
    with_all(plan, nodes, (turns * steps, turns), accept)
}

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
            (event.at_ms, Step { shows: event.screen.map_or(Shows::Same, Shows::Screen), ..alike(&event.step) })
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

fn with_all(plan: &Plan, nodes: Vec<Node>, (steps, turns): (u64, u64), accept: Vec<Accept>) -> Plan {
    let factor = |name: &str| if LARGEST_OF_ALL.contains(&name) { 1.0 } else { turns as f64 };
    let budgets = plan.budgets.iter().map(|(name, budget)| (name.clone(), budget * factor(name))).collect();
    Plan { budgets, accept, ..plan.with_steps(nodes, steps) }
}

fn with_steps_named(accept: &[Accept], named: &dyn Fn(u64) -> Vec<u64>) -> Vec<Accept> {
    let names = |name: &StepName| match name {
        StepName::Label(_) => vec![name.clone()],
        StepName::Index(index) => named(*index).into_iter().map(StepName::Index).collect(),
    };
    let with = |accept: &Accept| Accept {
        steps: accept.steps.as_ref().map(|steps| steps.iter().flat_map(names).collect()),
        ..accept.clone()
    };
    accept.iter().map(with).collect()
}

/// A step that cleans in the pause after another.
pub(super) fn in_pause(step: &Step) -> Step {
    let (pointer, label, cause) = (step.pointer.clone(), Some(IN_PAUSE.to_owned()), Cause::System);
    Step { pointer, label, cause, ..Step::new(Shows::Same) }
}

fn alike(step: &Step) -> Step {
    Step {
        pointer: step.pointer.clone(),
        label: step.label.clone(),
        strokes: step.strokes.clone(),
        recorded: step.recorded.clone(),
        updates: Updates::Choose,
        shows: Shows::Same,
        ..*step
    }
}
