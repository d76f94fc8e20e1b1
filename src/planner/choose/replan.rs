//! Choosing the updates of a plan: the search, tried again for the steps that are played often.

use std::sync::Arc;

use super::{
    cost::Score,
    effort::{Beam, EXHAUSTIVE, Effort},
    open_steps::{Choice, Choices, Open, Which},
    other_choices::{OVER_ALL, as_written, better, improve},
    over_turns::best_over_turns,
    search::{self, Found, Search},
};
use crate::{
    change::pipeline::ScreenSource,
    plan::{Plan, Update},
    review::BrokenScreen,
};

/// Panels with more pixels, times steps to choose, are not searched exhaustively.
const SMALL: u64 = 1 << 16;

/// What was chosen for a plan.
#[derive(Clone, Debug)]
pub struct Replanned {
    /// The choices, in the order of the steps.
    pub choices: Vec<Choice>,
    /// How good the plan is with them.
    pub score: Score,
    /// Whether no other path over the same candidates can be better.
    pub is_best: bool,
    /// How many steps of the file there were to choose.
    pub open: usize,
    /// How much was tried: more than was asked for, where errors were left.
    pub effort: Effort,
}

/// Chooses the updates of all steps that are left to choose, or with `all` of every step.
///
/// # Errors
/// Where screens cannot be used.
pub fn replan(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    all: bool,
    effort: Effort,
) -> Result<Replanned, Vec<BrokenScreen>> {
    replan_with_progress(plan, screens, threads, (&Which::left_or_all(all), effort), &|_| {})
}

/// The same; `progress` learns how many more steps were played, of all courses together.
///
/// # Errors
/// Where screens cannot be used.
pub fn replan_with_progress(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    (which, effort): (&Which, Effort),
    progress: &dyn Fn(u64),
) -> Result<Replanned, Vec<BrokenScreen>> {
    let mut open = Open::of(plan, which);
    search::look_at_all_turns(plan, screens, threads, &mut open)?;
    let pixel_steps = plan.screen_size().pixels() * open.len() as u64;
    let search = |effort: Effort| Search {
        plan,
        screens,
        threads,
        open: &open,
        beam: effort.beam(pixel_steps),
        is_hasty: effort.is_hasty(pixel_steps),
        bound: None,
        heeds_budgets: true,
        progress,
    };
    let mut found = searched(&search(effort), effort)?;
    // Fewer ways at a time may find what more ways crowd out; more effort must never be worse.
    for lower in effort.lower().iter().filter(|lower| lower.beam(pixel_steps) != effort.beam(pixel_steps)) {
        found = found.or(searched(&search(*lower), *lower)?);
    }
    // An error is worth more time than was asked for.
    let rises = found.score.errors > 0 && !found.is_whole && effort.rises(pixel_steps);
    let reached = if rises { Effort::Thorough } else { effort };
    if rises {
        found = found.or(searched(&search(reached), reached)?);
    }
    if reached == Effort::Thorough && pixel_steps <= SMALL && !found.is_whole {
        let beam = Beam { paths: EXHAUSTIVE, within: f64::INFINITY };
        let whole = Search { beam, bound: Some(found.score), ..search(reached) }.run()?;
        let is_whole = whole.is_whole;
        found = Found { is_whole, ..found.or(whole) };
    }
    found = explained(&search(reached), found, (reached, reached.second_looks(pixel_steps)))?;
    found = best_over_turns(&search(reached), found, (which, reached))?;
    let mut choices: Vec<Choice> = found.choices.into_iter().flatten().map(Arc::unwrap_or_clone).collect();
    choices.sort_by_key(|choice| choice.step);
    Ok(Replanned { choices, score: found.score, is_best: found.is_whole, open: open.len(), effort: reached })
}

/// The same with reasons that are true of the plan as it was found: the steps before one may have been chosen anew after it. What
/// was better at its own step is played to the end, and taken if it is better.
fn explained(
    search: &Search<'_>,
    mut found: Found,
    (effort, second_looks): (Effort, usize),
) -> Result<Found, Vec<BrokenScreen>> {
    if second_looks == 0 && found.is_explained {
        return Ok(found);
    }
    for round in 0..=second_looks {
        let (choices, better_here) = search.reasons(&found.choices)?;
        found.choices = choices;
        if better_here.is_empty() || round == second_looks {
            break;
        }
        let others = better_here.into_iter().take(second_looks);
        let others: Vec<Choices> =
            others.map(|(place, updates)| instead(found.choices.clone(), place, &updates)).collect();
        let before = found.score;
        found = better(search, found, |_| others)?;
        if found.score == before {
            break;
        }
    }
    if effort != Effort::Quick {
        search.open.often().into_iter().for_each(|place| {
            let choice = found.choices[place].as_deref().cloned();
            found.choices[place] = choice.map(|choice| Arc::new(Choice { why: OVER_ALL.to_owned(), ..choice }));
        });
    }
    Ok(found)
}

/// The same with another choice for a step, of which the reason is still to be found.
fn instead(mut choices: Choices, place: usize, updates: &[Update]) -> Choices {
    if let Some(choice) = &mut choices[place] {
        *choice = Arc::new(Choice { updates: updates.to_vec(), ..Choice::clone(choice) });
    }
    choices
}

/// The best that is found with so many paths: never worse than the plan as it is written.
fn searched(search: &Search<'_>, effort: Effort) -> Result<Found, Vec<BrokenScreen>> {
    let found = search.run()?;
    // Never worse than the plan as it is, whatever is in doubt there.
    let found = match as_written(&found.choices, search.open) {
        Some(written) => {
            let bound = Some(found.score);
            found.or_cheaper(Search { bound, ..*search }.run_with(vec![written])?)
        }
        None => found,
    };
    let found = improve(search, found, effort)?;
    if search.plan.budgets.is_empty() || found.score.errors == 0 {
        return Ok(found);
    }
    let search = Search { heeds_budgets: false, ..*search };
    let other = improve(&search, search.run()?, effort)?;
    Ok(if other.score.order(&found.score).is_lt() { other } else { found })
}

/// Plays a plan whose open steps are chosen by `choose`: it is given what may be asked at a step, and gives the place of
/// what it takes. A step that is played several times is asked for each time.
///
/// # Errors
/// Where screens cannot be used.
pub fn play_through(
    plan: &Plan,
    screens: &dyn ScreenSource,
    choose: &mut dyn FnMut(&[Vec<Update>]) -> usize,
) -> Result<Score, Vec<BrokenScreen>> {
    search::play_through(plan, screens, &Open::of(plan, &Which::left_or_all(false)), choose)
}
