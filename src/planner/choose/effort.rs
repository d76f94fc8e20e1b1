//! How much is tried: the efforts, and how many paths each lets go on side by side.
//!
//! Knows sizes of plans, not what a path is.

use super::cost::{FLASH_OF_THE_PANEL, Score};

/// At the highest effort as many paths go on side by side, where the panel is small enough.
pub(super) const EXHAUSTIVE: usize = 20_000;

/// How much is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// The best at every step.
    Quick,
    /// A few paths side by side.
    Usual,
    /// Many paths; small plans exhaustively.
    Thorough,
}

impl Effort {
    /// Those that look at less in another way; the quickest way through is one of the ways of all others.
    pub(super) fn lower(self) -> &'static [Self] {
        match self {
            Self::Quick | Self::Usual => &[],
            Self::Thorough => &[Self::Usual],
        }
    }

    /// How often other choices are tried for steps over the whole plan, as long as that helps.
    pub(super) fn rounds(self) -> usize {
        match self {
            Self::Quick => 0,
            Self::Usual => 1,
            Self::Thorough => 6,
        }
    }

    /// How often, and how many at a time, choices are played that were better at their own step than what was chosen.
    pub(super) fn second_looks(self, pixel_steps: u64) -> usize {
        match self.beam(pixel_steps).paths {
            0..=2 if self == Self::Usual => 0,
            _ => 8,
        }
    }

    /// Whether more is tried by itself where errors are left: not on plans so large that it takes minutes, and not for
    /// somebody who asks for the quickest answer.
    pub(super) fn rises(self, pixel_steps: u64) -> bool {
        /// A watch through two hundred steps.
        const LARGEST: u64 = 1 << 23;
        self == Self::Usual && pixel_steps <= LARGEST
    }

    /// Whether what is not likely to be among the best is left out without being played: on large plans that takes too long.
    pub(super) fn is_hasty(self, pixel_steps: u64) -> bool {
        /// A watch through two hundred steps.
        const FROM: u64 = 1 << 23;
        self != Self::Thorough && pixel_steps > FROM
    }

    /// What goes on side by side where so many pixels, times steps to choose, are looked at: the more, the less.
    pub(super) fn beam(self, pixel_steps: u64) -> Beam {
        /// A button through a few steps; a watch through a few dozen steps, and through many; half a hundred steps of a tablet.
        const TINY: u64 = 1 << 16;
        const SMALLEST: u64 = 1 << 21;
        const SMALL: u64 = 1 << 23;
        const LARGE: u64 = 1 << 27;
        match self {
            Self::Usual if pixel_steps <= TINY => Beam { paths: 64, within: f64::INFINITY },
            Self::Usual if pixel_steps <= SMALLEST => Beam { paths: 8, within: f64::INFINITY },
            Self::Usual if pixel_steps <= SMALL => Beam { paths: 3, within: f64::INFINITY },
            Self::Usual if pixel_steps <= LARGE => Beam { paths: 2, within: FLASH_OF_THE_PANEL },
            Self::Usual | Self::Quick => Beam { paths: 1, within: f64::INFINITY },
            Self::Thorough => Beam { paths: 12, within: f64::INFINITY },
        }
    }
}

/// Which paths go on side by side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Beam {
    /// So many at most.
    pub(super) paths: usize,
    /// None that costs more than the best by more than this: what it had cleaned, the best can still clean.
    pub(super) within: f64,
}

impl Beam {
    /// Whether a path goes on beside the best. That it has more errors is no matter: later steps may mend what is left
    /// behind.
    pub(super) fn takes(self, score: Score, best: Score) -> bool {
        score.errors < best.errors || score.cost <= best.cost + self.within
    }
}
