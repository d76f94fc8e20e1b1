//! A rule for the firmware instead of a list of steps: which update for which kind of change, and when to clean.
//!
//! `docs/planner.md` lists the family of rules that is searched.

mod events;
mod family;
mod kinds_of_change;
mod rule_plays;
mod rule;
mod rule_search;
mod written_out;

pub use events::{Change, Event, Events, events_of};
pub use kinds_of_change::{Asker, Extent, Kind, Levels};
pub use rule::{Ask, AtStep, Cleaning, Decision, Policy, When};
pub use rule_plays::score_as_written;
pub use rule_search::{FoundPolicy, policy_for};
