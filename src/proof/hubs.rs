//! Bundles of edges: a move into a ring of pictures arrives at any of them, and a move out of it comes from any, so that nearly
//! all edges of a large flow are of these two kinds. A cell that sees the same on many of them needs only one.
//!
//! Pictures of a ring at which the same edges arrive, as far as the cell can tell, share a node in front of them, with the
//! edges that lead to one of them; pictures that the same edges leave share a node behind them. From and to these nodes lead
//! edges that change nothing. What walks bring to the nodes of the graph itself stays as it is.
//!
//! Where a cleaning that leaves nothing of what was before comes after so many moves along a ring, pictures that so many
//! moves back look the same to the cell are one, too. Whether the cleaning leaves nothing of a cell is found out afterwards.

use std::collections::{HashMap, HashSet};

use super::{
    behaviour::{Behaviour, Effect, NONE, Parts, Quick},
    kinds::{Kinds, StartKind},
    proving::Proving,
    states::{States, Ways},
};
use crate::flow::Edge;

/// Bundles are made where they take the place of so many edges for each node, at least.
const LEAST_SPREAD: usize = 3;

/// How an edge is walked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Spread {
    /// As it is.
    Single,
    /// Over a node in front of its ring.
    Into,
    /// Over a node behind its ring.
    OutOf,
}

/// One of the ways between two pictures, as it is distinguished.
#[derive(Debug)]
struct Passage {
    /// The picture of the ring.
    of: u32,
    /// A mark of the other picture.
    other: u64,
    kind: u32,
}

/// What bundles are made with.
#[derive(Debug)]
pub(super) struct Hubs {
    pictures: usize,
    counter_count: usize,
    /// By node.
    of_node: Vec<u32>,
    counters: Vec<u32>,
    into: Vec<Passage>,
    out_of: Vec<Passage>,
    /// By node, where its edges of each spread begin in the lists.
    first_into: Vec<u32>,
    edges_into: Vec<u32>,
    first_out_of: Vec<u32>,
    edges_out_of: Vec<u32>,
    /// The others, by the node to which they lead.
    first_single: Vec<u32>,
    edges_single: Vec<u32>,
    /// The ways along rings: the picture after, that before, and the kind.
    along: Vec<(u32, u32, u32)>,
    /// After so many moves along a ring a cleaning comes; none if that is not sure.
    cleans_after: Option<usize>,
    /// By picture, whether it is of a ring, and the state.
    is_ring: Vec<bool>,
    state_of: Vec<u32>,
}

impl Hubs {
    /// `None` where there are too few edges of rings.
    pub(super) fn new(
        proving: Proving<'_>,
        kinds: &Kinds,
        ways: &Ways<'_>,
        [of_node, counters]: [&[u32]; 2],
        pictures: usize,
        counter_count: usize,
    ) -> Option<Self> {
        let (flow, graph) = (proving.flow, proving.graph);
        let is_ring = |node: usize| flow.states[graph.nodes[node].state].is_ring();
        let spread = |edge: &Edge| {
            let stays = graph.nodes[edge.from].state == graph.nodes[edge.to].state;
            match (stays, is_ring(edge.to), is_ring(edge.from)) {
                (false, true, _) => Spread::Into,
                (false, false, true) => Spread::OutOf,
                _ => Spread::Single,
            }
        };
        let spreads: Vec<Spread> = graph.edges.iter().map(spread).collect();
        let bundled = spreads.iter().filter(|spread| **spread != Spread::Single).count();
        if bundled < LEAST_SPREAD * graph.nodes.len() || pictures * counter_count > 16 * graph.nodes.len() + 4096 {
            return None;
        }
        let list = |wanted: Spread, node_of: &dyn Fn(usize) -> usize| {
            let numbers = (0..graph.edges.len()).filter(|edge| spreads[*edge] == wanted);
            sorted_by_node(graph.nodes.len(), numbers.map(|edge| (node_of(edge), edge as u32)))
        };
        let (first_into, edges_into) = list(Spread::Into, &|edge| graph.edges[edge].to);
        let (first_single, edges_single) = list(Spread::Single, &|edge| graph.edges[edge].to);
        let mut picture_is_ring = vec![false; pictures];
        let mut state_of = vec![0; pictures];
        for (number, node) in graph.nodes.iter().enumerate() {
            picture_is_ring[of_node[number] as usize] = is_ring(number);
            state_of[of_node[number] as usize] = node.state as u32;
        }
        let (first_out_of, edges_out_of) = list(Spread::OutOf, &|edge| graph.edges[edge].from);
        let passages = |edges: &[u32], is_into: bool| {
            let mut known: HashSet<(u32, u32, u32), Quick> = HashSet::default();
            let mut list = Vec::new();
            for number in edges {
                let edge = &graph.edges[*number as usize];
                let kind = ways.kind_of_edge[*number as usize];
                let (from, to) = (of_node[edge.from], of_node[edge.to]);
                let (of, other) = if is_into { (to, from) } else { (from, to) };
                if known.insert((of, other, kind)) {
                    list.push(Passage { of, other: mixed(u64::from(other) << 32 | edge.by as u64), kind });
                }
            }
            list
        };
        Some(Self {
            pictures,
            counter_count,
            of_node: of_node.to_vec(),
            counters: counters.to_vec(),
            into: passages(&edges_into, true),
            out_of: passages(&edges_out_of, false),
            first_into,
            edges_into,
            first_out_of,
            edges_out_of,
            first_single,
            edges_single,
            along: along(proving, ways, of_node),
            cleans_after: cleans_after(proving, kinds),
            is_ring: picture_is_ring,
            state_of,
        })
    }

    /// The graph as a cell sees it: its own nodes, and behind them those of the bundles.
    pub(super) fn bundled<'w>(&self, behaviour: &Behaviour<'_>, counted: &[u64], ways: &Ways<'w>) -> Ways<'w> {
        let own: Vec<u32> = (0..self.pictures as u32).collect();
        self.made(behaviour, counted, ways, &own, None)
    }

    /// The same with pictures of rings taken together, and which of its nodes each node is; only where cleanings come so often
    /// that this makes the graph much smaller.
    pub(super) fn merged<'w>(
        &self,
        behaviour: &Behaviour<'_>,
        counted: &[u64],
        ways: &Ways<'w>,
    ) -> Option<(Ways<'w>, Vec<u32>)> {
        let classes = self.classes(behaviour, counted, ways, self.cleans_after?);
        let count = classes.iter().max().map_or(0, |most| *most as usize + 1);
        if count * 3 > self.pictures * 2 {
            return None;
        }
        let mut numbers = vec![NONE; count * self.counter_count];
        let mut nodes = 0;
        let number = |(picture, counters): (&u32, &u32)| {
            let number = &mut numbers[classes[*picture as usize] as usize * self.counter_count + *counters as usize];
            if *number == NONE {
                *number = nodes;
                nodes += 1;
            }
            *number
        };
        let of_node: Vec<u32> = self.of_node.iter().zip(&self.counters).map(number).collect();
        Some((self.made(behaviour, counted, ways, &classes, Some((&of_node, nodes))), of_node))
    }

    /// Whether the cleanings of rings leave nothing of what was before in a cell with these states, and all nodes are reached:
    /// then taking pictures together was right.
    pub(super) fn is_right(
        states: &States,
        behaviour: &mut Behaviour<'_>,
        ways: &Ways<'_>,
        parts: Parts<'_>,
        nodes: usize,
    ) -> bool {
        if (0..nodes as u32).any(|node| states.of_node(node).next().is_none()) {
            return false;
        }
        let mut known: HashMap<u32, Effect, Quick> = HashMap::default();
        let mut is_looked_at: HashSet<(u32, u32), Quick> = HashSet::default();
        for state in 0..states.count() {
            for edge in ways.leaving(states.node[state]) {
                let kind = ways.kind_of_edge[edge as usize];
                let cleans = parts
                    .losing
                    .get(kind as usize)
                    .is_some_and(|(kind, _)| !parts.kinds.list[*kind as usize].cleanings.is_empty());
                let set = behaviour.set_of(kind);
                if !cleans || !is_looked_at.insert((set, states.shown[state])) {
                    continue;
                }
                let (from, end) = behaviour.effects_of(kind, states.shown[state]);
                // Whether a cell changes matters for answers alone, and those are worked out from the states themselves.
                let effect = behaviour.effects[from as usize].without_changes();
                if end != from + 1 || !effect.is_reset() || *known.entry(set).or_insert(effect) != effect {
                    return false;
                }
            }
        }
        true
    }

    /// By picture, a number that two pictures share if walks to them along the ring look the same to the cell for so many
    /// moves, and whatever arrives there.
    fn classes(&self, behaviour: &Behaviour<'_>, counted: &[u64], ways: &Ways<'_>, moves: usize) -> Vec<u32> {
        let mut own: Vec<u64> =
            self.alike(&self.into, behaviour, counted).into_iter().map(|one| mixed(one.into())).collect();
        for (picture, mark) in own.iter_mut().enumerate().filter(|(picture, _)| !self.is_ring[*picture]) {
            *mark = mixed(*mark ^ mixed(picture as u64 | 1 << 40));
        }
        for (picture, is_ring) in self.is_ring.iter().enumerate() {
            if *is_ring {
                own[picture] = mixed(own[picture] ^ mixed(u64::from(self.state_of[picture]) | 1 << 41));
            }
        }
        for (start, kind) in ways.starts.iter().zip(&ways.kind_of_start) {
            let mark = &mut own[self.of_node[start.node] as usize];
            *mark = mark.wrapping_add(mixed(u64::from(behaviour.set_of(*kind)) << 32 | 0x5eed));
        }
        let labels: Vec<u64> = self
            .along
            .iter()
            .map(|(.., kind)| mixed(u64::from(behaviour.set_of(*kind)) ^ counted[*kind as usize]))
            .collect();
        let mut marks = own.clone();
        let mut count = number_of(&marks);
        for _ in 0..=moves {
            let mut next = own.clone();
            for ((after, before, _), label) in self.along.iter().zip(&labels) {
                let mark = &mut next[*after as usize];
                *mark = mark.wrapping_add(mixed(marks[*before as usize] ^ label));
            }
            marks = next;
            let finer = number_of(&marks);
            if finer == count {
                break;
            }
            count = finer;
        }
        numbered(marks)
    }

    /// The graph with each picture as its class. `merged` gives the node that each node is, and how many there are.
    fn made<'w>(
        &self,
        behaviour: &Behaviour<'_>,
        counted: &[u64],
        ways: &Ways<'w>,
        classes: &[u32],
        merged: Option<(&[u32], u32)>,
    ) -> Ways<'w> {
        let of = |node: u32| merged.map_or(node, |(of_node, _)| of_node[node as usize]);
        let nodes = merged.map_or(ways.nodes as u32, |(_, nodes)| nodes);
        let mut made = Made { nodes, edges: Vec::with_capacity(4 * nodes as usize) };
        let mut is_seen = vec![false; nodes as usize];
        for node in 0..ways.nodes {
            // One node stands for all that are the same.
            if std::mem::replace(&mut is_seen[of(node as u32) as usize], true) {
                continue;
            }
            for edge in &self.edges_single[self.first_single[node] as usize..self.first_single[node + 1] as usize] {
                let at = *edge as usize;
                made.edges.push((of(ways.from[at]), of(node as u32), ways.kind_of_edge[at]));
            }
        }
        let nothing = behaviour.nothing();
        let in_front = self.alike(&self.into, behaviour, counted);
        let lists = [self.first_into.as_slice(), &self.edges_into];
        self.each_hub(&in_front, classes, lists, &mut made, |made, node, hub, edges| {
            for edge in edges {
                let at = *edge as usize;
                made.edges.push((of(ways.from[at]), hub, ways.kind_of_edge[at]));
            }
            made.edges.push((hub, of(node), nothing));
        });
        let behind = self.alike(&self.out_of, behaviour, counted);
        let lists = [self.first_out_of.as_slice(), &self.edges_out_of];
        self.each_hub(&behind, classes, lists, &mut made, |made, node, hub, edges| {
            for edge in edges {
                let at = *edge as usize;
                made.edges.push((hub, of(ways.to[at]), ways.kind_of_edge[at]));
            }
            made.edges.push((of(node), hub, nothing));
        });
        made.into_ways(ways, merged.map(|(of_node, _)| of_node))
    }

    /// By picture, a number that two pictures share if the cell sees the same on all their passages.
    fn alike(&self, passages: &[Passage], behaviour: &Behaviour<'_>, counted: &[u64]) -> Vec<u32> {
        let mut marks = vec![0_u64; self.pictures];
        for passage in passages {
            let set = u64::from(behaviour.set_of(passage.kind));
            let mark = &mut marks[passage.of as usize];
            *mark = mark.wrapping_add(mixed(passage.other ^ mixed(set ^ counted[passage.kind as usize])));
        }
        numbered(marks)
    }

    /// Gives every node with such edges the node that it shares with others, once for each class of pictures; the edges only to
    /// the first of them.
    fn each_hub(
        &self,
        alike: &[u32],
        classes: &[u32],
        [first, edges]: [&[u32]; 2],
        made: &mut Made,
        mut work: impl FnMut(&mut Made, u32, u32, &[u32]),
    ) {
        let count = alike.iter().max().map_or(0, |most| *most as usize + 1);
        let mut hubs = vec![NONE; count * self.counter_count];
        let pairs = numbered(alike.iter().zip(classes).map(|(one, class)| u64::from(*one) << 32 | u64::from(*class)));
        let pair_count = pairs.iter().max().map_or(0, |most| *most as usize + 1);
        let mut is_linked = vec![false; pair_count * self.counter_count];
        for (node, (picture, counters)) in self.of_node.iter().zip(&self.counters).enumerate() {
            let own = &edges[first[node] as usize..first[node + 1] as usize];
            let pair = pairs[*picture as usize] as usize * self.counter_count + *counters as usize;
            if own.is_empty() || std::mem::replace(&mut is_linked[pair], true) {
                continue;
            }
            let hub = &mut hubs[alike[*picture as usize] as usize * self.counter_count + *counters as usize];
            let is_new = *hub == NONE;
            if is_new {
                *hub = made.nodes;
                made.nodes += 1;
            }
            work(made, node as u32, *hub, if is_new { own } else { &[] });
        }
    }
}

/// The ways along rings: the picture after, that before, and the kind.
fn along(proving: Proving<'_>, ways: &Ways<'_>, of_node: &[u32]) -> Vec<(u32, u32, u32)> {
    let graph = proving.graph;
    let mut along: Vec<(u32, u32, u32)> = Vec::new();
    let mut known: HashSet<(u32, u32, u32), Quick> = HashSet::default();
    for (edge, kind) in graph.edges.iter().zip(&ways.kind_of_edge) {
        let is_along = graph.nodes[edge.from].state == graph.nodes[edge.to].state;
        let way = (of_node[edge.to], of_node[edge.from], *kind);
        if is_along && known.insert(way) {
            along.push(way);
        }
    }
    along
}

/// After how many moves along a ring some cleaning comes, whatever the ring: `None` where that is not sure.
fn cleans_after(proving: Proving<'_>, kinds: &Kinds) -> Option<usize> {
    let (flow, graph) = (proving.flow, proving.graph);
    let along = |edge: &Edge| graph.nodes[edge.from].state == graph.nodes[edge.to].state;
    let mut edges = graph.edges.iter().zip(&kinds.of_edge).filter(|(edge, _)| along(edge));
    if edges.any(|(_, kind)| !kinds.list[*kind as usize].sends) {
        return None;
    }
    let of_ring = |ring: usize| {
        let cleanings = flow.cleanings.iter().filter(|one| one.at.contains(&ring) && !one.forgets_at.contains(&ring));
        cleanings.map(|one| one.after_updates as usize).min()
    };
    let rings = (0..flow.states.len()).filter(|state| flow.states[*state].is_ring());
    rings.map(of_ring).try_fold(0, |most, moves| Some(most.max(moves?)))
}

/// How many different marks there are.
fn number_of(marks: &[u64]) -> usize {
    let all: HashSet<u64, Quick> = marks.iter().copied().collect();
    all.len()
}

/// Marks as numbers from 0 on.
fn numbered(marks: impl IntoIterator<Item = u64>) -> Vec<u32> {
    let mut numbers: HashMap<u64, u32, Quick> = HashMap::default();
    let number = |mark: u64| {
        let next = numbers.len() as u32;
        *numbers.entry(mark).or_insert(next)
    };
    marks.into_iter().map(number).collect()
}

/// Edges by the node that they belong to: where those of each node begin, and their numbers.
fn sorted_by_node(nodes: usize, edges: impl Iterator<Item = (usize, u32)>) -> (Vec<u32>, Vec<u32>) {
    let edges: Vec<(usize, u32)> = edges.collect();
    let mut first = vec![0_u32; nodes + 1];
    for (node, _) in &edges {
        first[*node + 1] += 1;
    }
    (1..first.len()).for_each(|at| first[at] += first[at - 1]);
    let mut next = first.clone();
    let mut sorted = vec![0_u32; edges.len()];
    for (node, edge) in edges {
        sorted[next[node] as usize] = edge;
        next[node] += 1;
    }
    (first, sorted)
}

/// A graph while it is made: how many nodes it has, and its edges with their kinds.
struct Made {
    nodes: u32,
    edges: Vec<(u32, u32, u32)>,
}

impl Made {
    fn into_ways<'w>(self, ways: &Ways<'w>, of_node: Option<&[u32]>) -> Ways<'w> {
        let count = self.nodes as usize;
        let by_node = self.edges.iter().enumerate().map(|(number, edge)| (edge.0 as usize, number as u32));
        let (first, order) = sorted_by_node(count, by_node);
        let edges: Vec<&(u32, u32, u32)> = order.iter().map(|number| &self.edges[*number as usize]).collect();
        Ways {
            nodes: count,
            first,
            from: edges.iter().map(|(from, ..)| *from).collect(),
            to: edges.iter().map(|(_, to, _)| *to).collect(),
            kind_of_edge: edges.iter().map(|(.., kind)| *kind).collect(),
            kind_of_start: ways.kind_of_start.clone(),
            starts: match of_node {
                None => ways.starts.clone(),
                Some(of_node) => {
                    let start = |start: &StartKind| StartKind { node: of_node[start.node] as usize, ..*start };
                    ways.starts.iter().map(start).collect::<Vec<_>>().into()
                }
            },
            begins: ways.begins,
        }
    }
}

/// Mixes 64 bits, so that sums of mixed numbers tell sets apart.
pub(super) fn mixed(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
