//! What a proof works with. Knows nothing of how it works.

use super::frames::Frames;
use crate::flow::{Flow, Graph};

/// What the proof works with.
#[derive(Clone, Copy, Debug)]
pub struct Proving<'f> {
    /// The flow.
    pub flow: &'f Flow,
    /// Its nodes and edges, made with `SentTable::sends`.
    pub graph: &'f Graph,
    /// Its screens.
    pub frames: &'f Frames,
    /// How many threads work, at least 1.
    pub threads: usize,
    /// The most cells (pixels to which every walk does the same) that are distinguished, at least 4; usually [`MOST_CELLS`]. If
    /// there are more, the small ones are joined, and what is proved holds for each of them.
    pub most_cells: usize,
}

/// As many cells are usually distinguished.
pub const MOST_CELLS: usize = 2000;
