//! Choosing the updates of a plan: what may be asked at a step, what that costs, and the search among all of it.

mod candidates;
mod cost;
mod covers;
mod effort;
mod open_steps;
mod other_choices;
mod over_turns;
mod path;
mod reasons;
mod replan;
mod search;

pub use cost::{Cost, Meter, Score, of_finding as cost_of_finding};
pub use covers::covers;
pub use effort::Effort;
pub use open_steps::{Choice, Which};
pub(super) use path::Path;
pub use reasons::in_full;
pub use replan::{Replanned, play_through, replan, replan_with_progress};
