//! Several turns of a plan that loops, written out as one plan.
//!
//! Knows how references to steps and budgets follow; decides nothing.

use crate::plan::{Accept, Node, Plan, StepName};

/// Figures with a budget that are the largest of all turns; the others grow with every turn.
const LARGEST_OF_ALL: [&str; 4] = ["longest_answer_ms", "most_since_cleaning", "residue_l", "worst_residue_l"];

/// So many turns of a plan as one plan: budgets of what adds up are as many times as large, and what is accepted is accepted
/// in every turn.
pub fn turned(plan: &Plan, turns: u64) -> Plan {
    let steps = plan.step_count;
    let nodes = vec![Node::Repeat { count: turns, body: plan.nodes.clone() }];
    let accept = with_steps_named(&plan.accept, &|index| (0..turns).map(|turn| turn * steps + index).collect());
    with_all(plan, nodes, (turns * steps, turns), accept)
}

/// A plan with other steps: budgets of what adds up are as many times as large as there are turns.
pub(super) fn with_all(plan: &Plan, nodes: Vec<Node>, (steps, turns): (u64, u64), accept: Vec<Accept>) -> Plan {
    let factor = |name: &str| if LARGEST_OF_ALL.contains(&name) { 1.0 } else { turns as f64 };
    let budgets = plan.budgets.iter().map(|(name, budget)| (name.clone(), budget * factor(name))).collect();
    Plan { budgets, accept, ..plan.with_steps(nodes, steps) }
}

/// What is accepted, at the steps that become of those which it names.
pub(super) fn with_steps_named(accept: &[Accept], named: &dyn Fn(u64) -> Vec<u64>) -> Vec<Accept> {
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
