//! A linter for refresh plans of touch and pen interfaces on electronic paper.
// A fault becomes a message, never a panic; tests may stop where their own set-up fails.
#![warn(clippy::unwrap_used)]

pub mod geometry;
pub mod units;
pub mod source;
pub mod display;
pub mod plan;
pub mod screen;
pub mod prepare;
pub mod change;
pub mod panel;
pub mod finding;
pub mod known;
pub mod rules;
pub mod review;
pub mod planner;
pub mod fit;
pub mod report;
pub mod cli;

/// Where random tests keep the cases that failed once.
#[cfg(test)]
#[path = "../tests/kept_failures/mod.rs"]
mod kept_failures;
