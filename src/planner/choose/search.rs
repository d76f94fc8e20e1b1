//! The search: paths through a plan go on side by side, step by step, as long as they are among the best.
//!
//! Knows which paths part and which are given up; a path plays and judges itself.

use std::{ops::ControlFlow, sync::Arc};

use super::{
    candidates::HowOften,
    cost::Score,
    effort::{Beam, EXHAUSTIVE},
    open_steps::{Choice, Choices, Open},
    path::Path,
    reasons::{Way, why},
};
use crate::{
    change::pipeline::{ScreenSource, Transition},
    plan::{Plan, PlannedStep, Update},
    review::{BrokenScreen, walk},
    screen::Picture,
};

/// What the search found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) choices: Choices,
    pub(super) score: Score,
    /// How many limits are kept only if the estimated figures that they rest on are right.
    pub(super) doubts: usize,
    /// Whether the reasons of its choices are true of it: they were found on the same path.
    pub(super) is_explained: bool,
    /// Whether every path there is was played, or could not have been the best.
    pub(super) is_whole: bool,
}

impl Found {
    /// The better of both, which says whether every path was played as this one does. What costs less, but is right only within
    /// the uncertainty of an estimated figure, is not better than what holds with margin at nearly the same cost.
    pub(super) fn or(self, other: Self) -> Self {
        let nearly = |score: Score| score.errors == self.score.errors && self.score.cost <= score.cost * (1.0 + SAME);
        let is_doubtful = other.doubts > self.doubts && nearly(other.score);
        if is_doubtful { self } else { self.or_cheaper(other) }
    }

    /// The one with fewer errors or, with as many, the lower cost.
    pub(super) fn or_cheaper(self, other: Self) -> Self {
        if other.score.order(&self.score).is_lt() { Self { is_whole: self.is_whole, ..other } } else { self }
    }
}

/// A search through a plan.
pub(super) struct Search<'s> {
    pub(super) plan: &'s Plan,
    pub(super) screens: &'s dyn ScreenSource,
    pub(super) threads: usize,
    pub(super) open: &'s Open,
    pub(super) beam: Beam,
    /// Whether what is not likely to be among the best is left out without being played.
    pub(super) is_hasty: bool,
    /// A score that is known to be had: paths that are worse already are given up.
    pub(super) bound: Option<Score>,
    /// Whether a path that overspends a budget is worse at once, or only in the end: a budget that cannot be kept would
    /// lead astray.
    pub(super) heeds_budgets: bool,
    /// Hears how many more steps were played.
    pub(super) progress: &'s dyn Fn(u64),
}

impl Search<'_> {
    /// Searches with all steps open.
    pub(super) fn run(&self) -> Result<Found, Vec<BrokenScreen>> {
        self.run_with(Vec::new())
    }

    /// Searches with choices given for some steps, or all; every list is followed.
    pub(super) fn run_with(&self, given: Vec<Choices>) -> Result<Found, Vec<BrokenScreen>> {
        let Self { plan, open, beam, .. } = *self;
        let mut is_whole = true;
        let is_explained = given.is_empty();
        let begin =
            |begins: Arc<Picture>| vec![Path::new(plan, begins, open.len(), self.heeds_budgets).with_given(given)];
        let paths = walk(plan, self.screens, self.threads, begin, |paths: &mut Vec<Path<'_>>, planned, transition| {
            let before = std::mem::take(paths);
            for mut path in before {
                path.is_idle = false;
                is_whole &= extend(path, planned, transition.as_ref(), (open, (beam, self.is_hasty)), paths);
            }
            if let Some(bound) = self.bound {
                paths.retain(|path| path.score.order(&bound).is_le());
            }
            is_whole &= prune(paths, beam);
            (self.progress)(paths.len() as u64);
            (ControlFlow::Continue(()), None)
        })?;
        let mut ended = paths;
        ended.iter_mut().for_each(Path::end);
        let best = surest(ended.into_iter().map(|path| (path.score, path.doubts(), path.chosen)).collect());
        let none = (Score { errors: u64::MAX, cost: f64::INFINITY }, usize::MAX, Vec::new());
        let (score, doubts, choices) = best.unwrap_or(none);
        Ok(Found { choices, score, doubts, is_explained, is_whole })
    }
}

/// Costs that differ by no more than this share are the same where one of them is in doubt.
const SAME: f64 = 0.05;

/// Of some plans the one with the fewest doubts among those that cost nearly as little as the cheapest.
fn surest(mut plans: Vec<(Score, usize, Choices)>) -> Option<(Score, usize, Choices)> {
    plans.sort_by(|one, other| one.0.order(&other.0));
    let best = plans.first()?.0;
    let as_good =
        |(score, ..): &(Score, usize, Choices)| score.errors == best.errors && score.cost <= best.cost * (1.0 + SAME);
    plans.into_iter().filter(as_good).min_by_key(|(_, doubts, _)| *doubts)
}

/// Steps by place, and what may be asked there instead of what was chosen.
type Instead = Vec<(usize, Vec<Update>)>;

impl Search<'_> {
    /// Plays the plan with its choices and finds anew why each was taken; gives also what was better at its own step than what
    /// was chosen for it.
    pub(super) fn reasons(&self, choices: &Choices) -> Result<(Choices, Instead), Vec<BrokenScreen>> {
        let Self { plan, open, .. } = *self;
        let mut explained = choices.clone();
        let mut better = Instead::new();
        let begin = |begins| Path::new(plan, begins, open.len(), self.heeds_budgets);
        walk(plan, self.screens, self.threads, begin, |path, planned, transition| {
            let known = open.get(planned.step);
            let Some((place, played, choice)) =
                known.and_then(|(place, played)| Some((place, played, choices[place].clone()?)))
            else {
                path.play(planned, transition);
                return (ControlFlow::Continue(()), None);
            };
            if played == HowOften::Often {
                path.play_with(choice.updates.clone(), planned, transition);
                return (ControlFlow::Continue(()), None);
            }
            let (judged, chosen) = judged_beside(path, planned, transition.as_ref(), &choice.updates);
            better.extend(better_here(&judged).into_iter().map(|updates| (place, updates)));
            explained[place] = Some(Arc::new(Choice { why: why(&judged, CHOSEN, plan), ..Choice::clone(&choice) }));
            *path = chosen;
            (ControlFlow::Continue(()), None)
        })?;
        Ok((explained, better))
    }
}

/// The number of what is asked at a step, among what is judged beside it.
const CHOSEN: usize = 0;
/// As many ways in other modes are played, before those are left out that cost more at the least than what was chosen.
const ENOUGH_BESIDE: usize = 1;

/// What is asked at a step, judged beside what may be asked there instead, the best first; gives also the path after it.
fn judged_beside<'p>(
    path: &Path<'p>,
    planned: &PlannedStep<'_>,
    transition: Option<&Transition>,
    chosen: &[Update],
) -> (Vec<(usize, Way)>, Path<'p>) {
    let looked_at = path.looked_at(planned, transition.cloned(), (HowOften::Once, &[chosen.to_vec()]));
    let (mut options, without) = (looked_at.options, looked_at.without);
    let at = options.iter().position(|(updates, _)| updates == chosen).unwrap_or_default();
    // What is asked is played first: what cannot be better at the best need not be played.
    options.swap(CHOSEN, at);
    options[CHOSEN + 1..].sort_by(|one, other| one.1.total().total_cmp(&other.1.total()));
    let mut without = Some(without);
    let mut way_of = |updates: &[Update]| {
        without.take_if(|_| updates.is_empty()).unwrap_or_else(|| path.played_with(updates, planned, transition))
    };
    let after = way_of(chosen);
    let mut judged = vec![(CHOSEN, after.judged(chosen.to_vec()))];
    let is_of_chosen_modes =
        |updates: &[Update]| updates.iter().map(|update| update.mode).eq(chosen.iter().map(|update| update.mode));
    // Nothing is asked for at a step by the way: it tells little of what was chosen instead.
    let mut others = 0;
    for (at, (updates, least)) in options.into_iter().enumerate().skip(CHOSEN + 1) {
        let hope = path.hope(least);
        if others >= ENOUGH_BESIDE && hope.order(&after.rank()).is_gt() {
            judged.push((at, path.not_played(updates, least)));
            continue;
        }
        let way = way_of(&updates);
        others += usize::from(!updates.is_empty() && !is_of_chosen_modes(&updates));
        judged.push((at, way.judged(updates)));
    }
    best_first(&mut judged);
    (judged, after)
}

/// The better way first; of two alike the one that was considered first.
fn best_first(judged: &mut [(usize, Way)]) {
    judged.sort_by(|(one_at, one), (other_at, other)| one.rank.order(&other.rank).then(one_at.cmp(other_at)));
}

/// What was better at its step than what is asked there: whether it is so in the end, only the whole plan tells.
fn better_here(judged: &[(usize, Way)]) -> Vec<Vec<Update>> {
    let before = judged.iter().take_while(|(at, _)| *at != CHOSEN);
    before.filter(|(_, way)| way.is_played).map(|(_, way)| way.updates.clone()).collect()
}

/// Plays a plan once; `choose` is given what may be asked at each open step, and gives the place of what it takes.
pub(super) fn play_through(
    plan: &Plan,
    screens: &dyn ScreenSource,
    open: &Open,
    choose: &mut dyn FnMut(&[Vec<Update>]) -> usize,
) -> Result<Score, Vec<BrokenScreen>> {
    let begin = |begins| Path::new(plan, begins, open.len(), true);
    let mut path = walk(plan, screens, 1, begin, |path, planned, transition| {
        let Some((_, played)) = open.get(planned.step) else {
            path.play(planned, transition);
            return (ControlFlow::Continue(()), None);
        };
        let mut options = path.looked_at(planned, transition.clone(), (played, &[])).updates();
        let taken = choose(&options);
        path.play_with(options.swap_remove(taken), planned, transition);
        (ControlFlow::Continue(()), None)
    })?;
    path.end();
    Ok(path.score)
}

/// Finds what may be asked at every turn of the steps that are played often: what one turn needs, its first may not show. On
/// the way the plan is played with the first of it that brings all that changes.
pub(super) fn look_at_all_turns(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    open: &mut Open,
) -> Result<(), Vec<BrokenScreen>> {
    if open.often().is_empty() {
        return Ok(());
    }
    let steps = open.len();
    let begin = |begins| Path::new(plan, begins, steps, false);
    walk(plan, screens, threads, begin, |path, planned, transition| {
        let Some((place, played)) = open.get(planned.step) else {
            path.play(planned, transition);
            return (ControlFlow::Continue(()), None);
        };
        let looked_at = path.looked_at(planned, transition.clone(), (played, &[]));
        let places = looked_at.places.clone();
        let mut options = looked_at.updates();
        if played == HowOften::Often {
            open.add_turn(place, &options, &places);
        }
        path.play_with(options.swap_remove(0), planned, transition);
        (ControlFlow::Continue(()), None)
    })?;
    open.add_windows(plan);
    Ok(())
}

/// Plays one step of a path in every way that is open; gives whether all ways go on.
fn extend<'p>(
    mut path: Path<'p>,
    planned: &PlannedStep<'_>,
    transition: Option<&Transition>,
    (open, (beam, is_hasty)): (&Open, (Beam, bool)),
    paths: &mut Vec<Path<'p>>,
) -> bool {
    let Some((place, played)) = open.get(planned.step) else {
        path.play(planned, transition.cloned());
        paths.push(path);
        return true;
    };
    if let Some(choice) = path.chosen[place].clone() {
        path.play_with(choice.updates.clone(), planned, transition.cloned());
        paths.push(path);
        return true;
    }
    let mut is_whole = true;
    for (choice, mut path) in path.parted(place) {
        if let Some(choice) = choice {
            path.play_with(choice.updates.clone(), planned, transition.cloned());
            path.chosen[place] = Some(choice);
            paths.push(path);
        } else {
            is_whole &= explore(
                &path,
                planned,
                transition,
                (place, (played, open.at_all_turns(place)), (beam, is_hasty)),
                paths,
            );
        }
    }
    is_whole
}

/// From so many paths side by side on, one more costs little.
const MANY: usize = 8;

/// How often a step is played, and what may be asked at any of its turns.
type Turns<'t> = (HowOften, &'t [Vec<Update>]);

/// Plays one step of a path in every way that may be asked; gives whether all ways go on.
fn explore<'p>(
    path: &Path<'p>,
    planned: &PlannedStep<'_>,
    transition: Option<&Transition>,
    (place, turns, (beam, is_hasty)): (usize, Turns<'_>, (Beam, bool)),
    paths: &mut Vec<Path<'p>>,
) -> bool {
    let looked_at = path.looked_at(planned, transition.cloned(), turns);
    let (options, without) = (looked_at.options, looked_at.without);
    let plan = path.plan;
    let considered = Arc::new(options.iter().map(|(updates, _)| updates.clone()).collect::<Vec<_>>());
    let mut without = Some(without);
    let mut ways: Vec<(usize, Path<'p>)> = Vec::new();
    let mut judged: Vec<(usize, Way)> = Vec::new();
    let mut in_order: Vec<usize> = (0..options.len()).collect();
    in_order.sort_by(|one, other| options[*one].1.total().total_cmp(&options[*other].1.total()));
    // What the next step replaces at once may best be shown with that one: only then it is seen how good that is.
    let waits = beam.paths > 1 && path.may_wait(planned, beam.paths >= MANY);
    for at in in_order {
        let (updates, least) = &options[at];
        if waits && updates.is_empty() {
            continue;
        }
        let hope = if is_hasty { path.likely(updates, *least) } else { path.hope(*least) };
        let is_full = ways.len() == beam.paths;
        let is_hopeless = ways.last().is_some_and(|(_, worst)| is_full && hope.order(&worst.rank()).is_gt())
            || ways.first().is_some_and(|(_, best)| !beam.takes(hope, best.rank()));
        if is_hopeless {
            judged.push((at, path.not_played(updates.clone(), *least)));
            continue;
        }
        let way =
            without.take_if(|_| updates.is_empty()).unwrap_or_else(|| path.played_with(updates, planned, transition));
        judged.push((at, way.judged(updates.clone())));
        ways.push((at, way));
        // Paths that will not go on are given up at once: each holds a whole panel.
        ways.sort_by(|(one_at, one), (other_at, other)| one.rank().order(&other.rank()).then(one_at.cmp(other_at)));
        ways.truncate(beam.paths);
    }
    let idle = options.iter().position(|(updates, _)| updates.is_empty()).filter(|_| waits);
    if let (Some(at), Some(mut way)) = (idle, without) {
        way.is_idle = true;
        judged.push((at, way.judged(Vec::new())));
        ways.push((at, way));
    }
    best_first(&mut judged);
    if let Some((_, first)) = ways.iter_mut().min_by(|(_, one), (_, other)| one.rank().order(&other.rank())) {
        first.is_straight = path.is_straight;
    }
    for (at, mut way) in ways {
        way.chosen[place] = Some(Arc::new(Choice {
            pointer: planned.step.pointer.clone(),
            step: planned.index,
            label: planned.step.label.clone(),
            updates: options[at].0.clone(),
            why: why(&judged, at, plan),
            considered: considered.clone(),
        }));
        paths.push(way);
    }
    options.len() <= beam.paths && !is_hasty
}

/// Keeps the best paths; gives whether all could be kept.
fn prune(paths: &mut Vec<Path<'_>>, beam: Beam) -> bool {
    paths.sort_by(|one, other| one.rank().order(&other.rank()));
    // Paths that look alike in all that counts are one: a window by name and the same window by its box.
    let all = paths.len();
    if beam.paths < EXHAUSTIVE {
        paths.dedup_by(|one, other| {
            let is_one = one.is_like(other);
            other.is_straight |= is_one && one.is_straight;
            is_one
        });
    }
    // Rules may remember more than can be compared: only where none was left out, none better can be missing.
    let is_whole = all <= beam.paths;
    let mut others = paths.split_off(beam.paths.min(paths.len()));
    let mut taken = |keeps: fn(&Path<'_>) -> bool| others.iter().position(keeps).map(|at| others.remove(at));
    let straight = taken(|path| path.is_straight);
    let idle = taken(|path| path.is_idle).filter(|_| !paths.iter().any(|path| path.is_idle));
    paths.truncate(beam.paths - usize::from(straight.is_some()));
    if let Some(best) = paths.first().map(Path::rank) {
        paths.retain(|path| path.is_straight || path.is_idle || beam.takes(path.rank(), best));
    }
    paths.extend(straight.into_iter().chain(idle));
    is_whole
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(errors: u64, cost: f64, doubts: usize) -> Found {
        Found { choices: Vec::new(), score: Score { errors, cost }, doubts, is_explained: true, is_whole: false }
    }

    #[test]
    #[expect(clippy::float_cmp, reason = "the very cost that was put in comes out")]
    fn what_is_in_doubt_must_cost_a_twentieth_less() {
        let taken = |one: Found, other: Found| one.or(other).score.cost;
        assert_eq!(taken(found(0, 100.0, 0), found(0, 96.0, 1)), 100.0, "4 % less, but in doubt");
        assert_eq!(taken(found(0, 100.0, 0), found(0, 90.0, 1)), 90.0, "10 % less");
        assert_eq!(taken(found(0, 100.0, 1), found(0, 99.0, 1)), 99.0, "both are in doubt");
        assert_eq!(
            taken(found(0, 100.0, 1), found(0, 104.0, 0)),
            100.0,
            "what is known is never given up for what costs more"
        );
        assert_eq!(taken(found(1, 100.0, 0), found(0, 99.0, 3)), 99.0, "an error comes before every doubt");
        assert_eq!(found(0, 100.0, 0).or_cheaper(found(0, 99.9, 5)).score.cost, 99.9);
    }

    #[test]
    fn the_surest_of_those_that_cost_nearly_the_same_is_taken() {
        let plan = |errors, cost, doubts| (Score { errors, cost }, doubts, Vec::new());
        let costs = |plans: Vec<(Score, usize, Choices)>| surest(plans).map(|(score, ..)| score.cost);
        assert_eq!(costs(vec![plan(0, 104.0, 0), plan(0, 100.0, 2), plan(0, 103.0, 1)]), Some(104.0));
        assert_eq!(costs(vec![plan(0, 106.0, 0), plan(0, 100.0, 2), plan(0, 103.0, 1)]), Some(103.0));
        assert_eq!(costs(vec![plan(1, 90.0, 0), plan(0, 100.0, 2)]), Some(100.0));
        assert_eq!(costs(Vec::new()), None);
    }
}
