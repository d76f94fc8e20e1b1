//! The text of a plan with what was chosen.

use std::sync::Arc;

use crate::{
    cli::files::LoadedPlan,
    plan::{Plan, Step, Update, Updates},
    planner::{Choice, Pause, Replanned, insert_steps, text_of},
    source::{
        Fault,
        edit::{EditFault, Edits},
    },
};

/// The plan's text with what was chosen; a step that keeps its updates keeps their text.
pub(super) fn with_choices(
    loaded: &LoadedPlan,
    replanned: &Replanned,
    inserted: &[(Pause, Choice)],
) -> Result<String, Vec<Fault>> {
    let plan = &loaded.plan;
    let mut edits = Edits::new();
    let steps: Vec<(&Pause, &[Update])> =
        inserted.iter().map(|(pause, choice)| (pause, choice.updates.as_slice())).collect();
    insert_steps(&mut edits, plan, &steps);
    for choice in &replanned.choices {
        let stands = |step: &Arc<Step>| matches!(&step.updates, Updates::Listed(updates) if *updates == choice.updates);
        if !plan.step_at(choice.step).is_some_and(stands) {
            edits.set_field(choice.pointer.clone(), "updates", text_of(&choice.updates, plan));
        }
    }
    edits.apply(&plan.source).map_err(|fault| cannot_edit(plan, &fault))
}

/// A bug: the text of a plan that was read can be changed.
pub(super) fn cannot_edit(plan: &Plan, fault: &EditFault) -> Vec<Fault> {
    let help = "this is a bug in the program: please report it with the plan";
    vec![Fault::of_file(plan.source.name.clone(), format!("the updates cannot be written: {fault:?}"), help)]
}
