//! Traces: what a device recorded while somebody used it, read as a plan that is played like any other.
//!
//! [`read_trace`] turns the text of a `*.trace.jsonl` into a plan and the screens that its frames make. Works on texts and
//! bytes; files are found and read by the caller.

mod clock;
mod header;
mod packing;
mod pgm;
mod reader;
mod screens;
mod steps;

pub use reader::{FrameFiles, Trace, read_trace};
pub use screens::{FrameCache, FrameScreens};
