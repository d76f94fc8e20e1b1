//! How long updates wait, over all walks: every queue that some walk meets at a node and that no other one there exceeds.
//!
//! Moves that come later never make anybody wait longer, so all of them come as soon as they may, with one exception: while
//! the clock must not tick yet, what comes later comes nearer to the tick. The worst is then a pause right behind the tick
//! before, as long as it takes until the next one can follow at once. Times are milliseconds from a request on. A loop whose queue comes back longer is followed lap by lap: it settles, or it grows for ever. The
//! sums and maxima are max-plus algebra (Baccelli, Cohen, Olsder and Quadrat, 'Synchronization and Linearity', 1992).

use std::collections::{HashMap, VecDeque};

use super::{
    kinds::{Kind, Kinds},
    sent::Regions,
    states::first_edges,
};
use crate::{
    display::{Display, Link},
    flow::{Flow, Graph, Input},
    plan::Cause,
};

/// More queues than this at a node are joined by their maxima.
const MOST_AT_A_NODE: usize = 1000;

/// As many queues for each node are looked at before few are kept at every node, and before nothing is proved.
const MANY_QUEUES: usize = 40;
const MOST_QUEUES: usize = 100;
/// The same of small graphs, in all.
const MANY_OF_SMALL: usize = 8_000;
const MOST_OF_SMALL: usize = 20_000;

/// Queues of a node are joined from this many on, once there are many in all.
const FEW_AT_A_NODE: usize = 4;

/// Laps of a loop that are followed, and how many of them must lengthen the queue by the same amounts; fewer of a loop
/// with so many edges that this would be more than so many moves.
const LAPS: usize = 2600;
const EVEN_LAPS: usize = 1000;
const MOST_MOVES: usize = 200_000;
const LEAST_LAPS: usize = 400;

/// The most laps of a block: places take turns.
const MOST_LAPS_OF_A_BLOCK: usize = 64;

/// More pauses before a tick than these are taken some together.
const MOST_PAUSES: usize = 32;

/// What is less than this is rounding, ms.
const SAME_MS: f64 = 1e-6;

/// How long the controller is still busy when a request has just been taken, ms.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Busy {
    link: f64,
    /// Rising.
    places: Vec<f64>,
    /// By region, those that are driven for longer than a place or the link is busy anyway.
    regions: Vec<(u32, f64)>,
    /// How long ago the clock's move before was, at most the longest time that any waits for.
    since_clock: f64,
    /// Whether the move before may have been the clock's, which the next one must wait for.
    is_behind_a_tick: bool,
}

/// When an update is sent and driven, ms from its request on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sending {
    pub(super) wait_ms: f64,
    /// When its data have arrived.
    pub(super) arrived_ms: f64,
    pub(super) start_ms: f64,
    pub(super) finish_ms: f64,
    /// Whether it waits for nothing but an earlier update of its request, in another mode over the same place: quick now
    /// and clean right after it was asked for just so.
    pub(super) settles: bool,
}

/// The controller of a flow's display, as far as queues go.
#[derive(Debug)]
pub(super) struct Controller<'f> {
    flow: &'f Flow,
    link: Link,
    places: usize,
    regions: &'f Regions,
    longest_every_ms: f64,
    /// How long any number of moves of people or of the device takes at the least, rising, up to the longest time that a tick
    /// waits for.
    sums_ms: Vec<f64>,
}

impl<'f> Controller<'f> {
    pub(super) fn new(flow: &'f Flow, display: &Display, regions: &'f Regions) -> Self {
        let longest_every_ms = flow.moves.iter().map(|one| one.every_ms).fold(0.0, f64::max);
        let others = flow.moves.iter().filter(|one| one.cause != Cause::Clock);
        let sums_ms = sums_up_to(longest_every_ms, others.map(|one| one.soonest_ms).collect());
        Self { flow, link: display.link, places: display.parallel_updates, regions, longest_every_ms, sums_ms }
    }

    /// Nothing is busy, and no clock has ticked.
    pub(super) fn idle(&self) -> Busy {
        Busy {
            link: 0.0,
            places: vec![0.0; self.places],
            regions: Vec::new(),
            since_clock: self.longest_every_ms,
            is_behind_a_tick: false,
        }
    }

    /// How long after the request before a move comes, at the soonest.
    pub(super) fn soonest_ms(&self, busy: &Busy, by: usize) -> f64 {
        let one = &self.flow.moves[by];
        let mut after_ms = one.soonest_ms;
        if one.cause == Cause::Clock {
            after_ms = after_ms.max(one.every_ms - busy.since_clock);
        }
        if self.flow.input == Input::WhenFree && one.cause.is_person() {
            after_ms = after_ms.max(busy.places.last().copied().unwrap_or(0.0));
        }
        after_ms
    }

    /// Makes a move as soon as it may come; tells of every update that sends something.
    pub(super) fn make(&self, busy: &Busy, by: usize, kind: &Kind, mut tell: impl FnMut(Sending)) -> Busy {
        let mut after = busy.clone();
        after.pass(self.soonest_ms(busy, by), self.longest_every_ms);
        after.is_behind_a_tick = self.flow.moves[by].cause == Cause::Clock && self.longest_every_ms > 0.0;
        if after.is_behind_a_tick {
            after.since_clock = 0.0;
        }
        self.take(&mut after, kind, &mut tell);
        after
    }

    /// The queues of a move right behind a tick that comes later than it may, so that the next tick can follow it, or moves
    /// behind it, at once. Each is what a pause of just that length leaves; of pauses behind which nothing is busy any more,
    /// one stands for all, with a tick that is due at once.
    fn make_after_a_pause(&self, busy: &Busy, by: usize, kind: &Kind) -> Vec<Busy> {
        let soonest_ms = self.soonest_ms(busy, by);
        let since_ms = busy.since_clock + soonest_ms;
        let is_tick = self.flow.moves[by].cause == Cause::Clock;
        if is_tick || !busy.is_behind_a_tick || since_ms >= self.longest_every_ms {
            return Vec::new();
        }
        let until_idle_ms = (busy.idle_ms() - soonest_ms).max(0.0);
        let mut pauses: Vec<[f64; 2]> = self.pauses_ms(since_ms, until_idle_ms).into_iter().map(|ms| [ms; 2]).collect();
        if pauses.len() > MOST_PAUSES {
            // Some together, with all that lie between: as short as the shortest of them, with a tick that is due as after the
            // shortest of the next.
            let each = pauses.len().div_ceil(MOST_PAUSES);
            let first: Vec<f64> = pauses.iter().step_by(each).map(|pause| pause[0]).collect();
            let ends = first.iter().skip(1).copied().chain([until_idle_ms]);
            pauses = std::iter::once(0.0)
                .chain(first.iter().skip(1).copied())
                .zip(ends)
                .map(|(from, to)| [from, to])
                .collect();
        }
        let pauses = pauses.into_iter().map(|[pause_ms, until_ms]| (pause_ms, since_ms + until_ms));
        let long = (since_ms + until_idle_ms < self.longest_every_ms).then_some((until_idle_ms, self.longest_every_ms));
        let paused = |(pause_ms, since_ms): (f64, f64)| {
            let mut after = busy.clone();
            after.pass(soonest_ms + pause_ms, self.longest_every_ms);
            after.since_clock = since_ms.min(self.longest_every_ms);
            after.is_behind_a_tick = false;
            self.take(&mut after, kind, &mut |_| {});
            after
        };
        pauses.chain(long).map(paused).collect()
    }

    /// The pauses, rising and shorter than so long, behind which some tick is due just when other moves have been made as soon
    /// as they may; the first of them comes so long after the tick before, ms.
    fn pauses_ms(&self, since_ms: f64, shorter_than_ms: f64) -> Vec<f64> {
        let ticks = self.flow.moves.iter().filter(|one| one.cause == Cause::Clock);
        let mut pauses: Vec<f64> = Vec::new();
        for tick in ticks {
            let left_ms = tick.every_ms - since_ms - tick.soonest_ms;
            let from = self.sums_ms.partition_point(|sum| *sum <= left_ms - shorter_than_ms);
            let to = self.sums_ms.partition_point(|sum| *sum < left_ms);
            pauses.extend(self.sums_ms.get(from..to).unwrap_or_default().iter().map(|sum| left_ms - sum));
        }
        pauses.sort_by(f64::total_cmp);
        pauses.dedup();
        pauses
    }

    /// Takes the updates of a request.
    pub(super) fn take(&self, busy: &mut Busy, kind: &Kind, tell: &mut impl FnMut(Sending)) {
        let mut earlier: Vec<(usize, u32, f64)> = Vec::new();
        for update in &kind.updates {
            let Some(region) = update.region else { continue };
            let send = busy.link;
            let transfer = self.link.transfer_ms(update.transfer_px);
            let arrived = send + transfer;
            let boxes = &self.regions.boxes[region];
            let overlaps = |other: &u32| {
                let other = &self.regions.boxes[*other as usize];
                boxes.iter().any(|one| other.iter().any(|other| one.overlaps(*other)))
            };
            let blocked = busy.regions.iter().filter(|(other, _)| overlaps(other)).map(|(_, finish)| *finish);
            let start = blocked.fold(arrived.max(busy.places[0]), f64::max);
            let finish = start + update.duration_ms;
            let settles = earlier.iter().any(|(mode, other, finish_ms)| {
                *mode != update.mode && overlaps(other) && start <= finish_ms + transfer
            });
            tell(Sending {
                wait_ms: start - transfer,
                arrived_ms: arrived,
                start_ms: start,
                finish_ms: finish,
                settles,
            });
            earlier.push((update.mode, region as u32, finish));
            busy.link = if self.link.waits_for_panel { finish } else { arrived };
            busy.places.remove(0);
            let place = busy.places.partition_point(|other| *other <= finish);
            busy.places.insert(place, finish);
            match busy.regions.binary_search_by_key(&(region as u32), |(region, _)| *region) {
                Ok(at) => busy.regions[at].1 = busy.regions[at].1.max(finish),
                Err(at) => busy.regions.insert(at, (region as u32, finish)),
            }
        }
        busy.forget_what_does_not_matter();
    }
}

/// All sums of any number of these, rising, below an end; if there are very many, all multiples of a small step instead, which
/// lie no farther apart than they do.
fn sums_up_to(end: f64, mut parts: Vec<f64>) -> Vec<f64> {
    const MOST: usize = 20_000;
    parts.retain(|part| *part > 0.0);
    parts.sort_by(f64::total_cmp);
    parts.dedup();
    let mut sums = vec![0.0];
    let mut open = vec![0.0];
    while let Some(sum) = open.pop() {
        for more in parts.iter().map(|part| sum + part).filter(|more| *more < end) {
            let at = sums.partition_point(|known: &f64| *known < more - SAME_MS);
            if sums.get(at).is_none_or(|known| (known - more).abs() > SAME_MS) {
                sums.insert(at, more);
                open.push(more);
            }
        }
        if sums.len() > MOST {
            let step = end / MOST as f64;
            return (0..MOST).map(|at| at as f64 * step).collect();
        }
    }
    sums
}

impl Busy {
    /// When all that has an end has ended, ms.
    fn idle_ms(&self) -> f64 {
        let regions = self.regions.iter().map(|(_, finish)| *finish);
        let all = [self.link].into_iter().chain(self.places.iter().copied()).chain(regions);
        all.filter(|ms| ms.is_finite()).fold(0.0, f64::max)
    }

    fn pass(&mut self, ms: f64, longest_every_ms: f64) {
        let less = |busy: &mut f64| *busy = (*busy - ms).max(0.0);
        less(&mut self.link);
        self.places.iter_mut().for_each(less);
        self.regions.iter_mut().for_each(|(_, finish)| less(finish));
        self.since_clock = (self.since_clock + ms).min(longest_every_ms);
        self.forget_what_does_not_matter();
    }

    /// Nothing starts before the link and a place are free: regions that end before that need not be known.
    fn forget_what_does_not_matter(&mut self) {
        let free = self.link.max(self.places[0]);
        self.regions.retain(|(_, finish)| *finish > free);
    }

    fn of_region(&self, region: u32) -> f64 {
        self.regions.binary_search_by_key(&region, |(region, _)| *region).map_or(0.0, |at| self.regions[at].1)
    }

    /// Whether no part of another one is longer than this.
    fn covers(&self, other: &Self) -> bool {
        let free = self.link.max(self.places[0]);
        self.link >= other.link
            && self.since_clock >= other.since_clock
            && self.is_behind_a_tick >= other.is_behind_a_tick
            && self.places.iter().zip(&other.places).all(|(one, other)| one >= other)
            && other.regions.iter().all(|(region, finish)| self.of_region(*region).max(free) >= *finish)
    }

    fn joined(&self, other: &Self) -> Self {
        let mut joined = self.clone();
        joined.link = self.link.max(other.link);
        joined.since_clock = self.since_clock.max(other.since_clock);
        joined.is_behind_a_tick |= other.is_behind_a_tick;
        joined.places.iter_mut().zip(&other.places).for_each(|(one, other)| *one = one.max(*other));
        for (region, finish) in &other.regions {
            match joined.regions.binary_search_by_key(region, |(region, _)| *region) {
                Ok(at) => joined.regions[at].1 = joined.regions[at].1.max(*finish),
                Err(at) => joined.regions.insert(at, (*region, *finish)),
            }
        }
        joined.forget_what_does_not_matter();
        joined
    }

    /// The same where what grows has no end.
    fn without_end(&self, growth: &Growth) -> Self {
        let mut endless = self.clone();
        if growth.link {
            endless.link = f64::INFINITY;
        }
        for (place, grows) in endless.places.iter_mut().zip(&growth.places) {
            if *grows {
                *place = f64::INFINITY;
            }
        }
        endless.places.sort_by(f64::total_cmp);
        for region in &growth.regions {
            match endless.regions.binary_search_by_key(region, |(region, _)| *region) {
                Ok(at) => endless.regions[at].1 = f64::INFINITY,
                Err(at) => endless.regions.insert(at, (*region, f64::INFINITY)),
            }
        }
        endless.forget_what_does_not_matter();
        endless
    }

    /// All parts in one list, as far as both have them.
    fn parts(&self, regions: &[u32]) -> Vec<f64> {
        let regions = regions.iter().map(|region| self.of_region(*region));
        [self.link].into_iter().chain(self.places.iter().copied()).chain(regions).collect()
    }

    fn is_endless(&self) -> bool {
        self.places.last().is_some_and(|last| last.is_infinite()) || self.link.is_infinite()
    }
}

/// A queue that some walk meets.
#[derive(Clone, Debug)]
struct Met {
    busy: Busy,
    node: u32,
    /// The queue before and the edge from there; `None` at a start, with its number.
    before: Option<(u32, u32)>,
    start: u32,
    /// Where it came by following a loop: the loop's edges.
    around: Option<Box<[u32]>>,
    /// Whether another one at its node covers it.
    is_covered: bool,
}

/// The walk that meets a queue, or the queue before an edge.
#[derive(Clone, Debug)]
pub(super) struct QueueWalk {
    /// Which of the list of starts.
    pub(super) start: usize,
    pub(super) way: Vec<usize>,
    pub(super) around: Vec<usize>,
    pub(super) rest: Vec<usize>,
}

/// All queues of a flow that matter.
#[derive(Debug)]
pub(super) struct Queues {
    met: Vec<Met>,
    /// By node.
    of_node: Vec<Vec<u32>>,
    pub(super) are_joined: bool,
    /// Whether some walk makes waits grow for ever.
    pub(super) grow: bool,
    /// Whether all of them were found.
    pub(super) is_proved: bool,
}

impl Queues {
    pub(super) fn new(controller: &Controller<'_>, graph: &Graph, kinds: &Kinds) -> Self {
        let mut search = Search {
            controller,
            graph,
            kinds,
            first: first_edges(graph),
            open: VecDeque::new(),
            judged: HashMap::new(),
            many: MANY_QUEUES * graph.nodes.len() + MANY_OF_SMALL,
            most: MOST_QUEUES * graph.nodes.len() + MOST_OF_SMALL,
            queues: Self {
                met: Vec::new(),
                of_node: vec![Vec::new(); graph.nodes.len()],
                are_joined: false,
                grow: false,
                is_proved: true,
            },
        };
        search.run();
        search.queues
    }

    /// The queues that matter at a node, by number.
    pub(super) fn at(&self, node: usize) -> impl Iterator<Item = (u32, &Busy)> {
        self.of_node[node].iter().map(|number| (*number, &self.met[*number as usize].busy))
    }

    /// The walk that meets a queue.
    pub(super) fn walk_to(&self, number: u32) -> QueueWalk {
        let mut walk = QueueWalk { start: 0, way: Vec::new(), around: Vec::new(), rest: Vec::new() };
        let mut at = &self.met[number as usize];
        loop {
            if let (Some(around), true) = (&at.around, walk.around.is_empty()) {
                walk.rest = std::mem::take(&mut walk.way);
                walk.around = around.iter().map(|edge| *edge as usize).collect();
            }
            let Some((before, edge)) = at.before else { break };
            walk.way.push(edge as usize);
            at = &self.met[before as usize];
        }
        walk.start = at.start as usize;
        walk.way.reverse();
        walk.rest.reverse();
        walk
    }
}

struct Search<'s> {
    controller: &'s Controller<'s>,
    graph: &'s Graph,
    kinds: &'s Kinds,
    first: Vec<u32>,
    open: VecDeque<u32>,
    /// By loop, what became of it. Maxima and sums never bring two queues further apart, so that what grows from one queue
    /// grows from all.
    judged: HashMap<Vec<u32>, Followed>,
    many: usize,
    most: usize,
    queues: Queues,
}

/// What became of a loop that was followed.
enum Followed {
    /// It comes to an end.
    Settles,
    /// These parts grow for ever.
    Grows(Growth),
    Unclear,
}

/// The parts of a queue that grow.
struct Growth {
    link: bool,
    places: Vec<bool>,
    regions: Vec<u32>,
}

impl Search<'_> {
    fn run(&mut self) {
        for (number, start) in self.kinds.starts.iter().enumerate() {
            let mut busy = self.controller.idle();
            self.controller.take(&mut busy, &self.kinds.list[start.kind], &mut |_| {});
            self.meet(busy, start.node as u32, None, number as u32, None);
        }
        while let Some(number) = self.open.pop_front() {
            if self.queues.met[number as usize].is_covered {
                continue;
            }
            if self.queues.met.len() > self.most {
                self.queues.is_proved = false;
                return;
            }
            let node = self.queues.met[number as usize].node as usize;
            for edge in self.first[node]..self.first[node + 1] {
                let before = &self.queues.met[number as usize].busy;
                let kind = &self.kinds.list[self.kinds.of_edge[edge as usize] as usize];
                let by = self.graph.edges[edge as usize].by;
                let busy = self.after(before, edge);
                let paused = self.controller.make_after_a_pause(before, by, kind);
                let to = self.graph.edges[edge as usize].to as u32;
                for busy in [busy].into_iter().chain(paused) {
                    self.meet(busy, to, Some((number, edge)), 0, None);
                }
            }
        }
    }

    fn after(&self, busy: &Busy, edge: u32) -> Busy {
        let kind = &self.kinds.list[self.kinds.of_edge[edge as usize] as usize];
        self.controller.make(busy, self.graph.edges[edge as usize].by, kind, |_| {})
    }

    fn meet(&mut self, busy: Busy, node: u32, before: Option<(u32, u32)>, start: u32, around: Option<Box<[u32]>>) {
        let list = &self.queues.of_node[node as usize];
        if list.iter().any(|known| self.queues.met[*known as usize].busy.covers(&busy)) {
            return;
        }
        let is_covered = |known: &u32| busy.covers(&self.queues.met[*known as usize].busy);
        let (covered, kept): (Vec<u32>, Vec<u32>) = list.iter().partition(|known| is_covered(known));
        let came_by_loop = around.is_some();
        let loops = if came_by_loop {
            None
        } else {
            before.filter(|_| !covered.is_empty()).and_then(|before| self.loop_to(&busy, node, before))
        };
        for known in covered {
            self.queues.met[known as usize].is_covered = true;
        }
        self.queues.of_node[node as usize] = kept;
        let number = self.add(busy, node, before, start, around);
        if let Some(edges) = loops {
            self.judge(number, edges);
        }
    }

    /// Takes the end from what grows along the loop that led to a queue.
    fn judge(&mut self, number: u32, edges: Vec<u32>) {
        let loop_itself = from_its_least(&edges);
        if !self.judged.contains_key(&loop_itself) {
            let followed = self.follow(&edges);
            self.judged.insert(loop_itself.clone(), followed);
        }
        let Met { busy, node, before, start, .. } = &self.queues.met[number as usize];
        let (node, before, start) = (*node, *before, *start);
        match &self.judged[&loop_itself] {
            Followed::Settles => {}
            Followed::Grows(growth) => {
                let busy = busy.without_end(growth);
                self.queues.grow = true;
                self.meet(busy, node, before, start, Some(edges.into()));
            }
            Followed::Unclear => self.queues.is_proved = false,
        }
    }

    fn add(
        &mut self,
        busy: Busy,
        node: u32,
        before: Option<(u32, u32)>,
        start: u32,
        around: Option<Box<[u32]>>,
    ) -> u32 {
        let number = self.queues.met.len() as u32;
        let list = &mut self.queues.of_node[node as usize];
        let most = if self.queues.met.len() > self.many { FEW_AT_A_NODE } else { MOST_AT_A_NODE };
        let busy = if list.len() < most {
            busy
        } else {
            self.queues.are_joined = true;
            let known = std::mem::take(list);
            let met = &mut self.queues.met;
            known.iter().fold(busy, |busy, known| {
                met[*known as usize].is_covered = true;
                busy.joined(&met[*known as usize].busy)
            })
        };
        self.queues.met.push(Met { busy, node, before, start, around, is_covered: false });
        self.queues.of_node[node as usize].push(number);
        // What has no end covers most others: the sooner it is known everywhere, the fewer are looked at.
        if self.queues.met[number as usize].busy.is_endless() {
            self.open.push_front(number);
        } else {
            self.open.push_back(number);
        }
        number
    }

    /// The edges of the shortest loop over an edge to a queue from one that it covers, at the same node and on the way to it:
    /// others may have covered that one before.
    fn loop_to(&self, busy: &Busy, node: u32, (before, edge): (u32, u32)) -> Option<Vec<u32>> {
        const LONGEST: usize = 500;
        let mut edges = vec![edge];
        let mut at = before;
        while edges.len() < LONGEST {
            let met = &self.queues.met[at as usize];
            if met.node == node && busy.covers(&met.busy) {
                edges.reverse();
                return Some(edges);
            }
            let (before, edge) = met.before?;
            edges.push(edge);
            at = before;
        }
        None
    }

    /// Follows a loop from where nothing is busy: the parts of a queue that has no end would hide what grows.
    fn follow(&self, edges: &[u32]) -> Followed {
        let most = (MOST_MOVES / edges.len()).clamp(LEAST_LAPS, LAPS);
        let mut laps: Vec<Busy> = vec![self.controller.idle()];
        while laps.len() < most {
            let last = &laps[laps.len() - 1];
            let next = edges.iter().fold(last.clone(), |busy, edge| self.after(&busy, *edge));
            // A loop that has settled stays so: it is enough to look now and then.
            let is_looked_at = laps.len() < 8 || laps.len().is_multiple_of(16);
            if is_looked_at && laps.iter().rev().take(MOST_LAPS_OF_A_BLOCK).any(|lap| lap.covers(&next)) {
                return Followed::Settles;
            }
            laps.push(next);
        }
        let blocks = 1..=MOST_LAPS_OF_A_BLOCK;
        blocks.into_iter().find_map(|block| grown(&laps, block)).map_or(Followed::Unclear, Followed::Grows)
    }
}

/// A loop as it is known: from its least edge on.
fn from_its_least(edges: &[u32]) -> Vec<u32> {
    let least = edges.iter().enumerate().min_by_key(|(_, edge)| **edge).map_or(0, |(at, _)| at);
    edges[least..].iter().chain(&edges[..least]).copied().collect()
}

/// What grows along a loop, if every block of so many laps lengthens it by the same amounts.
fn grown(laps: &[Busy], block: usize) -> Option<Growth> {
    let even = EVEN_LAPS.min(laps.len() / 2);
    let tail = &laps[laps.len() - even - 2 * block..];
    let last = &laps[laps.len() - 1];
    let regions: Vec<u32> = last.regions.iter().map(|(region, _)| *region).collect();
    let growth = |at: usize| -> Vec<f64> {
        let (one, other) = (tail[at].parts(&regions), tail[at + block].parts(&regions));
        one.iter().zip(other).map(|(one, other)| if one.is_infinite() { 0.0 } else { other - one }).collect()
    };
    let by_ms = growth(0);
    let is_same = |at: usize| growth(at).iter().zip(&by_ms).all(|(one, other)| (one - other).abs() < SAME_MS);
    let is_longer = by_ms.iter().any(|by_ms| *by_ms > SAME_MS) && by_ms.iter().all(|by_ms| *by_ms > -SAME_MS);
    if !is_longer || !(0..tail.len() - block).step_by(block).all(is_same) {
        return None;
    }
    let mut grows = by_ms.iter().map(|by_ms| *by_ms > SAME_MS);
    let link = grows.next().unwrap_or(false);
    let places = grows.by_ref().take(last.places.len()).collect();
    let regions = regions.into_iter().zip(grows).filter(|(_, grows)| *grows).map(|(region, _)| region).collect();
    Some(Growth { link, places, regions })
}
