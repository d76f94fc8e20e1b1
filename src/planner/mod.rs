//! The planner: chooses windows, modes and cleanings for the steps of a plan, makes small corrections, and drafts
//! plans.
//!
//! It has no opinion of its own: a proposal is played by `panel`, and judged by `rules` and the cost. What the cost is
//! made of stands in `docs/planner.md`.

mod candidates;
mod cost;
pub mod draft;
pub mod mend;
mod replan;
mod search;
mod text;
mod windows;
mod update_text;

pub use cost::{Cost, Meter, of_finding as cost_of_finding};
pub use replan::{Replanned, play_through, replan};
pub use search::{Choice, Effort, Score};
pub use text::text_of;
pub use update_text::in_full;
pub use windows::covers;
