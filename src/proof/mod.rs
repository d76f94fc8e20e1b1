//! What is true of every walk through a flow: the most updates since a cleaning, the strongest ghost, the longest wait,
//! the most flashes within a second, and what is left behind.
//!
//! Knows the graph of a flow and its screens as levels; no files, no rules, no JSON. Nothing is sampled: a figure is
//! proved for every walk, has no bound, or is said not to be proved.

mod answered;
mod behaviour;
mod cell_walks;
mod cell_witnesses;
mod cells;
mod drives;
mod extremes;
mod flash_runs;
mod flash_shows;
mod flash_times;
mod most_flashes;
mod frames;
mod strongest_ghosts;
mod groups;
mod hubs;
mod kinds;
mod left;
mod longest_paths;
mod losing;
mod proving;
mod queues;
mod reduced;
mod result;
mod sent;
mod states;
mod waits;
mod witnesses;
mod work;

pub use frames::{Frame, Frames};
pub use proving::{MOST_CELLS, Proving};
pub use result::{Bound, LeftBehind, NodeProof, Proof, Witness, Witnesses};
pub use sent::SentTable;
pub use witnesses::MOST_STARTS;

/// Proves the figures of a flow. `progress` is called now and then with the share that is done, 0 to 1.
pub fn prove(proving: Proving<'_>, sent: &SentTable, progress: &(dyn Fn(f64) + Sync)) -> Proof {
    progress(0.0);
    work::prove(proving, sent, progress)
}
