//! Which change of a pixel's look is half a flash, and which pixels an update swung so.
//!
//! Knows levels and how they look; no time and no areas. The thresholds are published ones.

use crate::{
    change::Mask,
    display::{Ink, Level, LevelSet},
    units::{chromaticity, red_share},
};

/// Least difference of relative luminance, and what the darker side must be below. Source: WCAG 2.2, general flash.
const GENERAL: (f64, f64) = (0.1, 0.8);
/// Least share of red in linear light, and what must be exceeded in u'v'. Source: WCAG 2.2, red flash.
const RED: (f64, f64) = (0.8, 0.2);

/// The two kinds of flashes, which are counted apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FlashKind {
    /// Between dark and light.
    General,
    /// To a saturated red, or from it.
    Red,
}

impl FlashKind {
    /// The two opposite swings that make such a flash.
    pub(crate) fn both_ways(self) -> [Turn; 2] {
        match self {
            Self::General => [Turn::Lighter, Turn::Darker],
            Self::Red => [Turn::Redder, Turn::LessRed],
        }
    }
}

/// A way in which a pixel's look can turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    Lighter,
    Darker,
    Redder,
    LessRed,
}

impl Turn {
    pub(crate) const ALL: [Self; 4] = [Self::Lighter, Self::Darker, Self::Redder, Self::LessRed];
}

/// The pixels that an update swung, by the way they went.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Swung {
    turns: [Mask; Turn::ALL.len()],
}

impl Swung {
    /// Adds a tile behind all others.
    pub(crate) fn push(&mut self, tile: u32, turned: [u64; Turn::ALL.len()]) {
        for (mask, pixels) in self.turns.iter_mut().zip(turned) {
            mask.push(tile, pixels);
        }
    }

    /// The pixels that went each of the two ways.
    pub(super) fn both_ways(&self, kind: FlashKind) -> [&Mask; 2] {
        kind.both_ways().map(|turn| &self.turns[turn as usize])
    }
}

/// Which half of a flash, if any, lies between two levels.
#[derive(Clone, Debug)]
pub(crate) struct SwingKinds {
    levels: usize,
    /// For each level before and level after, a bit for each turn.
    turns: Vec<u8>,
    reds: LevelSet,
}

impl SwingKinds {
    pub(crate) fn new(ink: &Ink) -> Self {
        let levels = ink.levels();
        let turns = (0..levels * levels).map(|at| turns_between(ink, (at / levels) as Level, (at % levels) as Level));
        let reds = ink.all().iter().filter(|level| ink.colours().is_some() && is_saturated_red(ink.srgb(*level)));
        Self { levels, turns: turns.collect(), reds: reds.collect() }
    }

    /// How a pixel that goes from one level to another turns: a bit for each [`Turn`], by its number.
    pub(crate) fn turns(&self, from: Level, to: Level) -> u8 {
        self.turns[usize::from(from) * self.levels + usize::from(to)]
    }

    /// The levels that are a saturated red.
    pub(crate) fn reds(&self) -> LevelSet {
        self.reds
    }
}

fn turns_between(ink: &Ink, from: Level, to: Level) -> u8 {
    let (one, other) = (ink.relative_luminance(from), ink.relative_luminance(to));
    let mut turns = 0;
    if is_general_swing(one, other) {
        turns |= 1 << if other > one { Turn::Lighter } else { Turn::Darker } as u8;
    }
    let (before, after) = (ink.srgb(from), ink.srgb(to));
    if ink.colours().is_some() && is_red_swing(before, after) {
        let is_redder = red_share(after) > red_share(before);
        turns |= 1 << if is_redder { Turn::Redder } else { Turn::LessRed } as u8;
    }
    turns
}

/// Whether between two relative luminances (0 to 1, of the panel's white) lies half a general flash.
pub(crate) fn is_general_swing(one: f64, other: f64) -> bool {
    let (least, below) = GENERAL;
    // 0.89 - 0.79 is a little less than 0.1 in double precision.
    (one - other).abs() >= least - 1e-12 && one.min(other) < below
}

/// Whether between two encoded sRGB colours lies half a red flash.
fn is_red_swing(one: [u8; 3], other: [u8; 3]) -> bool {
    let ([u, v], [other_u, other_v]) = (chromaticity(one), chromaticity(other));
    (is_saturated_red(one) || is_saturated_red(other)) && (u - other_u).hypot(v - other_v) > RED.1
}

fn is_saturated_red(srgb: [u8; 3]) -> bool {
    red_share(srgb) >= RED.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::ink::Colour;

    /// WCAG 2.2, definition of general flash: "10% or more of the maximum relative luminance", "the relative luminance of
    /// the darker image is below 0.80".
    #[test]
    fn a_general_flash_is_a_tenth_of_the_luminance_below_eight_tenths() {
        assert!(is_general_swing(0.79, 0.89), "0.79 to 0.89");
        assert!(!is_general_swing(0.80, 0.95), "0.80 to 0.95: the darker side is not below 0.80");
        assert!(!is_general_swing(0.0, 0.0999), "0 to 0.0999");
        assert!(is_general_swing(0.0, 0.10) && is_general_swing(0.10, 0.0), "0 to 0.10, either way");
    }

    /// WCAG 2.2, definition of red flash: R / (R + G + B) of 0.8 or more in linear light, more than 0.2 apart in CIE 1976
    /// u'v'. The pigments are measured sRGB values of a six-pigment panel.
    #[test]
    fn a_red_flash_has_a_saturated_red_on_one_side() {
        let (red, white, black, yellow) = ([121, 9, 0], [185, 202, 205], [26, 13, 35], [202, 184, 0]);
        assert!(is_red_swing(red, white) && is_red_swing(white, red) && is_red_swing(red, black));
        assert!(!is_red_swing(yellow, white), "yellow is no saturated red");
        assert!(!is_red_swing(red, [200, 20, 10]), "two reds lie close together");
        // By the sRGB formula, 255 red beside 136 blue has a share of 0.8024, beside 137 one of 0.7999.
        assert!(is_saturated_red([255, 0, 136]) && !is_saturated_red([255, 0, 137]));
    }

    #[test]
    fn levels_swing_by_their_reflectance_over_the_whites() {
        let kinds = SwingKinds::new(&Ink::grey_between(16, 0.04, 0.44));
        let turn = |turn: Turn| 1 << turn as u8;
        assert_eq!(kinds.turns(0, 15), turn(Turn::Lighter));
        assert_eq!(kinds.turns(15, 0), turn(Turn::Darker));
        assert_eq!(kinds.turns(0, 1), 0, "two dark greys");
        let colours = [("black", [26, 13, 35]), ("white", [185, 202, 205]), ("red", [121, 9, 0])];
        let kinds = SwingKinds::new(&Ink::palette(colours.map(|(name, srgb)| Colour::new(name, srgb)).into()));
        assert_eq!(kinds.turns(1, 2), turn(Turn::Darker) | turn(Turn::Redder));
        assert_eq!(kinds.turns(2, 0), turn(Turn::LessRed), "red and black are equally dark");
        assert_eq!(kinds.reds(), LevelSet::default().with(2));
    }
}
