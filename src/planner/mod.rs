//! The planner: chooses windows, modes and cleanings for the steps of a plan, makes small corrections, and drafts
//! plans.
//!
//! It has no opinion of its own: a proposal is played by `panel`, and judged by `rules` and the cost. What the cost is
//! made of stands in `docs/planner.md`.

mod choose;
mod edit;
mod policy;
mod turned;

pub use choose::{
    Choice, Cost, Effort, Meter, Replanned, Score, Which, cost_of_finding, covers, in_full, play_through, replan,
    replan_with_progress,
};
pub use edit::{Pause, first_draft, insert_steps, mend, pauses, text_of, with_empty_steps};
pub use policy::{
    Ask, Asker, AtStep, Change, Cleaning, Decision, Event, Events, Extent, FoundPolicy, Kind, Levels, Policy, When,
    events_of, policy_for, score_as_written,
};
pub use turned::turned;
