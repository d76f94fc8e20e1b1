//! From what was measured to a description: the residue figures of a mode that meet readings of lightness best, with their
//! bounds, and the durations that a device recorded.
//!
//! Knows readings, levels, recorded plans and the law of residue; no files, no plans that were played, no pictures.

mod durations;
mod fragment;
mod least_squares;
mod sequence;
mod solve;
mod student;
mod table;

use crate::display::{Level, ResidueFigures};
pub use durations::{MeasuredDuration, durations_fragment, measured_durations};
pub use fragment::fragment;
pub use sequence::{Files, refused_as_cleaning, test_sequence};
pub use solve::{Unfit, fit, shows};
pub use table::{COLUMNS, Table, read_table};

/// What was done to a patch, and what a meter read on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What was done.
    pub history: PatchHistory,
    /// L* read on the patch.
    pub read_l: f64,
    /// L* read where the same level was just cleaned.
    pub clean_l: f64,
}

/// What is done to a patch before it is read: cleaned to a level, then driven in the mode from level to level.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PatchHistory {
    /// The level that it is cleaned to.
    pub cleaned_to: Level,
    /// The levels that it is then driven to in turn.
    pub then: Vec<Level>,
    /// How many times over.
    pub times: u32,
}

impl PatchHistory {
    /// The level that it ends at.
    pub fn end(&self) -> Level {
        self.then.last().copied().unwrap_or(self.cleaned_to)
    }

    /// How many updates it takes.
    pub fn updates(&self) -> usize {
        self.then.len() * self.times as usize
    }

    /// Every level that it is driven to, in order.
    fn drives(&self) -> impl Iterator<Item = Level> {
        (0..self.times).flat_map(|_| self.then.iter().copied())
    }
}

/// A figure with its bounds: in 95 of 100 such measurements the true figure lies between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounded {
    /// The figure that meets the readings best.
    pub figure: f64,
    /// The lower bound.
    pub least: f64,
    /// The upper bound.
    pub most: f64,
}

/// The figures of a mode's residue that meet the readings best.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Share of the residue before that stays.
    pub keeps: Bounded,
    /// L* left over for each L* of a swing that became lighter.
    pub lighter: Bounded,
    /// L* left over for each L* of a swing that became darker.
    pub darker: Bounded,
    /// How far readings scatter around what the figures give, L*: one standard deviation.
    pub scatter_l: f64,
    /// How many readings it rests on.
    pub readings: usize,
}

impl Fit {
    /// The three figures as a mode holds them.
    pub fn residue(&self) -> ResidueFigures {
        ResidueFigures {
            keeps: self.keeps.figure,
            lighter: self.lighter.figure,
            darker: self.darker.figure,
            ..ResidueFigures::default()
        }
    }
}
