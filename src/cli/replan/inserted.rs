//! Steps that `replan` inserts in pauses: the plan with an empty step in each, and what is left of it once updates are chosen.

use std::sync::Arc;

use super::{chosen_text::cannot_edit, played_plan::load_with, replan_arguments::ReplanArguments};
use crate::{
    cli::files::{DecodedCache, LoadedPlan, SettingsStore},
    plan::Plan,
    planner::{Choice, Pause, Replanned, pauses, with_empty_steps},
    rules::wording::{span, step_name},
    source::Fault,
};

/// The pauses of a plan, and the plan with an empty step in each.
pub(super) struct Pauses {
    pauses: Vec<Pause>,
    with_steps: Option<LoadedPlan>,
}

impl Pauses {
    /// Those in which steps may be inserted; none where nobody allows it.
    pub(super) fn of(
        arguments: &ReplanArguments,
        loaded: &LoadedPlan,
        settings: &mut SettingsStore,
        cache: &Arc<DecodedCache>,
    ) -> Result<Self, Vec<Fault>> {
        let plan = &loaded.plan;
        let may_insert = arguments.may_insert || plan.may_insert;
        let pauses = if may_insert { pauses(plan) } else { Vec::new() };
        if pauses.is_empty() {
            return Ok(Self { pauses, with_steps: None });
        }
        let text = with_empty_steps(plan, &pauses).map_err(|fault| cannot_edit(plan, &fault))?;
        let with_steps = load_with(text, loaded, arguments, (settings, cache))?;
        Ok(Self { pauses, with_steps: Some(with_steps) })
    }

    /// The plan that updates are chosen for.
    pub(super) fn plan<'l>(&'l self, loaded: &'l LoadedPlan) -> &'l LoadedPlan {
        self.with_steps.as_ref().unwrap_or(loaded)
    }

    /// The places of the inserted steps in it.
    pub(super) fn pointers(&self) -> Vec<String> {
        (0..self.pauses.len()).map(|at| format!("/steps/{}", self.place(at))).collect()
    }

    /// The element of `steps` that the step of a pause is.
    fn place(&self, at: usize) -> usize {
        self.pauses[at].before + at
    }

    /// What is chosen for the steps of the plan, under their own places and numbers, and what is chosen for pauses, where that is
    /// anything.
    pub(super) fn taken_apart(&self, replanned: Replanned) -> (Replanned, Vec<(Pause, Choice)>) {
        let (mut own, mut inserted) = (Vec::new(), Vec::new());
        for choice in replanned.choices {
            let (node, rest) = parts_of(&choice.pointer);
            match (0..self.pauses.len()).find(|at| self.place(*at) == node) {
                Some(at) if !choice.updates.is_empty() => inserted.push((self.pauses[at].clone(), choice)),
                Some(_) => {}
                None => {
                    let before = (0..self.pauses.len()).filter(|at| self.place(*at) < node).count();
                    let pointer = format!("/steps/{}{rest}", node - before);
                    let step = choice.step - before as u64;
                    own.push(choice.at(pointer, step));
                }
            }
        }
        let open = own.len() + inserted.len();
        (Replanned { choices: own, open, ..replanned }, inserted)
    }
}

/// The element of `steps` in a pointer, and what follows it.
fn parts_of(pointer: &str) -> (usize, &str) {
    let rest = pointer.trim_start_matches("/steps/");
    let end = rest.find('/').unwrap_or(rest.len());
    (rest[..end].parse().unwrap_or(usize::MAX), &rest[end..])
}

/// Where a step is inserted.
pub(super) fn inserted_in_words(pause: &Pause, plan: &Plan) -> String {
    let before = pause.steps_before.saturating_sub(1);
    let label = plan.step_at(before).and_then(|step| step.label.clone());
    format!("a new step {} after {}", span(pause.after_ms), step_name(before, label.as_deref()))
}
