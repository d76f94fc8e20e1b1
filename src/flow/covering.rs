//! As few walks as are needed to take every move from each of its states.
//!
//! Knows the graph; which two pictures of a ring differ most is the caller's answer. The walks are short, not proved to
//! be the shortest: each goes on to the nearest move that no walk has taken yet.

use std::collections::{HashSet, VecDeque};

use super::{Flow, Graph, Pace, Walk, WalkedEdge};

/// The time between two moves of a covering walk, ms: long enough for every update to end before the next move.
pub const APART_MS: f64 = 60_000.0;

/// A move from a picture of a state.
type Passage = (usize, usize, usize);

/// Walks that together begin at every start and take every move from each of its states; of a ring from its first
/// picture, from its last, and from the two neighbours that differ most, of which `most_different` gives the first.
pub fn covering_walks(flow: &Flow, graph: &Graph, most_different: &dyn Fn(usize) -> usize) -> Vec<Walk> {
    let mut cover = Cover {
        graph,
        flow,
        missing: missing(flow, graph, most_different),
        seen: vec![0; graph.nodes.len()],
        round: 0,
    };
    let mut walks = Vec::new();
    for (start, one) in flow.starts.iter().enumerate() {
        let first = graph.nodes[..graph.starts].iter().position(|node| node.state == one.at);
        walks.extend(first.map(|at| cover.walk(start, at)));
    }
    while !cover.missing.is_empty() {
        let Some(at) = cover.nearest_start() else { break };
        let state = graph.nodes[at].state;
        let start = flow.starts.iter().position(|start| start.at == state).unwrap_or(0);
        walks.push(cover.walk(start, at));
    }
    walks
}

fn missing(flow: &Flow, graph: &Graph, most_different: &dyn Fn(usize) -> usize) -> HashSet<Passage> {
    let of_state = |(number, state): (usize, &super::State)| {
        let pictures = state.screens.len();
        let most = if state.is_ring() { most_different(number) } else { 0 };
        [0, pictures - 1, most % pictures, (most + 1) % pictures]
    };
    let chosen: Vec<[usize; 4]> = flow.states.iter().enumerate().map(of_state).collect();
    let passages = graph.edges.iter().map(|edge| passage(graph, edge));
    passages.filter(|(_, state, picture)| chosen[*state].contains(picture)).collect()
}

fn passage(graph: &Graph, edge: &super::Edge) -> Passage {
    let node = &graph.nodes[edge.from];
    (edge.by, node.state, node.picture)
}

struct Cover<'g> {
    graph: &'g Graph,
    flow: &'g Flow,
    /// The passages that no walk has taken yet.
    missing: HashSet<Passage>,
    /// In which search each node was seen last.
    seen: Vec<u32>,
    round: u32,
}

impl Cover<'_> {
    /// A walk from a start that takes what is missing for as long as it can get there.
    fn walk(&mut self, start: usize, at: usize) -> Walk {
        let mut walk = Walk { start, at, moves: Vec::new() };
        let mut pace = Pace::default();
        let mut here = at;
        while let Some(way) = self.way_to_missing(&[here]) {
            for edge in way {
                let one = &self.graph.edges[edge];
                self.missing.remove(&passage(self.graph, one));
                walk.moves.push(WalkedEdge { edge, after_ms: pace.after(&self.flow.moves[one.by], APART_MS) });
                here = one.to;
            }
        }
        walk
    }

    /// The start from which a missing passage is nearest.
    fn nearest_start(&mut self) -> Option<usize> {
        let starts: Vec<usize> = (0..self.graph.starts).collect();
        let way = self.way_to_missing(&starts)?;
        way.first().map(|edge| self.graph.edges[*edge].from)
    }

    /// The shortest way from some nodes that ends with a missing passage, as edges.
    fn way_to_missing(&mut self, from: &[usize]) -> Option<Vec<usize>> {
        if self.missing.is_empty() {
            return None;
        }
        self.round += 1;
        let mut queue: VecDeque<usize> = VecDeque::new();
        // The edge over which each node of the queue was reached, with its place in it.
        let mut ways: Vec<(Option<usize>, usize)> = Vec::new();
        for node in from {
            self.seen[*node] = self.round;
            queue.push_back(*node);
            ways.push((None, 0));
        }
        let mut place = 0;
        while let Some(node) = queue.pop_front() {
            for edge in self.graph.leaving(node) {
                let one = &self.graph.edges[edge];
                if self.missing.contains(&passage(self.graph, one)) {
                    return Some(way_back(&ways, place, edge));
                }
                if self.seen[one.to] != self.round {
                    self.seen[one.to] = self.round;
                    queue.push_back(one.to);
                    ways.push((Some(edge), place));
                }
            }
            place += 1;
        }
        None
    }
}

fn way_back(ways: &[(Option<usize>, usize)], mut place: usize, last: usize) -> Vec<usize> {
    let mut way = vec![last];
    while let (Some(edge), before) = ways[place] {
        way.push(edge);
        place = before;
    }
    way.reverse();
    way
}
