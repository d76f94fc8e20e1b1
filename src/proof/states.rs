//! All that can be shown at a cell at each node, and how edges lead from one to the other: found from the starts outward.
//!
//! Knows what edges do to the cell, and no figures.

use std::borrow::Cow;

use super::{
    behaviour::{Behaviour, Group, NONE, Parts},
    kinds::{Kinds, StartKind},
    losing::Losing,
};
use crate::flow::Graph;

/// The edges of a graph in the form that every cell is walked with.
#[derive(Clone, Debug)]
pub(super) struct Ways<'g> {
    /// How many nodes there are.
    pub(super) nodes: usize,
    /// Where the edges that leave each node begin, and where the last ends.
    pub(super) first: Vec<u32>,
    /// By edge, the nodes before and after.
    pub(super) from: Vec<u32>,
    pub(super) to: Vec<u32>,
    /// By edge, its kind among those that may lose something.
    pub(super) kind_of_edge: Vec<u32>,
    /// By start, the same.
    pub(super) kind_of_start: Vec<u32>,
    pub(super) starts: Cow<'g, [StartKind]>,
    /// The frame of the beginning.
    pub(super) begins: usize,
}

impl<'g> Ways<'g> {
    /// The ways of a whole graph.
    pub(super) fn of(graph: &Graph, kinds: &'g Kinds, losing: &Losing, begins: usize) -> Self {
        Self {
            nodes: graph.nodes.len(),
            first: first_edges(graph),
            from: graph.edges.iter().map(|edge| edge.from as u32).collect(),
            to: graph.edges.iter().map(|edge| edge.to as u32).collect(),
            kind_of_edge: losing.of_edge.clone(),
            kind_of_start: losing.of_start.clone(),
            starts: kinds.starts.as_slice().into(),
            begins,
        }
    }

    /// The edges that leave a node.
    pub(super) fn leaving(&self, node: u32) -> std::ops::Range<u32> {
        self.first[node as usize]..self.first[node as usize + 1]
    }
}

/// Where the edges that leave each node begin, and where the last ends: edges are sorted by the node before.
pub(super) fn first_edges(graph: &Graph) -> Vec<u32> {
    let mut first = vec![0_u32; graph.nodes.len() + 1];
    graph.edges.iter().for_each(|edge| first[edge.from + 1] += 1);
    for at in 1..first.len() {
        first[at] += first[at - 1];
    }
    first
}

/// A way from one state to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Passing {
    pub(super) to: u32,
    pub(super) effect: u32,
}

/// A state at the beginning of walks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Initial {
    pub(super) state: u32,
    pub(super) effect: u32,
    /// Which of the starts.
    pub(super) start: u32,
}

/// The states of a cell: a node, and what is shown there.
#[derive(Debug)]
pub(super) struct States {
    pub(super) node: Vec<u32>,
    pub(super) shown: Vec<u32>,
    pub(super) initial: Vec<Initial>,
    /// Where the passings that leave each state begin, and where the last ends.
    pub(super) first: Vec<u32>,
    pub(super) passings: Vec<Passing>,
    /// By node, one of its states; by state, the next of its node.
    head: Vec<u32>,
    next: Vec<u32>,
}

impl States {
    pub(super) fn new(parts: Parts<'_>, ways: &Ways<'_>, group: &Group, behaviour: &mut Behaviour<'_>) -> Self {
        let nodes = ways.nodes;
        let mut states = Self {
            node: Vec::with_capacity(nodes),
            shown: Vec::with_capacity(nodes),
            initial: Vec::new(),
            first: vec![0],
            passings: Vec::with_capacity(ways.to.len()),
            head: vec![NONE; nodes],
            next: Vec::with_capacity(nodes),
        };
        let begins = behaviour.begins(parts, group, ways.begins);
        for (start, kind) in ways.starts.iter().zip(&ways.kind_of_start) {
            for shown in &begins {
                let (from, end) = behaviour.effects_of(*kind, *shown);
                for effect in from..end {
                    let state = states.number(start.node as u32, behaviour.effects[effect as usize].to);
                    states.initial.push(Initial { state, effect, start: start.start as u32 });
                }
            }
        }
        let mut at = 0;
        while at < states.node.len() {
            let (node, shown) = (states.node[at], states.shown[at]);
            for edge in ways.leaving(node) {
                let (from, end) = behaviour.effects_of(ways.kind_of_edge[edge as usize], shown);
                let to_node = ways.to[edge as usize];
                for effect in from..end {
                    let to = states.number(to_node, behaviour.effects[effect as usize].to);
                    states.passings.push(Passing { to, effect });
                }
            }
            states.first.push(states.passings.len() as u32);
            at += 1;
        }
        states
    }

    #[inline]
    fn number(&mut self, node: u32, shown: u32) -> u32 {
        let mut at = self.head[node as usize];
        while at != NONE {
            if self.shown[at as usize] == shown {
                return at;
            }
            at = self.next[at as usize];
        }
        let number = self.node.len() as u32;
        self.node.push(node);
        self.shown.push(shown);
        self.next.push(self.head[node as usize]);
        self.head[node as usize] = number;
        number
    }

    /// How many nodes there are.
    pub(super) fn nodes(&self) -> usize {
        self.head.len()
    }

    /// How many states there are.
    pub(super) fn count(&self) -> usize {
        self.node.len()
    }

    /// The states of a node.
    pub(super) fn of_node(&self, node: u32) -> impl Iterator<Item = u32> + '_ {
        let first = Some(self.head[node as usize]).filter(|state| *state != NONE);
        std::iter::successors(first, |state| Some(self.next[*state as usize]).filter(|next| *next != NONE))
    }

    /// The numbers of the passings that leave a state.
    #[inline]
    pub(super) fn leaving(&self, state: usize) -> std::ops::Range<usize> {
        self.first[state] as usize..self.first[state + 1] as usize
    }

    /// The state that a passing leaves.
    pub(super) fn source(&self, passing: usize) -> usize {
        self.first.partition_point(|first| *first as usize <= passing) - 1
    }

    /// The edge that a passing takes.
    pub(super) fn edge(&self, ways: &Ways<'_>, behaviour: &mut Behaviour<'_>, passing: usize) -> usize {
        let source = self.source(passing);
        let mut at = self.first[source] as usize;
        for edge in ways.leaving(self.node[source]) {
            let (from, end) = behaviour.effects_of(ways.kind_of_edge[edge as usize], self.shown[source]);
            at += (end - from) as usize;
            if passing < at {
                return edge as usize;
            }
        }
        unreachable!("every passing of a state takes one of the edges that leave its node")
    }
}
