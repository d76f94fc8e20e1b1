//! Bundles of edges: a move into a ring of pictures arrives at any of them, and a move out of it comes from any, so that nearly
//! all edges of a large flow are of these two kinds. A cell that sees the same on many of them needs only one.
//!
//! Pictures of a ring at which the same edges arrive, as far as the cell can tell, share a node in front of them, with the
//! edges that lead to one of them; pictures that the same edges leave share a node behind them. From and to these nodes lead
//! edges that change nothing. What walks bring to the nodes of the graph itself stays as it is.

use std::collections::HashMap;

use super::{
    behaviour::{Behaviour, NONE, Quick},
    proving::Proving,
    states::Ways,
};

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

/// One of the ways between two pictures, as it is told apart.
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
    single: Vec<u32>,
}

impl Hubs {
    /// `None` where there are too few edges of rings.
    pub(super) fn new(
        proving: Proving<'_>,
        ways: &Ways<'_>,
        [of_node, counters]: [&[u32]; 2],
        pictures: usize,
        counter_count: usize,
    ) -> Option<Self> {
        let (flow, graph) = (proving.flow, proving.graph);
        let is_ring = |node: usize| flow.states[graph.nodes[node].state].is_ring();
        let spread = |edge: &crate::flow::Edge| {
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
        let (first_out_of, edges_out_of) = list(Spread::OutOf, &|edge| graph.edges[edge].from);
        let passages = |edges: &[u32], is_into: bool| {
            let mut known: std::collections::HashSet<(u32, u32, u32), Quick> = std::collections::HashSet::default();
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
            single: (0..graph.edges.len() as u32).filter(|edge| spreads[*edge as usize] == Spread::Single).collect(),
        })
    }

    /// The graph as a cell sees it: its own nodes, and behind them those of the bundles.
    pub(super) fn bundled<'w>(&self, behaviour: &Behaviour<'_>, counted: &[u64], ways: &Ways<'w>) -> Ways<'w> {
        let mut made = Made { nodes: ways.nodes as u32, edges: Vec::with_capacity(4 * ways.nodes) };
        for edge in &self.single {
            let at = *edge as usize;
            made.edges.push((ways.from[at], ways.to[at], ways.kind_of_edge[at]));
        }
        let in_front = self.alike(&self.into, behaviour, counted);
        let nothing = behaviour.nothing();
        self.each_hub(&in_front, [&self.first_into, &self.edges_into], &mut made, |made, node, hub, edges| {
            for edge in edges {
                let at = *edge as usize;
                made.edges.push((ways.from[at], hub, ways.kind_of_edge[at]));
            }
            made.edges.push((hub, node, nothing));
        });
        let behind = self.alike(&self.out_of, behaviour, counted);
        self.each_hub(&behind, [&self.first_out_of, &self.edges_out_of], &mut made, |made, node, hub, edges| {
            for edge in edges {
                let at = *edge as usize;
                made.edges.push((hub, ways.to[at], ways.kind_of_edge[at]));
            }
            made.edges.push((node, hub, nothing));
        });
        made.into_ways(ways)
    }

    /// By picture, a number that two pictures share if the cell sees the same on all their passages.
    fn alike(&self, passages: &[Passage], behaviour: &Behaviour<'_>, counted: &[u64]) -> Vec<u32> {
        let mut marks = vec![0_u64; self.pictures];
        for passage in passages {
            let set = u64::from(behaviour.set_of(passage.kind));
            let mark = &mut marks[passage.of as usize];
            *mark = mark.wrapping_add(mixed(passage.other ^ mixed(set ^ counted[passage.kind as usize])));
        }
        let mut numbers: HashMap<u64, u32, Quick> = HashMap::default();
        let number = |mark: u64| {
            let next = numbers.len() as u32;
            *numbers.entry(mark).or_insert(next)
        };
        marks.into_iter().map(number).collect()
    }

    /// Gives every node with such edges the node that it shares with others; the edges only to the first of them.
    fn each_hub(
        &self,
        alike: &[u32],
        [first, edges]: [&[u32]; 2],
        made: &mut Made,
        mut work: impl FnMut(&mut Made, u32, u32, &[u32]),
    ) {
        let classes = alike.iter().max().map_or(0, |most| *most as usize + 1);
        let mut hubs = vec![NONE; classes * self.counter_count];
        for (node, (picture, counters)) in self.of_node.iter().zip(&self.counters).enumerate() {
            let own = &edges[first[node] as usize..first[node + 1] as usize];
            if own.is_empty() {
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

/// Edges by the node that they belong to: where those of each node begin, and their numbers.
fn sorted_by_node(nodes: usize, edges: impl Iterator<Item = (usize, u32)>) -> (Vec<u32>, Vec<u32>) {
    let edges: Vec<(usize, u32)> = edges.collect();
    let mut first = vec![0_u32; nodes + 1];
    edges.iter().for_each(|(node, _)| first[*node + 1] += 1);
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
    fn into_ways<'w>(self, ways: &Ways<'w>) -> Ways<'w> {
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
            starts: ways.starts.clone(),
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
