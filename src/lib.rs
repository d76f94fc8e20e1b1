//! A linter for refresh plans of touch and pen interfaces on electronic paper.
//!
//! The way from plan to report, in the order of the modules below; each uses only those above it.
//!
//! 1. Small types that are always valid: [`geometry`], [`units`], and texts with places in them, [`source`];
//!    [`side_by_side`] does the same work on many items, [`recently_used`] keeps what was made at some cost.
//! 2. What a panel can do, [`display`], and what is asked of it, [`plan`] and [`flow`]: read from a text or made in code,
//!    and resolved once.
//! 3. Pictures: [`screen`] decodes and draws them, [`trace`] reads what a device recorded, with its frames, as a plan,
//!    and [`prepare`] converts pictures to a panel's levels.
//! 4. [`change`] compares one screen with the next, on all cores; [`panel`] plays the plan step by step, and
//!    [`proof`] says what is true of every walk through a flow.
//! 5. [`rules`] look at every played step and report findings, which [`finding`] defines; [`known`] distinguishes new
//!    findings from old ones, [`review`] ties this together, [`excerpt`] keeps a part of it, [`flow_review`] does the
//!    same for all walks through a flow, [`against`] compares what a device did with a plan, and [`explain`] tells the
//!    story of one place and moment.
//! 6. [`planner`] chooses and corrects updates, judged by the same panel and rules; [`fit`] finds a mode's figures from
//!    readings.
//! 7. [`report`] writes the verdict in every format, and [`cli`] is the only part that touches files, clock and
//!    environment.
//!
//! `docs/architecture.md` says what is always true of them, and which test checks it.
// A fault becomes a message, never a panic; tests may stop where their own set-up fails.
#![warn(clippy::unwrap_used)]

pub mod geometry;
pub mod units;
pub mod side_by_side;
pub mod recently_used;
pub mod source;
pub mod display;
pub mod plan;
pub mod flow;
pub mod screen;
pub mod trace;
pub mod prepare;
pub mod change;
pub mod panel;
pub mod proof;
pub mod finding;
pub mod known;
pub mod rules;
pub mod review;
pub mod excerpt;
pub mod flow_review;
pub mod against;
pub mod explain;
pub mod planner;
pub mod fit;
pub mod report;
pub mod cli;

/// Where random tests keep the cases that failed once.
#[cfg(test)]
#[path = "../tests/kept_failures/mod.rs"]
mod kept_failures;
