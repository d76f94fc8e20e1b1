//! A graph made smaller for one cell: pictures that walks reach in the same ways, as far as the cell can tell, are one.
//!
//! Two pictures are alike if the cell shows the same there, and the same edges do the same to it on their way from pictures
//! that are alike (a bisimulation, against the direction of the edges). What walks bring to a cell is then the same at both.

use std::{borrow::Cow, collections::HashSet};

use super::{
    behaviour::{Behaviour, Group, NONE, Parts, Quick},
    hubs::{Hubs, mixed},
    kinds::{Kinds, StartKind},
    proving::Proving,
    states::{States, Ways},
};

/// As often pictures are distinguished before all of them stay apart; fewer times where edges are bundled otherwise.
const MOST_ROUNDS: usize = 200;
const FEW_ROUNDS: usize = 5;

/// A graph as a cell sees it, with the states of the cell.
pub(super) struct Reduced<'w> {
    pub(super) ways: Cow<'w, Ways<'w>>,
    /// By node of the whole graph, which of its nodes that is, unless it begins with the same nodes.
    pub(super) same_as: Option<Vec<u32>>,
    pub(super) states: States,
}

impl Reduced<'_> {
    /// Whether it is not the whole graph itself.
    pub(super) fn is_other(&self) -> bool {
        matches!(self.ways, Cow::Owned(_))
    }
}

/// A way from one picture to another, with the kinds of edges that take it.
#[derive(Debug)]
struct Passage {
    from: u32,
    to: u32,
    kind: u32,
}

/// The nodes of a graph as pictures with counters.
#[derive(Debug)]
pub(super) struct Pictures {
    /// By node, its picture, and the number of its counters.
    of_node: Vec<u32>,
    counters: Vec<u32>,
    count: usize,
    counter_count: usize,
    /// By picture, its state.
    states: Vec<u32>,
    passages: Vec<Passage>,
    /// By node, where the edges that lead to it begin in the list.
    first_in: Vec<u32>,
    edges_in: Vec<u32>,
    hubs: Option<Hubs>,
}

impl Pictures {
    pub(super) fn new(proving: Proving<'_>, kinds: &Kinds, ways: &Ways<'_>) -> Self {
        let graph = proving.graph;
        let mut first = vec![0_u32];
        for state in &proving.flow.states {
            first.push(first[first.len() - 1] + state.screens.len() as u32);
        }
        let states = (0..proving.flow.states.len())
            .flat_map(|state| (first[state]..first[state + 1]).map(move |_| state as u32));
        let of_node: Vec<u32> = graph.nodes.iter().map(|node| first[node.state] + node.picture as u32).collect();
        let mut numbers = std::collections::HashMap::new();
        let counters = graph.nodes.iter().map(|node| {
            let next = numbers.len() as u32;
            *numbers.entry(&node.counters).or_insert(next)
        });
        let counters: Vec<u32> = counters.collect();
        let mut known: HashSet<(u32, u32, u32), Quick> = HashSet::default();
        let mut passages = Vec::new();
        let mut first_in = vec![0_u32; graph.nodes.len() + 1];
        for (edge, kind) in graph.edges.iter().zip(&ways.kind_of_edge) {
            first_in[edge.to + 1] += 1;
            let (from, to) = (of_node[edge.from], of_node[edge.to]);
            if known.insert((from, to, *kind)) {
                passages.push(Passage { from, to, kind: *kind });
            }
        }
        (1..first_in.len()).for_each(|at| first_in[at] += first_in[at - 1]);
        let mut next = first_in.clone();
        let mut edges_in = vec![0_u32; graph.edges.len()];
        for (number, edge) in graph.edges.iter().enumerate() {
            edges_in[next[edge.to] as usize] = number as u32;
            next[edge.to] += 1;
        }
        let states: Vec<u32> = states.collect();
        Self {
            hubs: Hubs::new(proving, kinds, ways, [&of_node, &counters], states.len(), numbers.len()),
            count: states.len(),
            counter_count: numbers.len(),
            of_node,
            counters,
            states,
            passages,
            first_in,
            edges_in,
        }
    }

    /// The graph as a cell sees it, from the smallest on; the last of them is always right.
    pub(super) fn reduced<'w>(
        &self,
        parts: Parts<'_>,
        group: &Group,
        behaviour: &mut Behaviour<'_>,
        ways: &'w Ways<'w>,
    ) -> Reduced<'w> {
        // What counters do is the same only where the same cleanings run and the move sends something in both.
        let counted = |(kind, _): &(u32, u32)| {
            let kind = &parts.kinds.list[*kind as usize];
            kind.cleanings.iter().fold(mixed(u64::from(kind.sends)), |mark, rule| mixed(mark ^ *rule as u64))
        };
        let counted: Vec<u64> = parts.losing.iter().map(counted).collect();
        if let Some((classes, class_count)) = self.classes(behaviour, &counted, ways) {
            let (reduced, of_node) = self.quotient(&classes, class_count, behaviour, ways);
            let states = States::new(parts, &reduced, group, behaviour);
            return Reduced { ways: Cow::Owned(reduced), same_as: Some(of_node), states };
        }
        let Some(hubs) = &self.hubs else {
            return Reduced {
                ways: Cow::Borrowed(ways),
                same_as: None,
                states: States::new(parts, ways, group, behaviour),
            };
        };
        if let Some((merged, of_node)) = hubs.merged(behaviour, &counted, ways) {
            let states = States::new(parts, &merged, group, behaviour);
            let nodes = of_node.iter().max().map_or(0, |most| *most as usize + 1);
            if Hubs::is_right(&states, behaviour, &merged, parts, nodes) {
                return Reduced { ways: Cow::Owned(merged), same_as: Some(of_node), states };
            }
        }
        let bundled = hubs.bundled(behaviour, &counted, ways);
        let states = States::new(parts, &bundled, group, behaviour);
        Reduced { ways: Cow::Owned(bundled), same_as: None, states }
    }

    /// By picture, its class, and how many classes there are.
    fn classes(&self, behaviour: &Behaviour<'_>, counted: &[u64], ways: &Ways<'_>) -> Option<(Vec<u32>, usize)> {
        let mut marks: Vec<u64> = self.states.iter().map(|state| mixed(u64::from(*state))).collect();
        for (start, kind) in ways.starts.iter().zip(&ways.kind_of_start) {
            let mark = &mut marks[self.of_node[start.node] as usize];
            *mark = mark.wrapping_add(mixed(u64::from(behaviour.set_of(*kind)) << 32 | 0x5eed));
        }
        let label =
            |passage: &Passage| mixed(u64::from(behaviour.set_of(passage.kind)) ^ counted[passage.kind as usize]);
        let labels: Vec<u64> = self.passages.iter().map(label).collect();
        let (mut classes, mut count) = numbered(&marks);
        for _ in 0..if self.hubs.is_some() { FEW_ROUNDS } else { MOST_ROUNDS } {
            let mut next: Vec<u64> = classes.iter().map(|class| mixed(u64::from(*class) ^ 0xc1a5)).collect();
            for (passage, label) in self.passages.iter().zip(&labels) {
                let from = mixed(label ^ (u64::from(classes[passage.from as usize]) << 20));
                let mark = &mut next[passage.to as usize];
                *mark = mark.wrapping_add(from);
            }
            let (finer, finer_count) = numbered(&next);
            if finer_count == count {
                return (!self.is_hardly_less(count)).then_some((classes, count));
            }
            if self.is_hardly_less(finer_count) {
                return None;
            }
            (classes, count) = (finer, finer_count);
        }
        None
    }

    /// Whether so many classes are not worth it.
    fn is_hardly_less(&self, classes: usize) -> bool {
        classes * 10 > self.count * 9
    }

    fn quotient<'w>(
        &self,
        classes: &[u32],
        class_count: usize,
        behaviour: &Behaviour<'_>,
        ways: &Ways<'w>,
    ) -> (Ways<'w>, Vec<u32>) {
        let mut numbers = vec![NONE; class_count * self.counter_count];
        let mut of_node = Vec::with_capacity(self.of_node.len());
        // A node that stands for all of its class.
        let mut examples: Vec<u32> = Vec::new();
        for (node, (picture, counters)) in self.of_node.iter().zip(&self.counters).enumerate() {
            let number = &mut numbers[classes[*picture as usize] as usize * self.counter_count + *counters as usize];
            if *number == NONE {
                *number = examples.len() as u32;
                examples.push(node as u32);
            }
            of_node.push(*number);
        }
        let mut edges: Vec<(u32, u32, u32)> = Vec::new();
        let mut known: HashSet<(u32, u32), Quick> = HashSet::default();
        for (to, example) in examples.iter().enumerate() {
            known.clear();
            let at = *example as usize;
            let mut last = (NONE, NONE);
            for edge in &self.edges_in[self.first_in[at] as usize..self.first_in[at + 1] as usize] {
                let kind = ways.kind_of_edge[*edge as usize];
                let from = of_node[ways.from[*edge as usize] as usize];
                let way = (from, behaviour.set_of(kind));
                if way != last && known.insert(way) {
                    edges.push((from, to as u32, kind));
                }
                last = way;
            }
        }
        edges.sort_unstable();
        let mut first = vec![0_u32; examples.len() + 1];
        for (from, ..) in &edges {
            first[*from as usize + 1] += 1;
        }
        (1..first.len()).for_each(|at| first[at] += first[at - 1]);
        let start = |start: &StartKind| StartKind { node: of_node[start.node] as usize, ..*start };
        let reduced = Ways {
            nodes: examples.len(),
            first,
            from: edges.iter().map(|(from, ..)| *from).collect(),
            to: edges.iter().map(|(_, to, _)| *to).collect(),
            kind_of_edge: edges.iter().map(|(.., kind)| *kind).collect(),
            kind_of_start: ways.kind_of_start.clone(),
            starts: ways.starts.iter().map(start).collect::<Vec<_>>().into(),
            begins: ways.begins,
        };
        (reduced, of_node)
    }
}

/// Marks as numbers from 0 on, and how many there are.
fn numbered(marks: &[u64]) -> (Vec<u32>, usize) {
    let mut numbers: std::collections::HashMap<u64, u32, Quick> = std::collections::HashMap::default();
    let number = |mark: &u64| {
        let next = numbers.len() as u32;
        *numbers.entry(*mark).or_insert(next)
    };
    let classes = marks.iter().map(number).collect();
    (classes, numbers.len())
}
