//! A rule for the firmware instead of a list of steps: which update for which kind of change, and when to clean.
//!
//! `docs/planner.md` lists the family of rules that is searched.

mod events;
mod family;
mod kinds;
mod playing;
mod rule;
mod search;
mod turned;

pub use events::{Change, Event, Events, events_of};
pub use kinds::{Asker, Extent, Kind, Levels};
pub use playing::score_as_written;
pub use rule::{Ask, AtStep, Cleaning, Decision, Policy, When};
pub use search::{FoundPolicy, policy_for};
pub use turned::turned;
