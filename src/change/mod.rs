//! What changes: masks of pixels in tiles, regions of them, the windows that are sent, and the stream of transitions
//! from screen to screen, decoded on all cores.

pub mod pipeline;
mod difference;
mod mask;
mod regions;
mod tiles;
mod windows;

pub use difference::{Difference, difference};
pub use mask::{Mask, bits};
pub(crate) use regions::regions_with_labels;
pub use regions::{Region, regions};
pub use tiles::{TILE, TileGrid, TileLevels, differing_pixels, levels_of_tile};
pub use windows::{SentWindows, TileCover, proposed_window, sent_windows, widened};
