//! What the nodes and walks of a flow are called.
//!
//! Knows names and waits; the names of pictures are the caller's.

use crate::{
    finding::{FindingWalk, WalkMove},
    flow::{Flow, Graph, Node, Pace, Walk, walk_words},
    plan::ScreenId,
    rules::wording::span,
};

/// Waits that differ by less are one, ms.
const SAME_MS: f64 = 0.5;

/// The names of a flow.
pub(super) struct Names<'f> {
    pub(super) flow: &'f Flow,
    pub(super) graph: &'f Graph,
    /// The name of a picture.
    pub(super) picture: &'f dyn Fn(ScreenId) -> String,
}

impl Names<'_> {
    /// A state, with its picture if it is one of a ring.
    pub(super) fn node(&self, node: &Node) -> String {
        let state = &self.flow.states[node.state];
        if !state.is_ring() {
            return state.name.clone();
        }
        format!("{} ({})", state.name, (self.picture)(node.screen(self.flow)))
    }

    /// A walk, with its words.
    pub(super) fn walk(&self, walk: &Walk) -> FindingWalk {
        let from = self.node(&self.graph.nodes[walk.at]);
        let moves: Vec<WalkMove> = walk
            .moves
            .iter()
            .map(|one| {
                let number = self.graph.edges[one.edge].by;
                WalkMove { number, label: self.flow.moves[number].label.clone(), after_ms: one.after_ms }
            })
            .collect();
        let words = self.words(&from, &moves);
        let to_place = moves.len();
        FindingWalk { from, moves, words, to_place }
    }

    fn words(&self, from: &str, moves: &[WalkMove]) -> String {
        let is_plain = self.flow.starts.len() == 1 && !self.flow.states[self.flow.starts[0].at].is_ring();
        let start = if is_plain { "boot".to_owned() } else { format!("boot at `{from}`") };
        let waits = self.waits(moves);
        let pace = waits.first().copied().flatten().filter(|first| {
            waits.len() > 1 && waits.iter().all(|wait| wait.is_some_and(|wait| (wait - first).abs() < SAME_MS))
        });
        let name = |(one, wait): (&WalkMove, &Option<f64>)| {
            let name = one.label.clone().unwrap_or_else(|| format!("move {}", one.number));
            match wait.filter(|_| pace.is_none()) {
                Some(wait) => format!("{name} after {}", span(wait)),
                None => name,
            }
        };
        let names: Vec<String> = std::iter::once(start).chain(moves.iter().zip(&waits).map(name)).collect();
        let apart = pace.map_or(String::new(), |pace| format!(" ({} apart)", span(pace)));
        format!("{}{apart}", walk_words(&names))
    }

    /// The waits that are longer than they have to be.
    fn waits(&self, moves: &[WalkMove]) -> Vec<Option<f64>> {
        let mut pace = Pace::default();
        let wait = |one: &WalkMove| {
            let soonest = pace.clone().after(&self.flow.moves[one.number], 0.0);
            pace.after(&self.flow.moves[one.number], one.after_ms);
            (one.after_ms > soonest + SAME_MS).then_some(one.after_ms)
        };
        moves.iter().map(wait).collect()
    }
}
