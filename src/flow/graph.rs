//! The nodes of a flow, that is its screens together with the counters of its cleanings, the edges between them, and
//! what no walk reaches.
//!
//! Knows no pictures: the caller says whether a passage sends anything. Every edge is one that some walk takes.

use std::{collections::HashMap, ops::Range};

use super::{Flow, MOST_EDGES, MOST_NODES, Move};
use crate::plan::ScreenId;

/// A screen of a state, with the counter of each cleaning.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Node {
    /// The state.
    pub state: usize,
    /// Which of the state's screens.
    pub picture: usize,
    /// How many moves that sent something each cleaning has counted, at most the number after which it is due.
    pub counters: Vec<u32>,
}

impl Node {
    /// Its screen.
    pub fn screen(&self, flow: &Flow) -> ScreenId {
        flow.states[self.state].screens[self.picture]
    }
}

/// A move made at a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edge {
    /// The node before.
    pub from: usize,
    /// The move.
    pub by: usize,
    /// The cleanings that follow the move's own updates, in their order.
    pub cleanings: Box<[usize]>,
    /// The node after.
    pub to: usize,
}

/// A move between two screens.
#[derive(Clone, Copy, Debug)]
pub struct Passage<'f> {
    /// The move.
    pub by: &'f Move,
    /// The screen before.
    pub from: ScreenId,
    /// The screen after.
    pub to: ScreenId,
}

/// A flow with more nodes or edges than can be looked at, as far as they were counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLarge {
    /// The screens of all states.
    pub screens: usize,
    /// The nodes that were found before it was too many.
    pub nodes: usize,
    /// The edges that were found before it was too many.
    pub edges: usize,
}

impl TooLarge {
    /// What is wrong, and what to do.
    pub fn words(&self) -> (String, String) {
        let message = format!(
            "this flow is too large to follow every walk: its {} screens and the counters of its cleanings make more than \
             {MOST_NODES} nodes or {MOST_EDGES} moves between them (counted so far: {} and {})",
            self.screens, self.nodes, self.edges
        );
        let help = "clean after fewer updates, let cleanings share a counter, or use fewer pictures in a ring";
        (message, help.into())
    }
}

/// What no walk reaches, and where walks end; all by their numbers in the flow.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reach {
    /// States that no walk reaches.
    pub never_reached: Vec<usize>,
    /// States that walks reach and in which no move can be made.
    pub no_way_out: Vec<usize>,
    /// Moves that no walk takes.
    pub never_taken: Vec<usize>,
}

/// The nodes that walks reach, and the edges between them.
#[derive(Debug)]
pub struct Graph {
    /// The nodes, nearest to a start first.
    pub nodes: Vec<Node>,
    /// The edges, sorted by the node before, then by move.
    pub edges: Vec<Edge>,
    /// How many of the nodes are starts; they come first.
    pub starts: usize,
    /// The edge over which each node was reached first; none of a start.
    first_edges: Vec<Option<usize>>,
}

impl Graph {
    /// The graph of a flow; `sends` says whether an update of a passage sends anything to the panel.
    ///
    /// # Errors
    /// Where it has more than [`MOST_NODES`] nodes or [`MOST_EDGES`] edges.
    pub fn new(flow: &Flow, mut sends: impl FnMut(Passage<'_>) -> bool) -> Result<Self, TooLarge> {
        let mut growing = Growing::new(flow);
        let mut at = 0;
        while at < growing.graph.nodes.len() {
            growing.leave(at, &mut sends)?;
            at += 1;
        }
        // Hundreds of thousands of them are kept for long.
        growing.graph.edges.shrink_to_fit();
        Ok(growing.graph)
    }

    /// The edges that leave a node.
    pub fn leaving(&self, node: usize) -> Range<usize> {
        let first = self.edges.partition_point(|edge| edge.from < node);
        let count = self.edges[first..].partition_point(|edge| edge.from == node);
        first..first + count
    }

    /// A shortest walk from a start to a node, as edges.
    pub fn walk_to(&self, node: usize) -> Vec<usize> {
        let mut walk = Vec::new();
        let mut at = node;
        while let Some(edge) = self.first_edges[at] {
            walk.push(edge);
            at = self.edges[edge].from;
        }
        walk.reverse();
        walk
    }

    /// What no walk reaches, and where walks end.
    pub fn reach(&self, flow: &Flow) -> Reach {
        let mut is_reached = vec![false; flow.states.len()];
        self.nodes.iter().for_each(|node| is_reached[node.state] = true);
        let mut is_taken = vec![false; flow.moves.len()];
        self.edges.iter().for_each(|edge| is_taken[edge.by] = true);
        let has_way_out = |state: usize| flow.moves.iter().any(|one| one.from.contains(&state));
        let states = 0..flow.states.len();
        Reach {
            never_reached: states.clone().filter(|state| !is_reached[*state]).collect(),
            no_way_out: states.filter(|state| is_reached[*state] && !has_way_out(*state)).collect(),
            never_taken: (0..flow.moves.len()).filter(|one| !is_taken[*one]).collect(),
        }
    }
}

/// A graph while it is found, from the starts outward.
struct Growing<'f> {
    flow: &'f Flow,
    /// The moves that can be made in each state.
    moves: Vec<Vec<usize>>,
    /// Whether a move between two screens sends anything, where that was asked before.
    sent: HashMap<(usize, ScreenId, ScreenId), bool>,
    numbers: HashMap<Node, usize>,
    graph: Graph,
}

impl<'f> Growing<'f> {
    fn new(flow: &'f Flow) -> Self {
        let mut moves = vec![Vec::new(); flow.states.len()];
        for (number, one) in flow.moves.iter().enumerate() {
            one.from.iter().for_each(|state| moves[*state].push(number));
        }
        let graph = Graph { nodes: Vec::new(), edges: Vec::new(), starts: 0, first_edges: Vec::new() };
        let mut growing = Self { flow, moves, sent: HashMap::new(), numbers: HashMap::new(), graph };
        for start in &flow.starts {
            for picture in 0..flow.states[start.at].screens.len() {
                growing.number(Node { state: start.at, picture, counters: vec![0; flow.cleanings.len()] }, None);
            }
        }
        growing.graph.starts = growing.graph.nodes.len();
        growing
    }

    fn number(&mut self, node: Node, over: Option<usize>) -> usize {
        if let Some(known) = self.numbers.get(&node) {
            return *known;
        }
        let number = self.graph.nodes.len();
        self.numbers.insert(node.clone(), number);
        self.graph.nodes.push(node);
        self.graph.first_edges.push(over);
        number
    }

    /// Makes every move that can be made at a node.
    fn leave(&mut self, from: usize, sends: &mut impl FnMut(Passage<'_>) -> bool) -> Result<(), TooLarge> {
        let node = self.graph.nodes[from].clone();
        for at in 0..self.moves[node.state].len() {
            let by = self.moves[node.state][at];
            for picture in arrivals(self.flow, &node, by) {
                let has_sent = self.has_sent(&node, by, picture, sends);
                let (after, cleanings) = after(self.flow, &node, by, picture, has_sent);
                let to = self.number(after, Some(self.graph.edges.len()));
                self.graph.edges.push(Edge { from, by, cleanings: cleanings.into(), to });
                self.check_size()?;
            }
        }
        Ok(())
    }

    fn has_sent(
        &mut self,
        node: &Node,
        by: usize,
        picture: usize,
        sends: &mut impl FnMut(Passage<'_>) -> bool,
    ) -> bool {
        let flow = self.flow;
        let one = &flow.moves[by];
        let (from, to) = (flow.states[node.state].screens[node.picture], flow.states[one.to].screens[picture]);
        *self.sent.entry((by, from, to)).or_insert_with(|| sends(Passage { by: one, from, to }))
    }

    fn check_size(&self) -> Result<(), TooLarge> {
        let (nodes, edges) = (self.graph.nodes.len(), self.graph.edges.len());
        if nodes <= MOST_NODES && edges <= MOST_EDGES {
            return Ok(());
        }
        Err(TooLarge { screens: self.flow.states.iter().map(|state| state.screens.len()).sum(), nodes, edges })
    }
}

/// The pictures of its target at which a move may arrive: in a ring that it does not leave, only the next one.
fn arrivals(flow: &Flow, node: &Node, by: usize) -> Range<usize> {
    let to = flow.moves[by].to;
    let pictures = flow.states[to].screens.len();
    if to != node.state {
        return 0..pictures;
    }
    let next = (node.picture + 1) % pictures;
    next..next + 1
}

/// The node that a move leads to, and the cleanings that follow it.
fn after(flow: &Flow, node: &Node, by: usize, picture: usize, has_sent: bool) -> (Node, Vec<usize>) {
    let state = flow.moves[by].to;
    let mut counters = node.counters.clone();
    let mut cleanings = Vec::new();
    for (number, (counter, cleaning)) in counters.iter_mut().zip(&flow.cleanings).enumerate() {
        if cleaning.forgets_at.contains(&state) {
            *counter = 0;
        }
        *counter = (*counter + u32::from(has_sent)).min(cleaning.after_updates);
        if *counter == cleaning.after_updates && cleaning.at.contains(&state) {
            *counter = 0;
            cleanings.push(number);
        }
    }
    (Node { state, picture, counters }, cleanings)
}
