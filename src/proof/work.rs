//! The proof put together: cells are walked one by one on all cores, and what is proved of each is collected for the nodes.

use std::{
    collections::HashMap,
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

use super::{
    Bound, Proof, Proving, SentTable,
    behaviour::{Behaviour, Extreme, Group, Member, NONE, Parts},
    cells::Cells,
    counts::{ENDLESS, most_since_cleaning},
    extremes::{Extremes, extremes},
    ghosts::{CellShows, LevelLists, StrongestGhost, strongest},
    kinds::Kinds,
    left::Left,
    states::{States, Ways, first_edges},
};
use crate::{geometry::Rect, panel::Tones};

/// The groups of a flow: their pixels and the box around them.
struct Grouped {
    group: Group,
    pixels: u64,
    rect: Rect,
}

/// What was proved of some cells.
struct Part {
    /// By node.
    most: Vec<u64>,
    /// By edge: in which drives some cell may change on some walk, and in which one surely does.
    may_change: Vec<u32>,
    surely_changes: Vec<u32>,
    left: Left,
    shows: Vec<(usize, CellShows)>,
}

pub(super) fn prove(proving: Proving<'_>, sent: &SentTable, progress: &(dyn Fn(f64) + Sync)) -> Proof {
    let Proving { flow, graph, frames, threads } = proving;
    let kinds = Kinds::new(proving, sent);
    let mut proof = Proof::not_proved(graph.nodes.len());
    if kinds.most_drives() > 32 {
        return proof;
    }
    let cells = Cells::new(frames, &sent.regions, threads);
    progress(0.1);
    let display = &flow.head.display;
    let (losing, kind_of_edge) = losing_nothing(&kinds);
    let has_beside = display.modes.iter().any(|mode| mode.beside.is_some());
    let groups = groups(&cells, has_beside, frames.size().width as usize);
    let is_always_right = Vec::new();
    let parts = Parts {
        kinds: &kinds,
        cells: &cells.list,
        losing: &losing,
        counts_every_update: display.limits.counts_every_update,
        levels: display.ink.all(),
        is_always_right: &is_always_right,
    };
    let ways = Ways {
        graph,
        first: first_edges(graph),
        kind_of_edge,
        kind_of_start: kinds.starts.iter().map(|start| start.kind as u32).collect(),
        starts: &kinds.starts,
        begins: frames.begins(),
    };
    let part = walk_all(parts, &ways, &groups, threads, progress);
    proof.cells = groups.len();
    proof.unjoined_cells = groups.len();
    for (node, most) in proof.nodes.iter_mut().zip(&part.most) {
        node.most_since_cleaning = if *most == ENDLESS { Bound::Unbounded } else { Bound::Proved(*most as f64) };
    }
    for (node, pixels) in &part.left.pixels {
        proof.nodes[*node as usize].left_behind_px = *pixels;
    }
    (proof.left_behind, proof.left_behind_moves) = part.left.into_places();
    let mut shows = part.shows;
    shows.sort_unstable_by_key(|(number, _)| *number);
    let shows: Vec<CellShows> = shows.into_iter().map(|(_, shows)| shows).collect();
    let ghosts = all_ghosts(&shows, &Tones::new(&display.ink), frames.size().pixels(), graph.nodes.len(), threads);
    for (node, ghost) in proof.nodes.iter_mut().zip(&ghosts) {
        node.ghost_l = ghost.bound;
    }
    progress(1.0);
    proof
}

/// Kinds of edges where nothing may be lost.
fn losing_nothing(kinds: &Kinds) -> (Vec<(u32, u32)>, Vec<u32>) {
    ((0..kinds.list.len() as u32).map(|kind| (kind, 0)).collect(), kinds.of_edge.clone())
}

fn groups(cells: &Cells, has_beside: bool, width: usize) -> Vec<Grouped> {
    if !has_beside {
        let one = |(number, cell): (usize, &super::cells::Cell)| Grouped {
            group: Group { members: vec![Member { cells: [number as u32, NONE, NONE, NONE, NONE] }] },
            pixels: cell.pixels,
            rect: cell.rect,
        };
        return cells.list.iter().enumerate().map(one).collect();
    }
    let mut numbers: HashMap<[u32; 5], usize> = HashMap::new();
    let mut groups: Vec<Grouped> = Vec::new();
    let of = &cells.of_pixel;
    let height = of.len() / width;
    for at in 0..of.len() {
        let (x, y) = (at % width, at / width);
        let mut beside = [
            if y > 0 { of[at - width] } else { NONE },
            if x > 0 { of[at - 1] } else { NONE },
            if x + 1 < width { of[at + 1] } else { NONE },
            if y + 1 < height { of[at + width] } else { NONE },
        ];
        beside.sort_unstable();
        let [one, two, three, four] = beside;
        let key = [of[at], one, two, three, four];
        let rect = Rect { x: x as u32, y: y as u32, width: 1, height: 1 };
        let number = *numbers.entry(key).or_insert_with(|| {
            groups.push(Grouped { group: Group { members: vec![Member { cells: key }] }, pixels: 0, rect });
            groups.len() - 1
        });
        groups[number].pixels += 1;
        groups[number].rect = groups[number].rect.around(rect);
    }
    groups
}

fn walk_all(
    parts: Parts<'_>,
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
            part.walk(parts, ways, number, group);
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
    found.into_iter().fold(Part::new(ways), Part::joined)
}

impl Part {
    fn new(ways: &Ways<'_>) -> Self {
        Self {
            most: vec![0; ways.graph.nodes.len()],
            may_change: vec![0; ways.graph.edges.len()],
            surely_changes: vec![0; ways.graph.edges.len()],
            left: Left::default(),
            shows: Vec::new(),
        }
    }

    fn joined(mut self, other: Self) -> Self {
        self.most.iter_mut().zip(other.most).for_each(|(one, other)| *one = (*one).max(other));
        self.may_change.iter_mut().zip(other.may_change).for_each(|(one, other)| *one |= other);
        self.surely_changes.iter_mut().zip(other.surely_changes).for_each(|(one, other)| *one |= other);
        self.left.join(other.left);
        self.shows.extend(other.shows);
        self
    }

    fn walk(&mut self, parts: Parts<'_>, ways: &Ways<'_>, number: usize, grouped: &Grouped) {
        let mut behaviour = Behaviour::new(parts, &grouped.group);
        let states = States::new(parts, ways, &grouped.group, &mut behaviour);
        for (state, most) in most_since_cleaning(&states, &behaviour.effects).into_iter().enumerate() {
            let of_node = &mut self.most[states.node[state] as usize];
            *of_node = (*of_node).max(most);
        }
        self.changes(&states, ways, &mut behaviour);
        self.left.add(&states, &mut behaviour, ways, grouped.pixels, grouped.rect);
        let highs = extremes(&states, &behaviour, Extreme::Highest);
        let lows = extremes(&states, &behaviour, Extreme::Lowest);
        let is_proved = highs.is_proved && lows.is_proved;
        let values = |of: &Extremes| of.values.clone();
        let (low, high) = (values(&lows), values(&highs));
        let nodes = ways.graph.nodes.len();
        let shows = CellShows::new(grouped.pixels, nodes, &states, &behaviour, [&low, &high], is_proved);
        self.shows.push((number, shows));
    }

    /// In which drives of each edge the cell may change, and in which it surely does.
    fn changes(&mut self, states: &States, ways: &Ways<'_>, behaviour: &mut Behaviour<'_>) {
        for node in 0..ways.graph.nodes.len() as u32 {
            for edge in ways.leaving(node) {
                let (mut may, mut surely) = (0, u32::MAX);
                for state in states.of_node(node) {
                    let (from, end) =
                        behaviour.effects_of(ways.kind_of_edge[edge as usize], states.shown[state as usize]);
                    for effect in &behaviour.effects[from as usize..end as usize] {
                        may |= effect.changes;
                        surely &= effect.changes;
                    }
                }
                self.may_change[edge as usize] |= may;
                self.surely_changes[edge as usize] |= surely & may;
            }
        }
    }
}

fn all_ghosts(cells: &[CellShows], tones: &Tones, panel_px: u64, nodes: usize, threads: usize) -> Vec<StrongestGhost> {
    let nothing = StrongestGhost { bound: Bound::Proved(0.0), of: None };
    let mut ghosts = vec![nothing; nodes];
    let each = nodes.div_ceil(threads.max(1)).max(1);
    thread::scope(|scope| {
        for (part, ghosts) in ghosts.chunks_mut(each).enumerate() {
            scope.spawn(move || {
                let mut lists = LevelLists::default();
                for (at, ghost) in ghosts.iter_mut().enumerate() {
                    *ghost = strongest(cells, part * each + at, tones, panel_px, &mut lists);
                }
            });
        }
    });
    ghosts
}
