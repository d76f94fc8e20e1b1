//! Other choices for steps of a plan for which choices were found, played over the whole plan.
//!
//! Knows which others there are and what they are made of; how good each is, the search says.

use std::sync::Arc;

use super::{
    effort::{Beam, Effort},
    open_steps::{Choice, Choices, Open},
    search::{Found, Search},
};
use crate::{
    plan::{Step, Update, Updates},
    review::BrokenScreen,
};

/// Why a step stays as it is where all of them do.
const AS_WRITTEN: &str = "the plan as it is costs less than any alternative that was found";
/// Why a step that is played often has its updates.
pub(super) const OVER_ALL: &str =
    "of all that was considered, this costs least over all the times that the step is played";

/// The choices that the plan has already; none where a step is left to choose.
pub(super) fn as_written(choices: &Choices, open: &Open) -> Option<Choices> {
    if open.steps().iter().any(|step| step.updates == Updates::Choose) {
        return None;
    }
    let kept = |(choice, step): (&Option<Arc<Choice>>, &Arc<Step>)| {
        let (choice, updates) = (Choice::clone(choice.as_deref()?), step.listed_updates().to_vec());
        let why = if updates == choice.updates { choice.why } else { AS_WRITTEN.to_owned() };
        Some(Arc::new(Choice { updates, why, ..choice }))
    };
    let kept: Choices = choices.iter().zip(open.steps()).map(kept).collect();
    (kept != *choices).then_some(kept)
}

/// Tries other choices for the steps that are played more than once: what is best over all their turns is not seen at
/// the first one.
pub(super) fn improve(search: &Search<'_>, mut found: Found, effort: Effort) -> Result<Found, Vec<BrokenScreen>> {
    let often = search.open.often();
    for _ in 0..effort.rounds() {
        let before = found.score;
        found = better(search, found, |choices| together(choices, &often))?;
        for place in &often {
            found = better(search, found, |choices| alone(choices, *place))?;
        }
        if found.score == before {
            break;
        }
        found = better(search, found, |choices| vec![only(choices, &often)])?;
    }
    Ok(found)
}

/// The best of what was found and of others made of it.
pub(super) fn better(
    search: &Search<'_>,
    found: Found,
    others: impl FnOnce(&Choices) -> Vec<Choices>,
) -> Result<Found, Vec<BrokenScreen>> {
    let others = others(&found.choices);
    if others.is_empty() {
        return Ok(found);
    }
    // Several are weighed against each other when the plan is over, not before.
    let all = Beam { paths: others.len(), within: f64::INFINITY };
    let beam = if others.len() == 1 { search.beam } else { all };
    // What costs more already will not cost less in the end.
    let bound = Some(found.score);
    Ok(found.or(Search { beam, bound, ..*search }.run_with(others)?))
}

/// The same choice for all steps that are played often, for each that any of them considered.
fn together(choices: &Choices, often: &[usize]) -> Vec<Choices> {
    let considered = often.iter().filter_map(|place| choices[*place].as_ref());
    let mut kinds: Vec<Vec<Update>> = Vec::new();
    for updates in considered.flat_map(|choice| choice.considered.iter()) {
        if !kinds.contains(updates) {
            kinds.push(updates.clone());
        }
    }
    let with =
        |updates: &Vec<Update>| often.iter().fold(choices.clone(), |choices, place| other(choices, *place, updates));
    kinds.iter().map(with).filter(|others| others != choices).collect()
}

/// Each other choice for one step.
fn alone(choices: &Choices, place: usize) -> Vec<Choices> {
    let Some(choice) = &choices[place] else { return Vec::new() };
    let others = choice.considered.iter().filter(|updates| **updates != choice.updates);
    others.map(|updates| other(choices.clone(), place, updates)).collect()
}

/// The choices for these steps alone; the others are to be chosen again.
fn only(choices: &Choices, places: &[usize]) -> Choices {
    let kept = |(place, choice): (usize, &Option<Arc<Choice>>)| choice.clone().filter(|_| places.contains(&place));
    choices.iter().enumerate().map(kept).collect()
}

pub(super) fn other(mut choices: Choices, place: usize, updates: &[Update]) -> Choices {
    if let Some(choice) = &mut choices[place]
        && choice.updates != updates
    {
        let mut changed = Choice::clone(choice);
        changed.updates = updates.to_vec();
        OVER_ALL.clone_into(&mut changed.why);
        *choice = Arc::new(changed);
    }
    choices
}
