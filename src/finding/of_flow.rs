//! What belongs to findings of flows alone: the walk that leads to one, and what is known of all walks together.
//!
//! Knows names and figures, not how they were found.

use std::collections::BTreeMap;

use crate::proof::{Bound, Proof};

/// The walk through a flow at whose end something was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingWalk {
    /// The state that the start brings, with its picture if it is a ring.
    pub from: String,
    /// The moves in their order.
    pub moves: Vec<WalkMove>,
    /// The walk in words.
    pub words: String,
    /// How many of the moves lead to the place of what was seen; those behind them show that it goes on.
    pub to_place: usize,
}

/// A move of such a walk.
#[derive(Clone, Debug, PartialEq)]
pub struct WalkMove {
    /// Its number in the flow, from 0.
    pub number: usize,
    /// Its label.
    pub label: Option<String>,
    /// Time since the request before, ms.
    pub after_ms: f64,
}

impl WalkMove {
    /// The move in words.
    pub fn name(&self) -> String {
        self.label.as_ref().map_or(format!("move {}", self.number), |label| format!("move {} \"{label}\"", self.number))
    }
}

impl FindingWalk {
    /// The move at which it was seen; `None` for the start.
    pub fn move_of_place(&self) -> Option<&WalkMove> {
        self.moves[..self.to_place.min(self.moves.len())].last()
    }

    /// The place where it was seen: a move, or the start.
    pub fn place(&self) -> String {
        self.move_of_place().map_or("the start".into(), WalkMove::name)
    }
}

/// A place in a flow: its name and the JSON pointer to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlowPlace {
    /// The state's name, or the move's label if it has one.
    pub name: Option<String>,
    /// The pointer.
    pub pointer: String,
}

/// What is known of all walks through a flow, for the rules that judge that.
#[derive(Clone, Debug, Default)]
pub struct OfFlow {
    /// States that no walk reaches.
    pub never_reached: Vec<FlowPlace>,
    /// States in which walks end.
    pub no_way_out: Vec<FlowPlace>,
    /// Moves that no walk takes.
    pub never_taken: Vec<FlowPlace>,
    /// Limits of which it is open whether every walk keeps them.
    pub open: Vec<OpenLimit>,
}

/// A limit of which it is open whether every walk keeps it.
#[derive(Clone, Debug)]
pub struct OpenLimit {
    /// The rule whose limit it is.
    pub rule: &'static str,
    /// What was proved, what the worst walk shows, and the limit.
    pub message: String,
    /// The figures of the message.
    pub figures: Vec<(&'static str, f64)>,
}

/// The largest figures over all nodes of a flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProvedFigures {
    /// Updates since the last cleaning of any pixel.
    pub most_since_cleaning: Bound,
    /// Ghosts, L*.
    pub ghost_l: Bound,
    /// The wait of an update, ms.
    pub wait_ms: Bound,
    /// The time to the first visible change that a person waits for, ms.
    pub answer_ms: Bound,
    /// How many moves something old stays on the glass.
    pub left_behind_moves: Bound,
}

impl ProvedFigures {
    /// Those of a proof. Where updates may be lost, the proof takes it that any may that could be, so that what has no bound
    /// need not grow on any walk. A ghost never does: what a place keeps may grow, but what is seen of it is cut to the range of
    /// the panel.
    pub fn of(proof: &Proof, may_lose: bool) -> Self {
        let unless_sure = |is_sure: bool, bound: Bound| match bound {
            Bound::Unbounded if !is_sure => Bound::NotProved,
            known => known,
        };
        let figure = |bound| unless_sure(!may_lose, bound);
        Self {
            most_since_cleaning: figure(proof.worst(|node| node.most_since_cleaning)),
            ghost_l: unless_sure(false, proof.worst(|node| node.ghost_l)),
            wait_ms: figure(proof.worst(|node| node.wait_ms)),
            answer_ms: figure(proof.worst(|node| node.answer_ms)),
            left_behind_moves: figure(proof.left_behind_moves),
        }
    }

    /// Each by its name in files.
    pub fn named(&self) -> [(&'static str, Bound); 5] {
        [
            ("most_since_cleaning", self.most_since_cleaning),
            ("ghost_l", self.ghost_l),
            ("wait_ms", self.wait_ms),
            ("answer_ms", self.answer_ms),
            ("left_behind_moves", self.left_behind_moves),
        ]
    }

    /// Those that a budget can be held against; what grows without end passes every budget.
    pub fn figures(&self) -> BTreeMap<&'static str, f64> {
        let of = |(name, bound): (&'static str, Bound)| match bound {
            Bound::Proved(figure) => Some((name, figure)),
            Bound::Unbounded => Some((name, f64::INFINITY)),
            Bound::NotProved => None,
        };
        self.named().into_iter().filter_map(of).collect()
    }
}

/// The size of a flow, and what of it was played.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct FlowSize {
    /// Its states.
    pub states: usize,
    /// Its moves.
    pub moves: usize,
    /// Pictures of states with the counters of the cleanings, as far as walks reach them.
    pub nodes: usize,
    /// Moves between them.
    pub edges: usize,
    /// The walks that were played.
    pub walks: usize,
    /// The moves of these walks.
    pub played_moves: usize,
    /// The kinds of pixels that the proof distinguishes; 0 if there is no proof.
    pub cells: usize,
    /// How many there would be if those most alike had not been joined.
    pub unjoined_cells: usize,
}
