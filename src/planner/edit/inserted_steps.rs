//! The pauses of a plan in which a step may be inserted, and the text of the plan with such steps.
//!
//! Knows times and places in the file; what is asked for in a pause is decided elsewhere.

use super::update_text::text_of;
use crate::{
    plan::{Node, Plan, Step, StepName, Update, steps_of},
    source::edit::{EditFault, Edits},
};

/// A pause in which a step may be inserted.
#[derive(Clone, Debug, PartialEq)]
pub struct Pause {
    /// The element of `steps` before which the step goes; their number for one at the end.
    pub before: usize,
    /// How many steps are played before it.
    pub steps_before: u64,
    /// How long after the step before it the inserted step comes, ms.
    pub after_ms: f64,
    /// How long after the inserted step the next one comes, ms; `None` at the end.
    pub rest_ms: Option<f64>,
}

/// The pauses of a plan that are as long as `missed-rest` asks for; of the steps in repetitions and lists of screens, none. A
/// step comes once a person has been quiet for the limit of `cleaning-interrupts`. None while the panel is off or asleep.
pub fn pauses(plan: &Plan) -> Vec<Pause> {
    let limits = &plan.limits;
    let (pause_ms, quiet_ms) = (limits.missed_rest.pause_ms.value, limits.cleaning_interrupts.quiet_ms.value);
    let mut found = Vec::new();
    let (mut steps_before, mut is_on) = (0, false);
    for (before, node) in plan.nodes.iter().enumerate() {
        if let Node::Step(step) = node
            && is_on
            && step.times() == 1
            && step.after_ms >= pause_ms
            && step.after_ms > quiet_ms
        {
            let rest_ms = Some(step.after_ms - quiet_ms);
            found.push(Pause { before, steps_before, after_ms: quiet_ms, rest_ms });
        }
        steps_before += steps_of(std::slice::from_ref(node));
        is_on = last_of(node).is_none_or(|step| step.power.is_none());
    }
    if is_on {
        found.push(Pause { before: plan.nodes.len(), steps_before, after_ms: quiet_ms, rest_ms: None });
    }
    found
}

fn last_of(node: &Node) -> Option<&Step> {
    match node {
        Node::Step(step) => Some(step),
        Node::Repeat { body, .. } => body.last().and_then(last_of),
    }
}

/// Adds to the edits of a plan's text a step in each of some pauses, with its updates. Later requests stay where they were, and
/// steps that `accept` names by their numbers get their new ones.
pub fn insert_steps(edits: &mut Edits, plan: &Plan, inserted: &[(&Pause, &[Update])]) {
    for (pause, updates) in inserted {
        let updates = text_of(updates, plan);
        let step = format!("{{ \"after_ms\": {}, \"cause\": \"system\", \"updates\": {updates} }}", pause.after_ms);
        edits.insert_element("/steps", pause.before, step);
        if let Some(rest_ms) = pause.rest_ms {
            edits.set_field(format!("/steps/{}", pause.before), "after_ms", format!("{rest_ms}"));
        }
    }
    for accept in &plan.accept {
        for (at, name) in accept.steps.iter().flatten().enumerate() {
            let StepName::Index(index) = name else { continue };
            let more = inserted.iter().filter(|(pause, _)| pause.steps_before <= *index).count() as u64;
            if more > 0 {
                edits.replace(format!("{}/steps/{at}", accept.pointer), format!("{}", index + more));
            }
        }
    }
}

/// The text of a plan with an empty step in each pause.
///
/// # Errors
/// Where the text cannot be changed.
pub fn with_empty_steps(plan: &Plan, pauses: &[Pause]) -> Result<String, EditFault> {
    let mut edits = Edits::new();
    let inserted: Vec<(&Pause, &[Update])> = pauses.iter().map(|pause| (pause, &[][..])).collect();
    insert_steps(&mut edits, plan, &inserted);
    edits.apply(&plan.source)
}
