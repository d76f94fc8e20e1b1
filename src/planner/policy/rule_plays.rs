//! Rules played over a whole plan, several side by side on one walk through its screens, judged as any choice is.
//!
//! Knows what was decided, not why. Rules that ask for the same are one path until they part.

use std::{cmp::Ordering, ops::ControlFlow, sync::Arc};

use super::{
    rule::{Ask, Decision},
    written_out::in_pause,
};
use crate::{
    change::pipeline::ScreenSource,
    plan::{Plan, PlannedStep, Step},
    planner::choose::{Path, Score},
    review::{BrokenScreen, walk},
    screen::Picture,
    side_by_side::in_order,
};

/// As many are played on one walk: once they part, each holds a whole panel.
const SIDE_BY_SIDE: usize = 6;
/// Steps between two looks at whether one can still become the best. A look costs about as much as a step of a panel of so many
/// pixels.
const LOOKS_EVERY: u64 = 16;
const LARGE_PANEL_PX: u64 = 1 << 18;

/// How good each of some lists of decisions is; `None` for one that was given up because it is worse than `bound` already.
///
/// # Errors
/// Where screens cannot be used.
pub(super) fn scores_of(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    lists: &[&[Decision]],
    bound: Option<Score>,
) -> Result<Vec<Option<Score>>, Vec<BrokenScreen>> {
    // Those that begin alike stand side by side.
    let mut order: Vec<usize> = (0..lists.len()).collect();
    order.sort_by(|one, other| by_beginning(lists[*one], lists[*other]));
    let groups: Vec<&[usize]> = order.chunks(SIDE_BY_SIDE).collect();
    let played = in_order(&groups, threads, &|group| scores_of_group(plan, screens, (lists, group), bound));
    let mut scores = vec![None; lists.len()];
    for group in played {
        for (list, score) in group? {
            scores[list] = Some(score);
        }
    }
    Ok(scores)
}

fn by_beginning(one: &[Decision], other: &[Decision]) -> Ordering {
    let by_decision = |one: &Decision, other: &Decision| {
        let when = |decision: &Decision| (decision.event, decision.in_pause_at_ms.map_or(0, f64::to_bits));
        when(one).cmp(&when(other)).then_with(|| one.asks.cmp(&other.asks))
    };
    let parts = one.iter().zip(other).map(|(one, other)| by_decision(one, other)).find(|order| order.is_ne());
    parts.unwrap_or_else(|| one.len().cmp(&other.len()))
}

/// Lists that asked for the same so far, on their way through the plan.
struct Play<'p, 'd> {
    path: Path<'p>,
    /// By their places: what is still to come of each.
    lists: Lists<'d>,
    /// The last step that was played, and its temperature.
    last: Option<(Arc<Step>, f64)>,
}

/// Decisions that are still to come, by the places of their lists.
type Lists<'d> = Vec<(usize, &'d [Decision])>;

type Scores = Vec<(usize, Score)>;

/// The scores of those of a group that were not given up, by their places.
fn scores_of_group(
    plan: &Plan,
    screens: &dyn ScreenSource,
    (lists, group): (&[&[Decision]], &[usize]),
    bound: Option<Score>,
) -> Result<Scores, Vec<BrokenScreen>> {
    let begin = |begins: Arc<Picture>| {
        let lists = group.iter().map(|list| (*list, lists[*list])).collect();
        vec![Play { path: Path::new(plan, begins, 0, true), lists, last: None }]
    };
    let looks_every = if plan.screen_size().pixels() >= LARGE_PANEL_PX { 1 } else { LOOKS_EVERY };
    let plays = walk(plan, screens, 1, begin, |plays: &mut Vec<Play<'_, '_>>, planned, transition| {
        let looks = planned.index % looks_every == looks_every - 1;
        let ways = std::mem::take(plays).into_iter().flat_map(|play| play.parted(planned.index as usize));
        let went_on = ways.filter_map(|(mut play, asked)| {
            let asks = play.rest(asked);
            play.path.play_unjudged(updates(asks), planned, transition.clone());
            play.last = Some((planned.step.clone(), planned.temperature_c));
            let is_worse = looks && bound.is_some_and(|bound| play.path.score_so_far().order(&bound).is_gt());
            (!is_worse).then_some(play)
        });
        *plays = went_on.collect();
        (if plays.is_empty() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }, None)
    })?;
    Ok(plays.into_iter().flat_map(Play::ended).collect())
}

impl<'p, 'd> Play<'p, 'd> {
    /// The ways into which it parts at an event, each with what is asked for in the pause before it and at it.
    fn parted(self, event: usize) -> Vec<(Self, &'d [Decision])> {
        let Self { path, lists, last } = self;
        let mut ways: Vec<(&'d [Decision], Lists<'d>)> = Vec::new();
        for (list, decisions) in lists {
            let pauses = decisions.iter().take_while(|decision| decision.in_pause_at_ms.is_some()).count();
            let is_at = decisions.get(pauses).is_some_and(|decision| decision.event == event);
            let (asked, others) = decisions.split_at(pauses + usize::from(is_at));
            match ways.iter_mut().find(|(of_way, _)| *of_way == asked) {
                Some((_, lists)) => lists.push((list, others)),
                None => ways.push((asked, vec![(list, others)])),
            }
        }
        let mut paths: Vec<Path<'p>> = ways.iter().skip(1).map(|_| path.fork()).collect();
        paths.push(path);
        let way = |(path, (asked, lists))| (Self { path, lists, last: last.clone() }, asked);
        paths.into_iter().zip(ways).map(way).collect()
    }

    /// Plays what is asked for in the pause before an event, and gives what is asked for at it.
    fn rest(&mut self, asked: &'d [Decision]) -> &'d [Ask] {
        for decision in asked {
            let Some(at_ms) = decision.in_pause_at_ms else { return &decision.asks };
            let Some((step, temperature_c)) = &self.last else { continue };
            let step = Arc::new(in_pause(step));
            let index = decision.event as u64;
            let (screen, request_ms, temperature_c) = (None, at_ms, *temperature_c);
            let planned = PlannedStep { index, step: &step, screen, request_ms, temperature_c };
            self.path.play_unjudged(updates(&decision.asks), &planned, None);
        }
        &[]
    }

    fn ended(self) -> Scores {
        // What is asked for after the last step.
        let ways = self.parted(usize::MAX).into_iter();
        let scores = ways.flat_map(|(mut play, asked)| {
            play.rest(asked);
            play.path.end();
            let score = play.path.score;
            play.lists.into_iter().map(move |(list, _)| (list, score))
        });
        scores.collect()
    }
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
