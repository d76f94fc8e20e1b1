//! A rule for the firmware in words, as JSON, and as a header for a firmware in C. Decides nothing.

mod c_header;
mod policy_json;
mod reported;
mod policy_words;

pub use c_header::header;
pub use policy_json::json;
pub use policy_words::{LIMITS_OF_THE_MODEL, words};
pub use reported::{ComparedFigure, PolicyReport};
