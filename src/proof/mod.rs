//! What is true of every walk through a flow: the most updates since a cleaning, the strongest ghost, the longest wait,
//! the most flashes within a second, and what is left behind.
//!
//! Knows the graph of a flow and its screens as levels; no files, no rules, no JSON. Nothing is sampled: a figure is
//! proved for every walk, has no bound, or is said not to be proved.

mod behaviour;
mod cells;
mod counts;
mod extremes;
mod frames;
mod ghosts;
mod groups;
mod kinds;
mod left;
mod queues;
mod reduced;
mod result;
mod sent;
mod states;
mod waits;
mod witnesses;
mod work;

use crate::flow::{Flow, Graph};
pub use frames::{Frame, Frames};
pub use result::{Bound, LeftBehind, NodeProof, Proof, Witness, Witnesses};
pub use sent::SentTable;

/// What the proof works with.
#[derive(Clone, Copy, Debug)]
pub struct Proving<'f> {
    /// The flow.
    pub flow: &'f Flow,
    /// Its nodes and edges, made with [`SentTable::sends`].
    pub graph: &'f Graph,
    /// Its screens.
    pub frames: &'f Frames,
    /// How many threads work, at least 1.
    pub threads: usize,
}

/// Proves the figures of a flow. `progress` is called now and then with the share that is done, 0 to 1.
pub fn prove(proving: Proving<'_>, sent: &SentTable, progress: &(dyn Fn(f64) + Sync)) -> Proof {
    progress(0.0);
    work::prove(proving, sent, progress)
}
