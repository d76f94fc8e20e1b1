//! The most flashes of a pixel within a second, over all runs of moves of all walks.
//!
//! A run begins with a flash, or half of one. What comes after it is as early as it can be: moves as soon as they may come,
//! and updates as soon as their own request, the pixel's update before and the panel allow, the first one as late. Of runs
//! with as many halves that stand in the same state, those that are not earlier in any respect need not be followed.

use super::{
    behaviour::NONE,
    flash_shows::{Flashing, Outcome, Showing, Sight},
    flash_times::{EdgeTiming, FlashTimes},
    states::Ways,
};
use crate::panel::SECOND_MS;

/// What is this much before the end of a second is still in it, ms: sums of times are rounded.
const ROUNDING_MS: f64 = 1e-9;

/// So many halves of flashes within a second are as good as no bound.
pub(super) const ENDLESS: u32 = 1000;

/// So many runs to one state are distinguished; of more, the earliest times of all of them are taken together.
const MOST_TOLD_APART: usize = 8;

/// A run of moves, with times in ms from its first flash on.
#[derive(Clone, Copy, Debug)]
struct Run {
    halves: u32,
    /// Which way the pixel swung last; 0 if that is not known.
    way: u8,
    /// The last request.
    request_ms: f64,
    /// When the pixel's last update has ended.
    free_ms: f64,
    /// When all updates have ended, as far as moves wait for that.
    all_free_ms: f64,
    /// The last request of the clock.
    clock_ms: f64,
    /// When the data of all updates have arrived.
    link_ms: f64,
}

impl Run {
    fn is_no_later(&self, other: &Self) -> bool {
        self.request_ms <= other.request_ms
            && self.free_ms <= other.free_ms
            && self.all_free_ms <= other.all_free_ms
            && self.clock_ms <= other.clock_ms
            && self.link_ms <= other.link_ms
    }

    fn earliest_of(&self, other: &Self) -> Self {
        Self {
            request_ms: self.request_ms.min(other.request_ms),
            free_ms: self.free_ms.min(other.free_ms),
            all_free_ms: self.all_free_ms.min(other.all_free_ms),
            clock_ms: self.clock_ms.min(other.clock_ms),
            link_ms: self.link_ms.min(other.link_ms),
            ..*self
        }
    }
}

/// A run that leads to a state.
#[derive(Clone, Copy, Debug)]
struct Label {
    run: Run,
    state: u32,
    /// The label before, or none where the run begins with this edge.
    before: u32,
    /// The edge, or the number of a start behind all of them.
    edge: u32,
}

/// A state of a cell: what it shows at a node.
#[derive(Clone, Copy, Debug)]
struct State {
    node: u32,
    level: u8,
    /// The state before on a way from a start, and the edge, or the number of a start.
    before: u32,
    edge: u32,
}

/// The run with the most flashes: a way from a start, and the run itself, which may begin with the start.
#[derive(Clone, Debug, Default)]
pub(super) struct FoundRun {
    pub(super) start: usize,
    pub(super) way: Vec<usize>,
    pub(super) run: Vec<usize>,
}

/// What is known of the most flashes of a pixel within a second.
#[derive(Clone, Debug)]
pub(super) struct MostFlashes {
    /// In halves; [`ENDLESS`] where there is no bound.
    pub(super) halves: u32,
    pub(super) run: FoundRun,
}

/// What runs are followed with.
#[derive(Clone, Copy, Debug)]
pub(super) struct Following<'f> {
    pub(super) ways: &'f Ways<'f>,
    pub(super) times: &'f FlashTimes,
    pub(super) flashing: &'f Flashing,
    pub(super) losing: &'f [(u32, u32)],
    /// Whether any move waits until all updates have ended, and whether any waits for the clock.
    pub(super) knows_all_free: bool,
    pub(super) knows_clock: bool,
}

impl Following<'_> {
    /// The most flashes of a pixel, `None` after more than so much work.
    pub(super) fn most(&self, showing: &mut Showing<'_>, most_work: &mut u64) -> Option<MostFlashes> {
        let mut search = Search {
            with: self,
            states: Vec::new(),
            numbers: vec![NONE; self.ways.nodes * showing.levels()],
            labels: Vec::new(),
            front: Vec::new(),
            open: vec![Vec::new()],
            best: (0, NONE),
        };
        search.list_states(showing);
        search.front = vec![Vec::new(); 3 * search.states.len()];
        search.begin(showing);
        search.follow(showing, most_work)?;
        Some(MostFlashes { halves: search.best.0.min(ENDLESS), run: search.run_to(search.best.1) })
    }
}

struct Search<'s> {
    with: &'s Following<'s>,
    states: Vec<State>,
    /// By node and level.
    numbers: Vec<u32>,
    labels: Vec<Label>,
    /// By state and way: the labels of the present number of halves.
    front: Vec<Vec<u32>>,
    /// By halves: labels that wait for their turn.
    open: Vec<Vec<u32>>,
    /// The most halves, and the label with them.
    best: (u32, u32),
}

impl Search<'_> {
    /// All that the cell shows at all nodes.
    fn list_states(&mut self, showing: &mut Showing<'_>) {
        let ways = self.with.ways;
        let level = showing.level(ways.begins);
        for (number, kind) in ways.kind_of_start.iter().enumerate() {
            let outcomes = showing.number(*kind, level);
            for outcome in showing.outcomes(outcomes) {
                let node = ways.starts[number].node as u32;
                self.state(showing.levels(), State { node, level: outcome.to, before: NONE, edge: number as u32 });
            }
        }
        let mut at = 0;
        while at < self.states.len() {
            let State { node, level, .. } = self.states[at];
            for edge in ways.leaving(node) {
                let outcomes = showing.number(ways.kind_of_edge[edge as usize], level);
                for outcome in showing.outcomes(outcomes) {
                    let node = ways.to[edge as usize];
                    self.state(showing.levels(), State { node, level: outcome.to, before: at as u32, edge });
                }
            }
            at += 1;
        }
    }

    fn state(&mut self, levels: usize, state: State) -> u32 {
        let number = &mut self.numbers[state.node as usize * levels + usize::from(state.level)];
        if *number == NONE {
            *number = self.states.len() as u32;
            self.states.push(state);
        }
        *number
    }

    fn known(&self, levels: usize, node: u32, level: u8) -> u32 {
        self.numbers[node as usize * levels + usize::from(level)]
    }

    /// Begins a run with every flash and every swing of every edge and start.
    fn begin(&mut self, showing: &mut Showing<'_>) {
        let ways = self.with.ways;
        let edges = ways.to.len() as u32;
        let level = showing.level(ways.begins);
        for (number, kind) in ways.kind_of_start.iter().enumerate() {
            let timing = self.with.times.start(number);
            self.begin_with(
                showing,
                *kind,
                level,
                timing,
                ways.starts[number].node as u32,
                [NONE, edges + number as u32],
            );
        }
        for state in 0..self.states.len() {
            let State { node, level, .. } = self.states[state];
            for edge in ways.leaving(node) {
                let timing = self.with.times.edge(edge as usize);
                let kind = ways.kind_of_edge[edge as usize];
                self.begin_with(showing, kind, level, timing, ways.to[edge as usize], [state as u32, edge]);
            }
        }
    }

    fn begin_with(
        &mut self,
        showing: &mut Showing<'_>,
        losing: u32,
        level: u8,
        timing: &EdgeTiming,
        node: u32,
        [source, edge]: [u32; 2],
    ) {
        let kind = self.with.losing[losing as usize].0 as usize;
        let number = showing.number(losing, level);
        for outcome in showing.outcomes(number) {
            let state = self.known(showing.levels(), node, outcome.to);
            for first in 0..outcome.seen.len() {
                let (drive, sight) = outcome.seen[first];
                let moments_ms = self.with.flashing.moments_ms(kind, drive);
                let beginnings: &[f64] = if sight == Sight::Nothing { &[] } else { moments_ms };
                for from_ms in beginnings {
                    let run = self.first_run(timing, drive, sight, (moments_ms, *from_ms), showing.has_order());
                    let run = self.with.go_on(run, timing, kind, (outcome, first + 1), showing.has_order());
                    // A run that begins here is marked by the state before it.
                    self.offer(Label { run, state, before: NONE, edge }, source);
                }
            }
        }
    }

    fn first_run(
        &self,
        timing: &EdgeTiming,
        drive: u8,
        sight: Sight,
        (moments_ms, from_ms): (&[f64], f64),
        has_order: bool,
    ) -> Run {
        let times = self.with.times.drives(timing)[usize::from(drive)];
        let start_ms = -from_ms;
        let request_ms = start_ms - times.latest_ms;
        let halves = match sight {
            Sight::Flashes => {
                2 * moments_ms.iter().filter(|at| **at >= from_ms && is_within(start_ms + **at)).count() as u32
            }
            Sight::Swing(_) | Sight::Nothing => 1,
        };
        Run {
            halves,
            way: if let Sight::Swing(way) = sight { way } else { 0 },
            request_ms,
            free_ms: if has_order { start_ms + times.duration_ms } else { f64::NEG_INFINITY },
            all_free_ms: f64::NEG_INFINITY,
            clock_ms: f64::NEG_INFINITY,
            link_ms: start_ms - times.panel_wait_ms - times.earliest_ms,
        }
    }

    /// Takes a run that leads to a state; `source` is the state before its first edge.
    fn offer(&mut self, mut label: Label, source: u32) {
        let run = &label.run;
        if label.before == NONE {
            // The state before the run is kept where the number of a label would be, distinguished by its highest bit.
            label.before = source | BEGINS;
        }
        let number = self.labels.len() as u32;
        if run.halves > self.best.0 {
            self.best = (run.halves, number);
        }
        self.labels.push(label);
        // What comes next is requested, or driven, too late, or there is no bound anyway.
        if run.request_ms.max(run.free_ms) >= SECOND_MS || run.halves >= ENDLESS {
            return;
        }
        let at = run.halves as usize;
        if self.open.len() <= at {
            self.open.resize_with(at + 1, Vec::new);
        }
        self.open[at].push(number);
    }

    /// Follows all runs, those with fewer halves first.
    fn follow(&mut self, showing: &mut Showing<'_>, most_work: &mut u64) -> Option<()> {
        let mut halves = 0;
        while halves < self.open.len() && self.best.0 < ENDLESS {
            let mut touched: Vec<usize> = Vec::new();
            while let Some(number) = self.open[halves].pop() {
                let Some(number) = self.keep(number, &mut touched) else { continue };
                self.step(number, halves, showing, most_work)?;
            }
            for at in touched {
                self.front[at].clear();
            }
            halves += 1;
        }
        Some(())
    }

    /// Keeps a label that none of its state and halves covers; gives the number under which it goes on.
    fn keep(&mut self, number: u32, touched: &mut Vec<usize>) -> Option<u32> {
        let label = self.labels[number as usize];
        let at = label.state as usize * 3 + usize::from(label.run.way);
        if self.front[at].iter().any(|known| self.labels[*known as usize].run.is_no_later(&label.run)) {
            return None;
        }
        if self.front[at].is_empty() {
            touched.push(at);
        }
        let labels = &self.labels;
        self.front[at].retain(|known| !label.run.is_no_later(&labels[*known as usize].run));
        if self.front[at].len() < MOST_TOLD_APART {
            self.front[at].push(number);
            return Some(number);
        }
        let earliest =
            self.front[at].iter().fold(label.run, |run, known| run.earliest_of(&self.labels[*known as usize].run));
        self.labels.push(Label { run: earliest, ..label });
        let number = self.labels.len() as u32 - 1;
        self.front[at] = vec![number];
        Some(number)
    }

    /// Follows a run along every edge.
    fn step(&mut self, number: u32, halves: usize, showing: &mut Showing<'_>, most_work: &mut u64) -> Option<()> {
        let ways = self.with.ways;
        let label = self.labels[number as usize];
        let State { node, level, .. } = self.states[label.state as usize];
        for edge in ways.leaving(node) {
            *most_work = most_work.checked_sub(1)?;
            let timing = self.with.times.edge(edge as usize);
            let Some(requested) = label.run.requested(timing) else { continue };
            let losing = ways.kind_of_edge[edge as usize];
            let kind = self.with.losing[losing as usize].0 as usize;
            let outcomes = showing.number(losing, level);
            for outcome in showing.outcomes(outcomes) {
                let run = self.with.go_on(requested, timing, kind, (outcome, 0), showing.has_order());
                let state = self.known(showing.levels(), ways.to[edge as usize], outcome.to);
                if self.is_new(&run, state, halves) {
                    self.offer(Label { run, state, before: number, edge }, NONE);
                }
            }
        }
        Some(())
    }

    /// Whether a run is worth a label: it is not where the present labels cover it.
    fn is_new(&self, run: &Run, state: u32, halves: usize) -> bool {
        run.halves as usize != halves
            || !self.front[state as usize * 3 + usize::from(run.way)]
                .iter()
                .any(|known| self.labels[*known as usize].run.is_no_later(run))
    }

    /// The run to a label, and the way to where it begins.
    fn run_to(&self, label: u32) -> FoundRun {
        let mut found = FoundRun::default();
        if label == NONE {
            return found;
        }
        let edges = self.with.ways.to.len() as u32;
        let mut at = label;
        let mut state = loop {
            let Label { before, edge, .. } = self.labels[at as usize];
            if edge >= edges {
                found.start = (edge - edges) as usize;
                found.run.reverse();
                return found;
            }
            found.run.push(edge as usize);
            if before & BEGINS != 0 {
                break before & !BEGINS;
            }
            at = before;
        };
        loop {
            let State { before, edge, .. } = self.states[state as usize];
            if before == NONE {
                found.start = edge as usize;
                break;
            }
            found.way.push(edge as usize);
            state = before;
        }
        found.run.reverse();
        found.way.reverse();
        found
    }
}

/// Marks the number of a state before a run, where otherwise the number of a label stands.
const BEGINS: u32 = 1 << 31;

impl Following<'_> {
    /// The run after what an edge shows from one of its sights on.
    fn go_on(
        &self,
        mut run: Run,
        timing: &EdgeTiming,
        kind: usize,
        (outcome, first): (&Outcome, usize),
        has_order: bool,
    ) -> Run {
        let drives = self.times.drives(timing);
        for (drive, sight) in &outcome.seen[first..] {
            let times = drives[usize::from(*drive)];
            let start_ms = (run.request_ms.max(run.link_ms) + times.earliest_ms).max(run.free_ms);
            if start_ms >= SECOND_MS {
                run.free_ms = if has_order { start_ms } else { run.free_ms };
                break;
            }
            let moments_ms = self.flashing.moments_ms(kind, *drive);
            run.see(*sight, start_ms, moments_ms);
            if has_order {
                run.free_ms = start_ms + times.duration_ms;
            }
            // An update that starts so late was requested late.
            run.request_ms = run.request_ms.max(start_ms - times.latest_ms);
        }
        // One update is sent after the other, whatever they drive.
        run.link_ms = run.link_ms.max(run.request_ms) + timing.transfers_ms;
        if self.knows_all_free {
            run.all_free_ms = run.all_free_ms.max(run.request_ms + timing.busy_ms());
            if has_order {
                run.all_free_ms = run.all_free_ms.max(run.free_ms);
            }
        }
        if self.knows_clock && timing.is_clock {
            run.clock_ms = run.request_ms;
        }
        run
    }
}

impl Run {
    /// The run with the next request, as soon as that may come; nothing if that is too late.
    fn requested(self, timing: &EdgeTiming) -> Option<Self> {
        let mut run = self;
        run.request_ms += timing.soonest_ms;
        if timing.is_clock {
            run.request_ms = run.request_ms.max(run.clock_ms + timing.every_ms);
        }
        if timing.waits_until_free {
            run.request_ms = run.request_ms.max(run.all_free_ms);
        }
        (run.request_ms < SECOND_MS).then_some(run)
    }

    fn see(&mut self, sight: Sight, start_ms: f64, moments_ms: &[f64]) {
        let within = moments_ms.iter().filter(|at| is_within(start_ms + **at)).count() as u32;
        match sight {
            Sight::Flashes if within > 0 => {
                self.halves += 2 * within;
                self.way = 0;
            }
            // A second swing the same way is no other half of a flash.
            Sight::Swing(way) if within > 0 && (way == 0 || way != self.way) => {
                self.halves += 1;
                self.way = way;
            }
            Sight::Flashes | Sight::Swing(_) | Sight::Nothing => {}
        }
    }
}

fn is_within(at_ms: f64) -> bool {
    at_ms < SECOND_MS - ROUNDING_MS
}
