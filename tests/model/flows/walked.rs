//! Walks through a flow, played by the plain model as a plan would be: the start and every move are a step.

use stillpage::{
    flow::{Graph, Input},
    plan::Cause,
    proof::{Bound, Proof, Witness},
};

use super::{
    apart::{Does, Sent, begins, drive, edge_does, left_behind, starts},
    made::Made,
};
use crate::{
    plain::{
        driving::PanelState,
        eye::off_median,
        flashes::{Kind, Takes, swing},
        geometry::count,
        ink::Ink,
        queue::Queue,
        reading::WhenBusy,
        screens::Levels,
    },
    random_plans::dice::Dice,
};

/// What is true at the end of a step.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    pub(super) most: u64,
    pub(super) ghost_l: f64,
    pub(super) wait_ms: f64,
    answer_ms: f64,
    finish_ms: f64,
    pub(super) left_px: u64,
    /// The pixels that do not show what is in memory.
    pub(super) wrong_px: u64,
    /// Halves of flashes of a pixel within a second so far.
    pub(super) halves: usize,
}

struct Walker<'m> {
    made: &'m Made,
    glass: PanelState,
    queue: Queue,
    now_ms: f64,
    clock_ms: f64,
    /// When the last update of the host has finished.
    finished_ms: f64,
    flashes: Flashes,
}

impl<'m> Walker<'m> {
    fn new(made: &'m Made) -> Self {
        Self {
            made,
            glass: PanelState::clean(begins(made), false),
            queue: Queue::new(made.display.link.clone(), made.display.parallel_updates),
            now_ms: 0.0,
            clock_ms: f64::NEG_INFINITY,
            finished_ms: 0.0,
            flashes: Flashes::new(made.size.pixels()),
        }
    }

    /// How long a move has to wait for.
    fn soonest_ms(&self, by: usize) -> f64 {
        let one = &self.made.flow.moves[by];
        let mut after_ms = one.soonest_ms;
        if one.cause == Cause::Clock {
            after_ms = after_ms.max(self.clock_ms + one.every_ms - self.now_ms);
        }
        if self.made.flow.input == Input::WhenFree && one.cause.is_person() {
            after_ms = after_ms.max(self.finished_ms - self.now_ms);
        }
        after_ms
    }

    /// How much later than it may a move comes that is not the clock's, if any tick may then follow at once.
    fn until_tick_ms(&self, by: usize) -> f64 {
        if self.made.flow.moves[by].cause == Cause::Clock {
            return 0.0;
        }
        let every_ms = self.made.flow.moves.iter().map(|one| one.every_ms).fold(0.0, f64::max);
        let until_ms = self.clock_ms + every_ms - self.now_ms - self.soonest_ms(by);
        if until_ms.is_finite() { until_ms.max(0.0) } else { 0.0 }
    }

    fn make(&mut self, by: usize, later_ms: f64, does: &Does<'_>) -> Seen {
        self.now_ms += self.soonest_ms(by) + later_ms;
        if self.made.flow.moves[by].cause == Cause::Clock {
            self.clock_ms = self.now_ms;
        }
        self.step(does)
    }

    fn step(&mut self, does: &Does<'_>) -> Seen {
        let mut seen = Seen { answer_ms: f64::INFINITY, ..Seen::default() };
        let mut lost = 0;
        let mut sent_ms = self.now_ms;
        let sending = does.updates.iter().filter(|sent| count(&sent.covered) > 0);
        for (at, sent) in sending.enumerate() {
            let pictures = if sent.with_old { 2.0 } else { 1.0 };
            let drops = self.made.display.when_busy == WhenBusy::Drops;
            if drops && self.queue.is_busy(sent_ms, &sent.covered, pictures) {
                lost |= 1 << at;
                continue;
            }
            if sent.with_old {
                self.glass.remind(&sent.covered);
            }
            let before = self.glass.nominal.clone();
            let tally = self.glass.update(drive(self.made, sent), &sent.covered, does.memory);
            let times = self.queue.host(self.now_ms, sent.covered.clone(), sent.for_ms, pictures, &mut sent_ms);
            self.finished_ms = self.finished_ms.max(times.finish_ms);
            self.flashes.see(&self.made.display.ink, sent, [&before, &self.glass.nominal], times.start_ms);
            seen.wait_ms = seen.wait_ms.max(times.wait_ms);
            // What differs is not always driven, and then nothing is seen of it.
            if tally.changed > 0 && tally.driven > 0 {
                seen.answer_ms = seen.answer_ms.min(times.start_ms + sent.for_ms / 4.0 - self.now_ms);
                seen.finish_ms = seen.finish_ms.max(times.finish_ms - self.now_ms);
            }
        }
        if seen.answer_ms.is_infinite() {
            seen.answer_ms = 0.0;
        }
        seen.halves = self.flashes.most;
        seen.left_px = count(&left_behind(&self.glass, does, lost)) as u64;
        let shown = self.glass.nominal.iter().zip(does.memory);
        seen.wrong_px = shown.filter(|(level, target)| level != target).count() as u64;
        seen.most = self.glass.since_cleaning.iter().copied().max().unwrap_or(0);
        seen.ghost_l = off_median(&self.made.display.ink, &self.glass).into_iter().fold(0.0, f64::max);
        seen
    }
}

/// What a random walk came to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Came {
    /// Whether any ghost can be seen at all.
    pub(super) has_figures: bool,
    /// Whether some node's ghost came near its bound.
    pub(super) is_near_ghost: bool,
}

/// A random walk of 200 moves.
pub(super) fn random(
    made: &Made,
    graph: &Graph,
    proof: &Proof,
    dice: &mut Dice,
    is_hasty: bool,
) -> Result<Came, String> {
    let mut starts = starts(made, graph);
    let (_, mut node, does) = starts.swap_remove(dice.below(starts.len()));
    let mut walker = Walker::new(made);
    let mut came = Came::default();
    let seen = walker.step(&does);
    check(proof, node, &seen, &mut came)?;
    for moved in 0..200 {
        let leaving: Vec<_> = graph.edges.iter().filter(|edge| edge.from == node).collect();
        if leaving.is_empty() {
            break;
        }
        let edge = *dice.pick(&leaving);
        let later_ms = match dice.below(4) {
            _ if is_hasty => 0.0,
            0 | 1 => 0.0,
            2 => *dice.pick(&[1.0, 100.0, 900.0]),
            // As long as it takes until the clock may tick.
            _ => walker.until_tick_ms(edge.by),
        };
        let seen = walker.make(edge.by, later_ms, &edge_does(made, graph, edge));
        node = edge.to;
        check(proof, node, &seen, &mut came).map_err(|fault| format!("after {moved} moves: {fault}"))?;
    }
    Ok(came)
}

fn check(proof: &Proof, node: usize, seen: &Seen, came: &mut Came) -> Result<(), String> {
    let proved = &proof.nodes[node];
    let within = |figure: f64, bound: Bound| match bound {
        Bound::Proved(most) => figure <= most + 1e-3,
        Bound::Unbounded => true,
        Bound::NotProved => false,
    };
    let all = within(seen.most as f64, proved.most_since_cleaning)
        && within(seen.ghost_l, proved.ghost_l)
        && within(seen.wait_ms, proved.wait_ms)
        && within(seen.answer_ms, proved.answer_ms)
        && within(seen.finish_ms, proved.finish_ms)
        && seen.left_px <= proved.left_behind_px
        && within(seen.halves as f64 / 2.0, proof.flashes);
    if !all {
        return Err(format!("node {node} shows {seen:?}, but {proved:?} and flashes {:?} were proved", proof.flashes));
    }
    let ghost_l = proved.ghost_l.figure().unwrap_or(0.0);
    came.has_figures |= ghost_l > 0.1;
    came.is_near_ghost |= ghost_l > 0.1 && seen.ghost_l > 0.7 * ghost_l;
    Ok(())
}

/// What is seen at the start and after every move of a walk.
pub(super) fn along(made: &Made, graph: &Graph, witness: &Witness) -> Vec<Seen> {
    along_with(made, graph, witness, 0)
}

/// The same where some moves at the beginning come a minute later than they may.
pub(super) fn along_with(made: &Made, graph: &Graph, witness: &Witness, slow: usize) -> Vec<Seen> {
    let starts = starts(made, graph);
    let (_, _, does) =
        starts.iter().find(|(start, node, _)| (*start, *node) == (witness.start, witness.at)).expect("it is a start");
    let mut walker = Walker::new(made);
    let mut seen = vec![walker.step(does)];
    let mut node = witness.at;
    for (number, edge) in witness.edges().enumerate() {
        let edge = &graph.edges[edge];
        let later_ms = if number < slow { 60_000.0 } else { 0.0 };
        assert_eq!(edge.from, node, "a walk goes on where it is");
        seen.push(walker.make(edge.by, later_ms, &edge_does(made, graph, edge)));
        node = edge.to;
    }
    seen
}

/// The same where the first move behind each tick comes so late that the next tick follows the move before it at once.
pub(super) fn along_close_to_ticks(made: &Made, graph: &Graph, witness: &Witness) -> Vec<Seen> {
    let edges: Vec<_> = witness.edges().map(|edge| &graph.edges[edge]).collect();
    let one = |at: usize| &made.flow.moves[edges[at].by];
    let is_tick = |at: &usize| one(*at).cause == Cause::Clock;
    let mut later_ms = vec![0.0; edges.len()];
    for tick in (0..edges.len()).filter(is_tick) {
        let next = (tick + 1..edges.len()).find(is_tick);
        let Some(next) = next.filter(|next| *next > tick + 1) else { continue };
        let soonest_ms: f64 = (tick + 1..=next).map(|at| one(at).soonest_ms).sum();
        later_ms[tick + 1] = (one(next).every_ms - soonest_ms).max(0.0);
    }
    let starts = starts(made, graph);
    let (_, _, does) =
        starts.iter().find(|(start, node, _)| (*start, *node) == (witness.start, witness.at)).expect("it is a start");
    let mut walker = Walker::new(made);
    let mut seen = vec![walker.step(does)];
    for (edge, later_ms) in edges.into_iter().zip(later_ms) {
        seen.push(walker.make(edge.by, later_ms, &edge_does(made, graph, edge)));
    }
    seen
}

/// The flashes of every pixel, one by one.
struct Flashes {
    /// By pixel, when and what, in the order in which it comes.
    of_pixel: Vec<Vec<(f64, Takes)>>,
    /// The most halves of any pixel within a second so far.
    most: usize,
}

impl Flashes {
    fn new(pixels: usize) -> Self {
        Self { of_pixel: vec![Vec::new(); pixels], most: 0 }
    }

    fn see(&mut self, ink: &Ink, sent: &Sent<'_>, [before, after]: [&Levels; 2], start_ms: f64) {
        let mode = sent.mode;
        let number = mode.flashes.max(1);
        let evenly = |flash: u64| (flash as f64 + 0.5) / number as f64;
        let share = |flash: u64| mode.flash_at.as_ref().map_or_else(|| evenly(flash), |at| at[flash as usize]);
        let moments_ms: Vec<f64> = (0..number).map(|flash| start_ms + share(flash) * sent.for_ms).collect();
        for pixel in (0..before.len()).filter(|pixel| sent.covered[*pixel]) {
            let takes = if mode.flashes > 0 {
                swing(ink, Kind::General, ink.black, ink.white).map(|_| Takes::Flash)
            } else {
                swing(ink, Kind::General, before[pixel], after[pixel])
            };
            let Some(takes) = takes else { continue };
            let all = &mut self.of_pixel[pixel];
            all.extend(moments_ms.iter().map(|at_ms| (*at_ms, takes)));
            // What is more than two seconds old is of no use to what comes later.
            all.retain(|(at_ms, _)| *at_ms > start_ms - 2000.0);
            self.most = self.most.max(most_halves(all));
        }
    }
}

/// The most halves within any second. A second is cut by a millionth of a millisecond: two moments that are a second apart
/// may lie in one by the last bit.
fn most_halves(all: &[(f64, Takes)]) -> usize {
    let of_second = |(first, (from_ms, _)): (usize, &(f64, Takes))| {
        let (mut sum, mut last) = (0, None);
        for (_, takes) in all[first..].iter().take_while(|(at_ms, _)| *at_ms < from_ms + 1000.0 - 1e-6) {
            match takes {
                Takes::Flash => (sum, last) = (sum + 2, None),
                Takes::Swing { up } => {
                    sum += usize::from(last != Some(*up));
                    last = Some(*up);
                }
            }
        }
        sum
    };
    all.iter().enumerate().map(of_second).max().unwrap_or(0)
}
