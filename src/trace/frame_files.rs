//! What a trace asks its caller for: the files of its frames, beside all that a plan asks for.

use crate::plan::{Surroundings, Trouble};

/// Finds what a trace names.
pub trait FrameFiles: Surroundings {
    /// Says in which folder the frames are, relative to that of the trace.
    ///
    /// # Errors
    /// Where there is no such folder.
    fn frames_folder(&mut self, path: &str) -> Result<(), Trouble>;

    /// The number of a frame's file, relative to the folder of the frames; a file always has the same number.
    ///
    /// # Errors
    /// Where there is no such file.
    fn frame(&mut self, path: &str) -> Result<usize, Trouble>;
}
