//! A rule for the firmware in words, as JSON, and as a header for a firmware in C. Decides nothing.

mod header;
mod json;
mod reported;
mod words;

pub use header::header;
pub use json::json;
pub use reported::{ComparedFigure, PolicyReport};
pub use words::{LIMITS_OF_THE_MODEL, words};
