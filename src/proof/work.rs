//! The proof put together: cells are walked one by one on all cores, and what is proved of each is collected for the nodes.

use std::{
    collections::{BTreeSet, HashMap, HashSet},
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

use super::{
    answered::SurelySeen,
    behaviour::{Behaviour, Effect, Extreme, Group, Parts},
    cells::Cells,
    extremes::extremes,
    groups::{Grouped, groups, is_always_right},
    kinds::Kinds,
    left::Left,
    longest_paths::{ENDLESS, most_since_cleaning},
    most_flashes::FlashWork,
    proving::Proving,
    queues::{Controller, Queues},
    reduced::Pictures,
    result::{Bound, NodeProof, Proof, Witness, Witnesses},
    sent::SentTable,
    states::{States, Ways, first_edges},
    strongest_ghosts::{CellShows, Ghost, StrongestGhost, strongest},
    waits::{
        Answers, Changes, NodeTimes, Which, edge_times, longest, longest_collision, may_be_lost, node_times,
        times_of_people,
    },
    witnesses::{Wanted, of_queue, shortest, to_what_is_unsure},
};
use crate::{display::WhenBusy, panel::Tones};

/// In which drives of an edge some cell differs from memory, in which one is driven, and in which one gets another level: a bit
/// for each drive.
#[derive(Clone, Copy, Debug, Default)]
struct Drives {
    /// On some walk.
    may: [u32; 3],
    /// On every walk.
    surely: [u32; 3],
}

impl Drives {
    fn join(&mut self, other: Self) {
        for at in 0..3 {
            self.may[at] |= other.may[at];
            self.surely[at] |= other.surely[at];
        }
    }

    /// What that comes to: as for a step that is played, what differs need not be what is driven, and what does not differ may
    /// get another level.
    fn changes(self) -> Changes {
        let ([may_differ, may_drive, may_show], [differ, surely_drive, _]) = (self.may, self.surely);
        Changes { may: may_differ & may_drive, surely: differ & surely_drive, may_show, surely_drive }
    }
}

/// The same of one cell, over all that it may show.
struct OfOneCell {
    may: [u32; 3],
    always: [u32; 3],
}

impl OfOneCell {
    fn new() -> Self {
        Self { may: [0; 3], always: [u32::MAX; 3] }
    }

    fn see(&mut self, effect: &Effect) {
        for (at, bits) in [effect.changes, effect.driven, effect.moves].into_iter().enumerate() {
            self.may[at] |= bits;
            self.always[at] &= bits;
        }
    }

    fn drives(self) -> Drives {
        Drives { may: self.may, surely: [0, 1, 2].map(|at| self.always[at] & self.may[at]) }
    }
}

/// What was proved of some cells.
struct Part {
    /// By node.
    most: Vec<u64>,
    /// By edge.
    of_edge: Vec<Drives>,
    /// By kind of edge, the same of cells that always show what is in memory.
    of_kind: Vec<Drives>,
    /// The cells of which that was looked at.
    known_right: HashSet<u32>,
    /// By start.
    of_start: Vec<Drives>,
    /// The largest count of each cell.
    counts: Vec<(u64, usize)>,
    left: Left,
    shows: Vec<(usize, CellShows)>,
    seen: SurelySeen,
}

pub(super) fn prove(proving: Proving<'_>, sent: &SentTable, progress: &(dyn Fn(f64) + Sync)) -> Proof {
    let Proving { flow, graph, frames, threads, most_cells } = proving;
    let kinds = Kinds::new(proving, sent);
    let mut proof = Proof::not_proved(graph.nodes.len());
    if kinds.most_drives() > 32 {
        return proof;
    }
    let cells = Cells::new(frames, &sent.regions, threads);
    progress(0.1);
    let display = &flow.head.display;
    let controller = Controller::new(flow, display, &sent.regions);
    let queues = Queues::new(&controller, graph, &kinds);
    progress(0.2);
    let losing = if display.when_busy == WhenBusy::Drops {
        Losing::new(&kinds, may_be_lost(proving, &kinds, &controller, &queues))
    } else {
        Losing::nothing(&kinds)
    };
    let has_beside = display.modes.iter().any(|mode| mode.beside.is_some());
    let (groups, unjoined) = groups(&cells, has_beside, frames.size().width as usize, most_cells);
    let is_joined = unjoined > groups.len();
    let parts = Parts {
        kinds: &kinds,
        cells: &cells.list,
        losing: &losing.list,
        loses: display.when_busy == WhenBusy::Drops,
        counts_every_update: display.limits.counts_every_update,
        levels: display.ink.all(),
        is_always_right: is_joined
            && has_beside
            && display.when_busy == WhenBusy::Waits
            && is_always_right(&cells, &kinds),
    };
    let ways = Ways {
        nodes: graph.nodes.len(),
        first: first_edges(graph),
        from: graph.edges.iter().map(|edge| edge.from as u32).collect(),
        to: graph.edges.iter().map(|edge| edge.to as u32).collect(),
        kind_of_edge: losing.of_edge.clone(),
        kind_of_start: losing.of_start.clone(),
        starts: kinds.starts.as_slice().into(),
        begins: frames.begins(),
    };
    let flashes = FlashWork {
        proving,
        kinds: &kinds,
        controller: &controller,
        queues: &queues,
        cells: &cells,
        losing: &losing.list,
        ways: &ways,
    };
    let flash_walks;
    (proof.flashes, flash_walks) = flashes.most();
    let pictures = Pictures::new(proving, &kinds, &ways);
    let part = walk_all(parts, &pictures, &ways, &groups, threads, progress);
    proof.cells = groups.len();
    proof.unjoined_cells = unjoined;
    for (node, most) in proof.nodes.iter_mut().zip(&part.most) {
        node.most_since_cleaning = if *most == ENDLESS { Bound::Unbounded } else { Bound::Proved(*most as f64) };
    }
    for (node, pixels) in &part.left.pixels {
        proof.nodes[*node as usize].left_behind_px = *pixels;
    }
    let left_walk;
    (proof.left_behind, proof.left_behind_moves, left_walk) = part.left.into_places();
    // What cells show takes the most room: it is gone before the times of edges are worked out.
    let ghosts = all_ghosts(part.shows, &Tones::new(&display.ink), frames.size().pixels(), graph.nodes.len(), threads);
    for (node, ghost) in proof.nodes.iter_mut().zip(&ghosts) {
        node.ghost_l = ghost.bound;
    }
    let answered = part.seen.answered(parts, display, threads);
    let changes: Vec<Changes> = part.of_edge.iter().map(|drives| drives.changes()).collect();
    let answers = Answers { by_kind: &answered, kind_of_edge: &ways.kind_of_edge, changes: &changes };
    let edges = edge_times(proving, &kinds, &controller, &queues, &changes, answers);
    if queues.is_proved {
        [proof.answer_of_people_ms, proof.finish_of_people_ms] = times_of_people(proving, &edges, answers);
        let changes: Vec<Changes> = part.of_start.iter().map(|drives| drives.changes()).collect();
        proof.collide_ms = longest_collision(proving, &kinds, &controller, &edges, &changes);
        let times = node_times(proving, &kinds, &controller, &edges, &changes);
        proof.nodes.iter_mut().zip(times).for_each(|(node, times)| node.take(times));
    }
    proof.queues_joined = queues.are_joined;
    proof.cannot_keep_up = queues.grow && display.when_busy == WhenBusy::Waits;
    let finder = Finder { parts, ways: &ways, groups: &groups };
    let limit = flow.head.limits.too_many_since_cleaning.updates.map(|limit| limit.value);
    proof.witnesses = Witnesses {
        most_since_cleaning: finder.count(part.counts, limit),
        ghost_l: finder.ghosts(&ghosts, flow.head.limits.visible_ghost.limit_l.value),
        wait_ms: longest(&edges, &queues, Which::Wait).map(|(walk, edge, ms)| of_queue(walk, edge, &ways, ms)),
        answer_ms: longest(&edges, &queues, Which::Answer)
            .map(|(walk, edge, ms)| of_queue(walk, edge, &ways, ms))
            .into_iter()
            .chain(to_what_is_unsure(proving, &ways, answers))
            .collect(),
        left_behind_moves: left_walk,
        flashes: flash_walks,
    };
    progress(1.0);
    proof
}

impl NodeProof {
    fn take(&mut self, times: NodeTimes) {
        (self.wait_ms, self.answer_ms, self.finish_ms) = (times.wait_ms, times.answer_ms, times.finish_ms);
    }
}

fn rank(bound: Bound) -> f64 {
    match bound {
        Bound::Proved(figure) => figure,
        Bound::Unbounded => f64::INFINITY,
        Bound::NotProved => 0.0,
    }
}

/// As many cells are tried, for each figure.
const MOST_TRIED: usize = 4;
/// What is left of a cell must pass the limit of ghosts by so much, because the rest of its level may have drifted as well.
const OVER: f64 = 1.1;

/// Finds walks in single cells.
#[derive(Clone, Copy)]
struct Finder<'f> {
    parts: Parts<'f>,
    ways: &'f Ways<'f>,
    groups: &'f [Grouped],
}

impl Finder<'_> {
    /// Walks that pass a limit, or else reach the largest count, the shortest first: of the cells with the most pixels.
    fn count(&self, mut counts: Vec<(u64, usize)>, limit: Option<f64>) -> Vec<Witness> {
        const FAR: f64 = 100.0;
        let wanted = limit.map_or(FAR, |limit| limit.floor() + 1.0);
        let largest = |most: u64| if most == ENDLESS { f64::INFINITY } else { most as f64 };
        // Of those that pass it, a larger place is more likely to be reported; otherwise the largest count is wanted.
        let rank = |(most, number): &(u64, usize)| {
            let passes = largest(*most) >= wanted;
            let count = if passes { 0 } else { *most };
            (std::cmp::Reverse((passes, count, self.groups[*number].pixels)), *number)
        };
        counts.sort_unstable_by_key(rank);
        let passes = counts.first().is_some_and(|(most, _)| largest(*most) >= wanted);
        let is_alike = |(most, _): &(u64, usize)| *most > 0 && (largest(*most) >= wanted) == passes;
        let tried = counts.into_iter().filter(is_alike).take(MOST_TRIED);
        let walks = tried.filter_map(|(most, number)| {
            self.shortest(
                number,
                &Wanted {
                    at_least: wanted.min(largest(most)),
                    node: None,
                    extreme: Extreme::Highest,
                    after: &|behaviour, effect, count| {
                        let effect = &behaviour.effects[effect as usize];
                        f64::from(effect.adds) + if effect.is_cleaned { 0.0 } else { count }
                    },
                    shows: &|_, _| true,
                },
            )
        });
        let mut walks: Vec<Witness> = walks.collect();
        walks.sort_by_key(|walk| walk.way.len());
        walks
    }

    /// Short walks that come near the strongest ghosts, of one cell each, and others that just pass the limit.
    fn ghosts(&self, ghosts: &[StrongestGhost], limit_l: f64) -> Vec<Witness> {
        let mut strongest: Vec<(usize, &StrongestGhost, Ghost)> =
            ghosts.iter().enumerate().filter_map(|(node, ghost)| Some((node, ghost, ghost.of?))).collect();
        strongest.sort_by(|one, other| rank(other.1.bound).total_cmp(&rank(one.1.bound)).then(other.0.cmp(&one.0)));
        let mut cells = BTreeSet::new();
        strongest.retain(|(_, _, of)| cells.insert(of.cell));
        let is_over = |ghost: &StrongestGhost| rank(ghost.bound) >= limit_l;
        let tried = || strongest.iter().take(MOST_TRIED).copied().enumerate();
        // The strongest one is of use below the limit as well: how near a walk comes to what was proved.
        let near = tried().filter(|(at, (_, ghost, _))| *at == 0 || is_over(ghost));
        let near = near.filter_map(|(_, (node, ghost, of))| self.ghost(node, ghost, of, f64::INFINITY));
        let over = tried().filter(|(_, (_, ghost, _))| is_over(ghost));
        let over = over.filter_map(|(_, (node, ghost, of))| self.ghost(node, ghost, of, limit_l * OVER));
        near.chain(over).collect()
    }

    /// The shortest walk that comes near the strongest ghost, or to so much of it, L*.
    fn ghost(&self, node: usize, ghost: &StrongestGhost, of: Ghost, most_l: f64) -> Option<Witness> {
        const NEAR_L: f64 = 0.02;
        const FAR_L: f64 = 40.0;
        let Ghost { cell, level, is_lighter, residue_l } = of;
        let extreme = if is_lighter { Extreme::Highest } else { Extreme::Lowest };
        let far_l = FAR_L.min(most_l);
        let near = if is_lighter { (residue_l - NEAR_L).min(far_l) } else { (residue_l + NEAR_L).max(-far_l) };
        let found = self.shortest(
            cell,
            &Wanted {
                at_least: near,
                node: Some(node as u32),
                extreme,
                after: &|behaviour, effect, before_l| behaviour.residue_after(effect, before_l, extreme),
                shows: &|behaviour, shown| behaviour.level(shown) == level,
            },
        );
        found.map(|walk| Witness { figure: rank(ghost.bound), ..walk })
    }

    fn shortest(&self, number: usize, wanted: &Wanted<'_>) -> Option<Witness> {
        let group = &self.groups[number].group;
        let mut behaviour = Behaviour::new(self.parts, group);
        let states = States::new(self.parts, self.ways, group, &mut behaviour);
        shortest(&states, &mut behaviour, self.ways, wanted)
    }
}

/// Kinds of edges with which of their drives may be lost.
struct Losing {
    list: Vec<(u32, u32)>,
    /// By edge, and by start, the number in that list.
    of_edge: Vec<u32>,
    of_start: Vec<u32>,
}

impl Losing {
    /// Where nothing may be lost.
    fn nothing(kinds: &Kinds) -> Self {
        Self {
            list: (0..kinds.list.len() as u32).map(|kind| (kind, 0)).collect(),
            of_edge: kinds.of_edge.clone(),
            of_start: kinds.starts.iter().map(|start| start.kind as u32).collect(),
        }
    }

    fn new(kinds: &Kinds, [edges, starts]: [Vec<u32>; 2]) -> Self {
        let mut numbers: HashMap<(u32, u32), u32> = HashMap::new();
        let mut list = Vec::new();
        let mut number = |kind: u32, lost: u32| {
            *numbers.entry((kind, lost)).or_insert_with(|| {
                list.push((kind, lost));
                list.len() as u32 - 1
            })
        };
        let of_edge = kinds.of_edge.iter().zip(edges).map(|(kind, lost)| number(*kind, lost)).collect();
        let of_start = kinds.starts.iter().zip(starts).map(|(start, lost)| number(start.kind as u32, lost)).collect();
        Self { list, of_edge, of_start }
    }
}

fn walk_all(
    parts: Parts<'_>,
    pictures: &Pictures,
    ways: &Ways<'_>,
    groups: &[Grouped],
    threads: usize,
    progress: &(dyn Fn(f64) + Sync),
) -> Part {
    let next = AtomicUsize::new(0);
    let found: Mutex<Vec<Part>> = Mutex::new(Vec::new());
    let work = || {
        let mut part = Part::new(ways);
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(group) = groups.get(number) else { break };
            progress(0.1 + 0.8 * number as f64 / groups.len() as f64);
            part.walk(parts, pictures, ways, number, group);
        }
        found.lock().unwrap_or_else(PoisonError::into_inner).push(part);
    };
    thread::scope(|scope| {
        (1..threads).for_each(|_| {
            scope.spawn(work);
        });
        work();
    });
    let found = found.into_inner().unwrap_or_else(PoisonError::into_inner);
    let mut part = found.into_iter().fold(Part::new(ways), Part::joined);
    part.of_kind.resize(parts.losing.len(), Drives::default());
    for (of_edge, kind) in part.of_edge.iter_mut().zip(&ways.kind_of_edge) {
        of_edge.join(part.of_kind[*kind as usize]);
    }
    part
}

impl Part {
    fn new(ways: &Ways<'_>) -> Self {
        Self {
            most: vec![0; ways.nodes],
            of_edge: vec![Drives::default(); ways.to.len()],
            of_kind: Vec::new(),
            known_right: HashSet::new(),
            of_start: vec![Drives::default(); ways.starts.len()],
            counts: Vec::new(),
            left: Left::default(),
            shows: Vec::new(),
            seen: SurelySeen::default(),
        }
    }

    fn joined(mut self, other: Self) -> Self {
        self.most.iter_mut().zip(other.most).for_each(|(one, other)| *one = (*one).max(other));
        let join = |one: &mut [Drives], other: &[Drives]| {
            one.iter_mut().zip(other).for_each(|(one, other)| one.join(*other));
        };
        join(&mut self.of_edge, &other.of_edge);
        self.of_kind.resize(self.of_kind.len().max(other.of_kind.len()), Drives::default());
        join(&mut self.of_kind, &other.of_kind);
        join(&mut self.of_start, &other.of_start);
        self.counts.extend(other.counts);
        self.left.join(other.left);
        self.shows.extend(other.shows);
        self.seen.join(other.seen);
        self
    }

    fn walk(&mut self, parts: Parts<'_>, pictures: &Pictures, ways: &Ways<'_>, number: usize, grouped: &Grouped) {
        let mut behaviour = Behaviour::new(parts, &grouped.group);
        let reduced = pictures.reduced(parts, &grouped.group, &mut behaviour, ways);
        let (walked, same_as, states) = (&reduced.ways, reduced.same_as.as_deref(), &reduced.states);
        self.counts(states, &behaviour, same_as, number);
        self.start_changes(parts, ways, &grouped.group, &mut behaviour);
        if !parts.loses && behaviour.effects.iter().all(|effect| effect.is_right) {
            for member in &grouped.group.members {
                self.changes_of_right(parts, member.cells[0]);
            }
            if let [member] = grouped.group.members.as_slice() {
                self.seen.add_right(member.cells[0], grouped.pixels);
            }
        } else {
            self.seen.note_wrong();
            let last = self.changes(states, ways, same_as, &mut behaviour);
            if let [member] = grouped.group.members.as_slice() {
                self.add_seen(parts, member.cells[0], grouped.pixels, &last);
            }
        }
        let highs = extremes(states, &behaviour, Extreme::Highest);
        let lows = extremes(states, &behaviour, Extreme::Lowest);
        let is_proved = highs.is_proved && lows.is_proved;
        let values = [lows.values.as_slice(), highs.values.as_slice()];
        let shows = CellShows::new(
            grouped.pixels,
            same_as.map_or(ways.nodes, |_| walked.nodes),
            states,
            &behaviour,
            values,
            is_proved,
        );
        self.shows.push((number, shows.spread(same_as)));
        if behaviour.effects.iter().any(|effect| effect.is_left) {
            // How long something stays depends on where walks go on to, not only on where they come from.
            let all = reduced.is_other().then(|| States::new(parts, ways, &grouped.group, &mut behaviour));
            self.left.add(all.as_ref().unwrap_or(states), &mut behaviour, ways, (number, grouped.pixels, grouped.rect));
        }
    }

    fn counts(&mut self, states: &States, behaviour: &Behaviour<'_>, same_as: Option<&[u32]>, number: usize) {
        let counts = most_since_cleaning(states, &behaviour.effects);
        self.counts.push((counts.iter().copied().max().unwrap_or(0), number));
        let mut of_node = vec![0; states.nodes()];
        for (state, most) in counts.into_iter().enumerate() {
            let of_node = &mut of_node[states.node[state] as usize];
            *of_node = (*of_node).max(most);
        }
        for (node, most) in self.most.iter_mut().enumerate() {
            *most = (*most).max(of_node[same_as.map_or(node, |same_as| same_as[node] as usize)]);
        }
    }

    /// In which drives of each start the cell may change, and in which it surely does.
    fn start_changes(&mut self, parts: Parts<'_>, ways: &Ways<'_>, group: &Group, behaviour: &mut Behaviour<'_>) {
        let begins = behaviour.begins(parts, group, ways.begins);
        for (start, kind) in ways.kind_of_start.iter().enumerate() {
            let mut changes = OfOneCell::new();
            for shown in &begins {
                let (from, end) = behaviour.effects_of(*kind, *shown);
                for effect in &behaviour.effects[from as usize..end as usize] {
                    changes.see(effect);
                }
            }
            self.of_start[start].join(changes.drives());
        }
    }

    /// The same of each kind of edge for a cell that shows what is in memory before each of them.
    fn changes_of_right(&mut self, parts: Parts<'_>, number: u32) {
        // Many groups differ only in their neighbours.
        if !self.known_right.insert(number) {
            return;
        }
        let cell = &parts.cells[number as usize];
        self.of_kind.resize(parts.losing.len(), Drives::default());
        for (of_kind, (kind, _)) in self.of_kind.iter_mut().zip(parts.losing) {
            let kind = &parts.kinds.list[*kind as usize];
            let (mut level, after) = (cell.levels[kind.before], cell.levels[kind.after]);
            for (at, drive) in kind.drives.iter().enumerate().filter(|(_, drive)| cell.is_inside(drive.region)) {
                let end = parts.kinds.ways[drive.way].aim(level, after).end;
                let moves = end.is_some_and(|end| end != level);
                let bits = [level != after, end.is_some(), moves].map(|bit| u32::from(bit) << at);
                of_kind.join(Drives { may: bits, surely: bits });
                level = end.unwrap_or(level);
            }
        }
    }

    /// In which drives of each edge the cell may change, and in which it surely does. Gives by kind of edge the last drive
    /// after which the cell surely looks otherwise, if there is one.
    fn changes(
        &mut self,
        states: &States,
        ways: &Ways<'_>,
        same_as: Option<&[u32]>,
        behaviour: &mut Behaviour<'_>,
    ) -> HashMap<u32, Option<u32>> {
        let mut seen: HashMap<u32, Option<u32>> = HashMap::new();
        for node in 0..ways.nodes as u32 {
            let walked = same_as.map_or(node, |same_as| same_as[node as usize]);
            for edge in ways.leaving(node) {
                let mut changes = OfOneCell::new();
                let mut last = Some(0);
                for state in states.of_node(walked) {
                    let shown = states.shown[state as usize];
                    let (from, end) = behaviour.effects_of(ways.kind_of_edge[edge as usize], shown);
                    for effect in &behaviour.effects[from as usize..end as usize] {
                        changes.see(effect);
                        let looks_otherwise = behaviour.level(effect.to) != behaviour.level(shown);
                        let own = effect.changes.checked_ilog2().filter(|_| looks_otherwise);
                        last = last.zip(own).map(|(known, own)| own.max(known));
                    }
                }
                self.of_edge[edge as usize].join(changes.drives());
                let known = seen.entry(ways.kind_of_edge[edge as usize]).or_insert(last);
                *known = known.zip(last).map(|(known, own)| own.max(known));
            }
        }
        seen
    }

    /// Notes where pixels of a cell that may be wrong before a move surely look otherwise after it.
    fn add_seen(&mut self, parts: Parts<'_>, cell: u32, pixels: u64, last: &HashMap<u32, Option<u32>>) {
        let cell = &parts.cells[cell as usize];
        for (number, drive) in last.iter().filter_map(|(number, drive)| Some((*number, (*drive)?))) {
            let kind = &parts.kinds.list[parts.losing[number as usize].0 as usize];
            if cell.levels[kind.before] != cell.levels[kind.after] {
                self.seen.add(number, drive, pixels);
            }
        }
    }
}

/// The strongest ghosts of all nodes, from what every cell shows, each with its number.
fn all_ghosts(
    mut shows: Vec<(usize, CellShows)>,
    tones: &Tones,
    panel_px: u64,
    nodes: usize,
    threads: usize,
) -> Vec<StrongestGhost> {
    shows.sort_unstable_by_key(|(number, _)| *number);
    let cells: Vec<CellShows> = shows.into_iter().map(|(_, shows)| shows).collect();
    let nothing = StrongestGhost { bound: Bound::Proved(0.0), of: None };
    let mut ghosts = vec![nothing; nodes];
    let each = nodes.div_ceil(threads.max(1)).max(1);
    thread::scope(|scope| {
        for (part, ghosts) in ghosts.chunks_mut(each).enumerate() {
            let cells = &cells;
            scope.spawn(move || strongest(cells, part * each, tones, panel_px, ghosts));
        }
    });
    ghosts
}
