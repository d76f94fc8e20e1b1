//! Choices for a plan that starts again when it ends: what later turns add to their cost, and others that cost less in them.
//!
//! The search sees the first turn alone. Later ones can only add to its cost, so what it finds is the best where they add
//! nothing.

use std::{collections::HashMap, sync::Arc};

use super::{
    cost::{Score, of_finding},
    effort::{Beam, Effort},
    open_steps::{Choice, Choices, Open, Which},
    other_choices::{as_written, improve, other},
    search::{Found, Search, look_at_all_turns},
};
use crate::{
    plan::Update,
    planner::turned::turned,
    review::{BrokenScreen, review},
    rules::Selection,
};

/// Why a step of a plan that loops has its updates, where later turns decide.
const OVER_TURNS: &str =
    "of all that was considered, this costs least over all turns of the plan, which starts again when it ends";
/// From so many pixels on, times steps to choose, not every other choice is tried over all turns.
const LARGE_IN_TURNS: u64 = 1 << 23;

/// Of what was found for a plan that loops and of other choices what costs least with what later turns add: the first turn
/// alone does not see it.
pub(super) fn best_over_turns(
    search: &Search<'_>,
    found: Found,
    (which, effort): (&Which, Effort),
) -> Result<Found, Vec<BrokenScreen>> {
    if !search.plan.loops {
        return Ok(found);
    }
    let later = later_cost(search, &found.choices)?;
    if later == 0.0 {
        return Ok(found);
    }
    let first = found.choices.clone();
    let mut best = Found { score: with_later(found.score, later), is_whole: false, ..found };
    let others = of_two_turns(search, (which, effort))?;
    let straight = Search { beam: Effort::Quick.beam(0), bound: None, ..*search }.run()?.choices;
    if let Some(written) = as_written(&first, search.open)
        && let Some(found) = cheaper_over_turns(search, &best, written)?
    {
        // Never worse than the plan as it is, whatever is in doubt there.
        best = best.or_cheaper(found);
    }
    for choices in [others.clone(), straight] {
        best = or_over_turns(search, best, choices)?;
    }
    let is_small = search.plan.screen_size().pixels() * search.open.len() as u64 <= LARGE_IN_TURNS;
    for _ in 0..if is_small { effort.rounds() } else { 0 } {
        let before = best.score;
        for place in 0..search.open.len() {
            for updates in considered_at(place, [&others, &best.choices]) {
                let choices = other(best.choices.clone(), place, &updates);
                best = or_over_turns(search, best, choices)?;
            }
        }
        if best.score == before {
            break;
        }
    }
    if best.choices == first {
        return Ok(best);
    }
    let (mut choices, _) = search.reasons(&best.choices)?;
    for (choice, first) in choices.iter_mut().zip(&first) {
        if let (Some(chosen), Some(first)) = (choice.as_deref(), first)
            && chosen.updates != first.updates
        {
            *choice = Some(Arc::new(Choice { why: OVER_TURNS.to_owned(), ..chosen.clone() }));
        }
    }
    Ok(Found { choices, ..best })
}

/// What any of some choices considered for a step, each once.
fn considered_at(place: usize, of: [&Choices; 2]) -> Vec<Vec<Update>> {
    let mut found: Vec<Vec<Update>> = Vec::new();
    for updates in
        of.iter().filter_map(|choices| choices.get(place)?.as_ref()).flat_map(|choice| choice.considered.iter())
    {
        if !found.contains(updates) {
            found.push(updates.clone());
        }
    }
    found
}

/// What is found for two turns of the plan as one, in which every step is played twice.
fn of_two_turns(search: &Search<'_>, (which, effort): (&Which, Effort)) -> Result<Choices, Vec<BrokenScreen>> {
    let plan = turned(search.plan, 2);
    let mut open = Open::of(&plan, which);
    look_at_all_turns(&plan, search.screens, search.threads, &mut open)?;
    let search = Search { plan: &plan, open: &open, bound: None, ..*search };
    Ok(improve(&search, search.run()?, effort)?.choices)
}

/// The better of what was found and of other choices, with what later turns add to them.
fn or_over_turns(search: &Search<'_>, best: Found, choices: Choices) -> Result<Found, Vec<BrokenScreen>> {
    Ok(match cheaper_over_turns(search, &best, choices)? {
        Some(found) => best.or(found),
        None => best,
    })
}

/// Other choices with what later turns add to them; nothing if the first turn alone is no better than what was found.
fn cheaper_over_turns(search: &Search<'_>, best: &Found, choices: Choices) -> Result<Option<Found>, Vec<BrokenScreen>> {
    if choices == best.choices || choices.iter().any(Option::is_none) {
        return Ok(None);
    }
    let all = Beam { paths: 1, within: f64::INFINITY };
    let found = Search { beam: all, bound: Some(best.score), ..*search }.run_with(vec![choices])?;
    if found.choices.is_empty() || !found.score.order(&best.score).is_lt() {
        return Ok(None);
    }
    let score = with_later(found.score, later_cost(search, &found.choices)?);
    Ok(Some(Found { score, is_whole: false, ..found }))
}

/// What the rules add that find something first in a later turn of a plan that loops.
fn later_cost(search: &Search<'_>, choices: &Choices) -> Result<f64, Vec<BrokenScreen>> {
    let places: HashMap<&str, &Choice> =
        choices.iter().flatten().map(|choice| (choice.pointer.as_str(), &**choice)).collect();
    let chosen = search.plan.with_updates(&|step| Some(places.get(step.pointer.as_str())?.updates.clone()));
    let later = review(&chosen, search.screens, &Selection::of_later_turns(), search.threads, &mut |_| {})?;
    Ok(later.findings.iter().filter(|finding| finding.is_open()).map(|finding| of_finding(finding.severity)).sum())
}

fn with_later(score: Score, later: f64) -> Score {
    Score { cost: score.cost + later, ..score }
}
