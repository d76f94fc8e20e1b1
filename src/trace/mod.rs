//! Traces: what a device recorded while somebody used it, read as a plan that is played like any other.
//!
//! [`read_trace`] turns the text of a `*.trace.jsonl` into a plan and the screens that its frames make. Works on texts and
//! bytes; files are found and read by the caller.

mod clock;
mod header;
mod log_lines;
mod log_patterns;
mod log_shapes;
mod packing;
mod pgm;
mod plain_text;
mod reader;
mod frame_files;
mod frame_screens;
mod steps;
mod suggested;
mod unknown_names;
mod update_ends;

pub(crate) use clock::{DAY_MS, ms_of_day, time_of_day};
pub use frame_files::FrameFiles;
pub use frame_screens::{FrameCache, FrameScreens};
pub use log_lines::{Converted, LONGEST_LINE, LogLines, read_log_lines};
pub use reader::{Trace, read_trace};
pub use suggested::{Suggested, suggest_log_lines};
