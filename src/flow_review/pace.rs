//! Walks as soon as their moves may come, and walks at random.
//!
//! Knows the flow's least times; where a device takes no input while it draws, the panel is played to find out until
//! when.

use std::cell::Cell;

use super::{decoded::DecodedScreens, map::FlowMap};
use crate::{
    flow::{Flow, Input, Pace, Walk, WalkedEdge},
    panel::PlayedStep,
    plan::{Cause, PlannedStep},
    review::play_later,
};

/// Requests that come earlier than the panel is free by less than this are taken as free, ms.
const SAME_MS: f64 = 1e-6;
/// The longest wait of a walk at random in addition to what must be, ms.
const LONGEST_PAUSE_MS: f64 = 3000.0;

/// The walk over some edges, each move as soon as it may come, or so much later.
pub(super) fn soonest(flow: &Flow, map: &FlowMap, screens: &DecodedScreens, walk: &Walk, later_ms: &[f64]) -> Walk {
    let later = |at: usize| later_ms.get(at).copied().unwrap_or(0.0);
    let mut pace = Pace::default();
    let paced = walk.moves.iter().enumerate().map(|(at, one)| {
        let by = &flow.moves[map.graph.edges[one.edge].by];
        let soonest_ms = pace.clone().after(by, 0.0);
        WalkedEdge { edge: one.edge, after_ms: pace.after(by, soonest_ms + later(at)) }
    });
    let mut walk = Walk { moves: paced.collect(), ..walk.clone() };
    if flow.input == Input::WhenFree {
        wait_until_free(flow, map, screens, &mut walk);
    }
    walk
}

/// How much later than they may the moves of a walk come, so that each tick of the clock follows the move before it at once:
/// a pause right behind the tick before.
pub(super) fn close_to_the_ticks(flow: &Flow, map: &FlowMap, walk: &Walk) -> Vec<f64> {
    let mut later_ms = vec![0.0; walk.moves.len()];
    // The first move behind the last tick, and how long ago that was at the soonest; none before the first tick.
    let mut since: Option<(Option<usize>, f64)> = None;
    for (at, one) in walk.moves.iter().enumerate() {
        let by = &flow.moves[map.graph.edges[one.edge].by];
        if let Some((first, since_ms)) = &mut since {
            *since_ms += by.soonest_ms;
            if by.cause != Cause::Clock {
                first.get_or_insert(at);
            }
        }
        if by.cause == Cause::Clock {
            if let Some((Some(first), since_ms)) = since {
                later_ms[first] = (by.every_ms - since_ms).max(0.0);
            }
            since = Some((None, 0.0));
        }
    }
    later_ms
}

/// Makes every move of a person wait until the last update before it has finished.
fn wait_until_free(flow: &Flow, map: &FlowMap, screens: &DecodedScreens, walk: &mut Walk) {
    let plan = walk.plan(flow, &map.graph, screens).plan;
    let busy_until_ms = Cell::new(0.0_f64);
    let mut later = |planned: &PlannedStep<'_>| {
        let busy_ms = busy_until_ms.get() - planned.request_ms;
        let move_before = usize::try_from(planned.index).ok().and_then(|index| index.checked_sub(1));
        let (Some(at), true) = (move_before, planned.step.cause.is_person() && busy_ms > SAME_MS) else { return 0.0 };
        walk.moves[at].after_ms += busy_ms;
        busy_ms
    };
    // The screens were decoded before, so none is broken.
    let _ = play_later(&plan, screens, &mut later, &mut |step: &PlayedStep<'_>| {
        let sent = step.updates.iter().filter(|update| !update.sent.is_empty() && update.lost.is_none());
        let ends_ms = sent.map(|update| update.times.finish_ms).fold(0.0, f64::max);
        busy_until_ms.set(busy_until_ms.get().max(ends_ms));
    });
}

/// A walk of so many moves, each chosen at random among those that can be made, half of them after a pause; shorter where
/// no move leads on. The same seed gives the same walk.
pub(super) fn at_random(flow: &Flow, map: &FlowMap, screens: &DecodedScreens, moves: usize, seed: u64) -> Walk {
    let walk = random_edges(flow, map, moves, seed);
    let mut dice = Dice(!seed);
    let mut pause_ms = |_| if dice.below(2) == 0 { 0.0 } else { dice.below(LONGEST_PAUSE_MS as usize) as f64 };
    let later_ms: Vec<f64> = (0..walk.moves.len()).map(&mut pause_ms).collect();
    soonest(flow, map, screens, &walk, &later_ms)
}

/// The same without its times.
pub(super) fn random_edges(flow: &Flow, map: &FlowMap, moves: usize, seed: u64) -> Walk {
    let mut dice = Dice(seed);
    let graph = &map.graph;
    let at = dice.below(graph.starts);
    let state = graph.nodes[at].state;
    let starts: Vec<usize> = (0..flow.starts.len()).filter(|start| flow.starts[*start].at == state).collect();
    let mut walk = Walk { start: starts[dice.below(starts.len())], at, moves: Vec::new() };
    let mut here = at;
    while walk.moves.len() < moves {
        let leaving = graph.leaving(here);
        if leaving.is_empty() {
            break;
        }
        let edge = leaving.start + dice.below(leaving.len());
        here = graph.edges[edge].to;
        walk.moves.push(WalkedEdge { edge, after_ms: 0.0 });
    }
    walk
}

/// Numbers at random: the generator `SplitMix64` (Steele, Lea and Flood 2014, 'Fast splittable pseudorandom number
/// generators', OOPSLA), whose constants are those of that paper.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number from 0 to below `count`; 0 if there is none below it.
    fn below(&mut self, count: usize) -> usize {
        (self.next() % (count.max(1) as u64)) as usize
    }
}
