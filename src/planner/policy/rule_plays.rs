//! Rules played over a whole plan, several side by side on one walk through its screens, judged as any choice is.
//!
//! Knows what was decided, not why.

use std::{ops::ControlFlow, sync::Arc};

use super::{
    rule::{Ask, Decision},
    turned::in_pause,
};
use crate::{
    change::pipeline::ScreenSource,
    plan::{Plan, PlannedStep, Step},
    planner::choose::{Path, Score},
    review::{BrokenScreen, walk},
    screen::Picture,
    side_by_side::in_order,
};

/// As many are played on one walk: each holds a whole panel.
const SIDE_BY_SIDE: usize = 6;
/// Steps between two looks at whether one can still become the best.
const LOOKS_EVERY: u64 = 16;

/// How good each of some lists of decisions is; `None` for one that was given up because it is worse than `bound` already.
///
/// # Errors
/// Where screens cannot be used.
pub(super) fn scores_of(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    lists: &[Vec<Decision>],
    bound: Option<Score>,
) -> Result<Vec<Option<Score>>, Vec<BrokenScreen>> {
    let groups: Vec<&[Vec<Decision>]> = lists.chunks(SIDE_BY_SIDE).collect();
    let played = in_order(&groups, threads, &|lists| scores_of_group(plan, screens, lists, bound));
    let mut scores = Vec::with_capacity(lists.len());
    for group in played {
        scores.extend(group?);
    }
    Ok(scores)
}

/// One list on its way through the plan.
struct Play<'p, 'd> {
    /// `None` once it was given up.
    path: Option<Path<'p>>,
    /// What is still to come.
    decisions: &'d [Decision],
    /// The last step that was played, and its temperature.
    last: Option<(Arc<Step>, f64)>,
}

fn scores_of_group(
    plan: &Plan,
    screens: &dyn ScreenSource,
    lists: &[Vec<Decision>],
    bound: Option<Score>,
) -> Result<Vec<Option<Score>>, Vec<BrokenScreen>> {
    let begin = |begins: Arc<Picture>| {
        let path = || Some(Path::new(plan, begins.clone(), 0, true));
        lists.iter().map(|decisions| Play { path: path(), decisions, last: None }).collect::<Vec<_>>()
    };
    let plays = walk(plan, screens, 1, begin, |plays: &mut Vec<Play<'_, '_>>, planned, transition| {
        let looks = planned.index % LOOKS_EVERY == LOOKS_EVERY - 1;
        for play in plays.iter_mut() {
            let Some(path) = &mut play.path else { continue };
            let asks = take(path, &mut play.decisions, planned.index as usize, play.last.as_ref());
            path.play_unjudged(updates(asks), planned, transition.clone());
            play.last = Some((planned.step.clone(), planned.temperature_c));
            if looks && bound.is_some_and(|bound| path.score_so_far().order(&bound).is_gt()) {
                play.path = None;
            }
        }
        let is_over = plays.iter().all(|play| play.path.is_none());
        (if is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }, None)
    })?;
    Ok(plays.into_iter().map(ended).collect())
}

fn ended(play: Play<'_, '_>) -> Option<Score> {
    let mut path = play.path?;
    // What is asked for after the last step.
    take(&mut path, &mut { play.decisions }, usize::MAX, play.last.as_ref());
    path.end();
    Some(path.score)
}

/// Plays what is asked for in the pause before an event, and gives what is asked for at it.
fn take<'d>(
    path: &mut Path<'_>,
    decisions: &mut &'d [Decision],
    event: usize,
    last: Option<&(Arc<Step>, f64)>,
) -> &'d [Ask] {
    while let Some((decision, others)) = decisions.split_first() {
        let Some(at_ms) = decision.in_pause_at_ms else {
            if decision.event != event {
                return &[];
            }
            *decisions = others;
            return &decision.asks;
        };
        if let Some((step, temperature_c)) = last {
            let step = Arc::new(in_pause(step));
            let index = decision.event as u64;
            let (screen, request_ms, temperature_c) = (None, at_ms, *temperature_c);
            let planned = PlannedStep { index, step: &step, screen, request_ms, temperature_c };
            path.play_unjudged(updates(&decision.asks), &planned, None);
        }
        *decisions = others;
    }
    &[]
}

fn updates(asks: &[Ask]) -> Vec<crate::plan::Update> {
    asks.iter().copied().map(Ask::update).collect()
}

/// How good a plan is as it is written.
///
/// # Errors
/// Where screens cannot be used.
pub fn score_as_written(plan: &Plan, screens: &dyn ScreenSource, threads: usize) -> Result<Score, Vec<BrokenScreen>> {
    let begin = |begins| Path::new(plan, begins, 0, true);
    let mut path = walk(plan, screens, threads, begin, |path, planned, transition| {
        path.play_unjudged(planned.step.listed_updates().to_vec(), planned, transition);
        (ControlFlow::Continue(()), None)
    })?;
    path.end();
    Ok(path.score)
}
