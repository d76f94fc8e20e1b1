//! What a trace asks its caller for: the files of its frames, beside all that a plan asks for.

use crate::plan::{Surroundings, Trouble};

/// Finds what a trace names.
pub trait FrameFiles: Surroundings {
    /// The number of a frame's file, relative to the folder of the frames; a file always has the same number.
    ///
    /// # Errors
    /// Where there is no such file.
    fn frame(&mut self, path: &str) -> Result<usize, Trouble>;
}
