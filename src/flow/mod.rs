//! User flows: which screens there are, which moves lead from one to another, and what each move asks of the panel.
//!
//! [`read_flow`] turns the text into a [`Flow`]; [`Graph`] lists its nodes, that is its screens together with the
//! counters of its cleanings, and what no walk reaches; a [`Walk`] becomes a plan, and [`covering_walks`] gives those that
//! take every move. Knows the display, not the pictures: whether a move sends anything is the caller's answer.

mod covering;
mod flow_file;
mod graph;
mod walk_plan;
mod walk_words;

use crate::{
    geometry::Window,
    plan::{Cause, Plan, Power, ScreenId, Updates, WindowAsk},
};
pub use covering::{APART_MS, covering_walks};
pub use flow_file::read_flow;
pub use graph::{Edge, Graph, Node, Passage, Reach, TooLarge};
pub use walk_plan::{Damage, Pace, StepOrigin, Walk, WalkPlan, WalkedEdge};
pub use walk_words::walk_words;

/// The most nodes of a flow: screens times counters.
pub const MOST_NODES: usize = 200_000;

/// The most edges between the nodes of a flow.
pub const MOST_EDGES: usize = 5_000_000;

/// The figures that a flow may put a budget on, as they are called in files.
pub const FLOW_BUDGETS: [&str; 5] = ["answer_ms", "ghost_l", "left_behind_moves", "most_since_cleaning", "wait_ms"];

/// A flow, resolved.
///
/// Already true of it: there is at least one state and one start, every state has a picture and a ring at least two,
/// every index exists, every move comes from somewhere, cleanings have no window `changed` and are due after at least
/// one update, labels that `accept` names occur once.
#[derive(Debug)]
pub struct Flow {
    /// What it shares with a plan, as a plan without steps.
    pub head: Plan,
    /// The states in the order of the file.
    pub states: Vec<State>,
    /// Where walks begin.
    pub starts: Vec<Start>,
    /// The moves in the order of the file.
    pub moves: Vec<Move>,
    /// When requests come.
    pub input: Input,
    /// The rules by which the device cleans the panel, in their order.
    pub cleanings: Vec<Cleaning>,
}

/// A state: one screen, or a ring of them.
#[derive(Debug)]
pub struct State {
    /// The user's name for it.
    pub name: String,
    /// The JSON pointer to it.
    pub pointer: String,
    /// Its screens; several of a ring, in natural order.
    pub screens: Vec<ScreenId>,
}

impl State {
    /// Whether it is a ring of screens.
    pub fn is_ring(&self) -> bool {
        self.screens.len() > 1
    }
}

/// A place where walks begin.
#[derive(Debug)]
pub struct Start {
    /// The JSON pointer to it; of the whole file if the file gives no start.
    pub pointer: String,
    /// The state that power-up brings.
    pub at: usize,
    /// The updates that bring it.
    pub updates: Updates,
}

/// A move from one state to another.
#[derive(Debug)]
pub struct Move {
    /// The JSON pointer to it.
    pub pointer: String,
    /// The user's name for it.
    pub label: Option<String>,
    /// The states in which it can be made, each once, in the order of the states.
    pub from: Vec<usize>,
    /// The state that it leads to.
    pub to: usize,
    /// What causes it.
    pub cause: Cause,
    /// The touch target, in screen coordinates.
    pub touched: Option<Window>,
    /// The least time since the request before, ms.
    pub soonest_ms: f64,
    /// The least time since the clock's move before, ms.
    pub every_ms: f64,
    /// The updates that it asks for.
    pub updates: Updates,
    /// What happens to the panel's power afterwards; `None` if it stays on.
    pub power: Option<Power>,
    /// How often a day it is made, if known.
    pub per_day: Option<f64>,
}

/// When requests come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// Whenever the moves' least times allow.
    Queued,
    /// Those of people only when the last update of the host has finished.
    WhenFree,
}

/// A rule by which the device cleans the panel.
#[derive(Debug)]
pub struct Cleaning {
    /// The JSON pointer to it.
    pub pointer: String,
    /// Index of the display's mode.
    pub mode: usize,
    /// Which windows; never [`WindowAsk::Changed`].
    pub window: WindowAsk,
    /// After how many moves that send something it is due; at least one.
    pub after_updates: u32,
    /// The states at which it runs.
    pub at: Vec<usize>,
    /// The states at which its counter is lost.
    pub forgets_at: Vec<usize>,
}
