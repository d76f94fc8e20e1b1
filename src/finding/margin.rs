//! How close a figure came to its limit, and how sure that is: the display gives the factor by which its figures may be
//! off.
//!
//! Knows which figure a margin rests on, not how it was found.

use std::collections::BTreeSet;

use crate::{
    display::{Certainty, Display, Mode},
    panel::{PlayedStep, PlayedUpdate},
    plan::LimitValue,
};

/// The estimated figure that something rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// The residue of drives.
    Residue,
    /// How long updates take.
    Durations,
    /// When the first change of an update is visible.
    FirstVisible,
    /// How often a mode flashes.
    Flashes,
    /// Energy.
    Energy,
}

impl Figure {
    /// The factor by which it may be off; for residue, if no mode gives another.
    fn factor(self, certainty: &Certainty) -> Option<f64> {
        match self {
            Self::Residue => certainty.residue,
            Self::Durations => certainty.durations,
            Self::FirstVisible => certainty.first_visible,
            Self::Flashes => certainty.flashes,
            Self::Energy => certainty.energy,
        }
    }
}

/// How far beyond its limit a figure came.
///
/// Already true of it: what it is divided by is above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// What it rests on.
    pub figure: Figure,
    reached: f64,
    limit: f64,
    /// Whether the figure breaks its limit from below: then the margin is the inverse.
    small_is_bad: bool,
    /// The factor by which the figure may be off in either direction; `None` if the display does not give it.
    pub factor: Option<f64>,
}

impl Margin {
    /// The margin of a figure; `None` if the limit is 0: no factor could bring the figure below that.
    pub fn new(figure: Figure, reached: f64, limit: f64, factor: Option<f64>) -> Option<Self> {
        (limit > 0.0).then_some(Self { figure, reached, limit, small_is_bad: false, factor })
    }

    /// The margin of a figure that is too small; `None` if it is 0: no factor could bring it above the limit.
    pub fn of_too_little(figure: Figure, reached: f64, limit: f64, certainty: &Certainty) -> Option<Self> {
        let factor = figure.factor(certainty);
        (reached > 0.0 && limit > 0.0).then_some(Self { figure, reached, limit, small_is_bad: true, factor })
    }

    /// The same with the factor that the display gives.
    pub fn of(figure: Figure, reached: f64, limit: f64, display: &Display) -> Option<Self> {
        Self::new(figure, reached, limit, figure.factor(&display.certainty))
    }

    /// The figure that was reached, divided by its limit; the inverse if a small figure breaks it.
    pub fn value(&self) -> f64 {
        if self.small_is_bad { self.limit / self.reached } else { self.reached / self.limit }
    }

    /// Whether the figure exceeds its limit even if it is off by its factor; `None` if none is given.
    pub fn sure(&self) -> Option<bool> {
        self.factor.map(|factor| self.value() >= factor)
    }

    /// How many times the figure its limit would be kept at.
    pub fn turns_at(&self) -> f64 {
        if self.small_is_bad { self.value() } else { 1.0 / self.value() }
    }
}

/// The modes that may have left the residue on the glass so far.
#[derive(Clone, Debug, Default)]
pub struct ResidueModes {
    modes: BTreeSet<usize>,
    /// Those of them that left their `wrong_start` somewhere.
    started_wrong: BTreeSet<usize>,
}

/// The largest figure of residue so far, with how sure that is.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ResiduePeak {
    /// The figure, L*.
    pub reached_l: f64,
    /// The factor by which it may be off, by the modes used until it was reached; `None` if the display does not give it.
    pub factor: Option<f64>,
}

impl ResiduePeak {
    /// Takes the figure of a step, and the modes used until then.
    pub fn see(&mut self, reached_l: f64, modes: &ResidueModes, display: &Display) {
        if reached_l > self.reached_l {
            *self = Self { reached_l, factor: modes.factor(display) };
        }
    }
}

impl ResidueModes {
    /// Takes a step.
    pub fn see(&mut self, step: &PlayedStep<'_>, display: &Display) {
        let driven = step.updates.iter().filter(|update| update.driven_px > 0).map(|update| update.mode);
        self.modes.extend(driven);
        let strokes = || step.planned.step.strokes.iter().zip(&step.strokes);
        if !step.pen_line.is_empty() {
            self.modes.extend(strokes().map(|(asked, _)| asked.mode));
        }
        let leaves = |mode: &usize| display.modes[*mode].residue_at(step.planned.temperature_c).wrong_start != 0.0;
        let updates = step.updates.iter().filter(|update| starts_wrong(update, &display.modes[update.mode]));
        self.started_wrong.extend(updates.map(|update| update.mode).filter(leaves));
        let drawn = strokes().filter(|(_, drawn)| !drawn.wrong_start.is_empty());
        self.started_wrong.extend(drawn.map(|(asked, _)| asked.mode).filter(leaves));
    }

    /// The factor by which residue reached by now may be off: that of the least certain mode so far that leaves any; `None`
    /// if one of them has none.
    pub fn factor(&self, display: &Display) -> Option<f64> {
        let leaves = |mode: &&usize| leaves_something(&display.modes[**mode]) || self.started_wrong.contains(*mode);
        let factors = self.modes.iter().filter(leaves).map(|mode| display.residue_certainty(&display.modes[*mode]));
        factors.reduce(|one, other| Some(one?.max(other?))).unwrap_or(display.certainty.residue)
    }

    /// The margin of some residue, L*.
    pub fn margin(&self, reached_l: f64, limit_l: f64, display: &Display) -> Option<Margin> {
        Margin::new(Figure::Residue, reached_l, limit_l, self.factor(display))
    }
}

/// Whether an update changed pixels from a level that its mode cannot start from: one that keeps its level is left nothing.
fn starts_wrong(update: &PlayedUpdate, mode: &Mode) -> bool {
    !update.wrong_start.is_empty() && !update.changes_from.is_within(mode.from)
}

/// Whether a mode leaves something wherever it starts.
fn leaves_something(mode: &Mode) -> bool {
    let in_driven = mode.residue.entries().any(|residue| {
        residue.lighter != 0.0 || residue.darker != 0.0 || residue.pairs.iter().any(|pair| pair.leaves_l != 0.0)
    });
    let beside = mode.beside.is_some_and(|beside| beside.lighter != 0.0 || beside.darker != 0.0);
    in_driven || beside
}

/// How close a plan came to a limit, at its worst.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanMargin {
    /// The largest figure.
    pub reached: f64,
    /// Its limit, and who gives it.
    pub limit: LimitValue,
    /// The factor by which the figure may be off in either direction; `None` if the display does not give it.
    pub factor: Option<f64>,
}

/// Whether a limit is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holds {
    /// It is not, with the figure as it is.
    Broken,
    /// It is, with the figure as it is; but the figure may be off by more, or its factor is not given.
    Open,
    /// It is, even if the figure is off by its factor.
    Kept,
}

impl Holds {
    /// The word that stands in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Broken => "broken",
            Self::Open => "open",
            Self::Kept => "kept",
        }
    }
}

impl PlanMargin {
    /// Whether the limit holds.
    pub fn holds(&self) -> Holds {
        let limit = self.limit.value;
        if self.reached > limit {
            Holds::Broken
        } else if self.factor.is_some_and(|factor| self.reached * factor <= limit) {
            Holds::Kept
        } else {
            Holds::Open
        }
    }
}

/// How close a plan came to the limits that rest on estimated figures.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct PlanMargins {
    /// Residue compared with the limit for a ghost, L*.
    pub residue: Option<PlanMargin>,
    /// The time to the first visible change after a touch or a key, ms; `None` if nobody is answered.
    pub answers: Option<PlanMargin>,
    /// Flashes within a second on a large area.
    pub flashes: Option<PlanMargin>,
    /// Energy compared with the plan's budget, mJ; `None` if it has none.
    pub energy: Option<PlanMargin>,
}

impl PlanMargins {
    /// Each with its name in files.
    pub fn named(&self) -> [(&'static str, Option<PlanMargin>); 4] {
        [("residue", self.residue), ("answers", self.answers), ("flashes", self.flashes), ("energy", self.energy)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Origin;

    #[test]
    fn a_margin_is_sure_from_its_factor_on_and_turns_at_its_inverse() {
        // 2.5 of 2 L* is 1.25: turned by a residue of 0.8 times as much.
        let margin = |factor| Margin::new(Figure::Residue, 2.5, 2.0, factor).unwrap();
        assert_eq!((margin(None).value(), margin(None).turns_at()), (1.25, 0.8));
        assert_eq!([None, Some(1.25), Some(1.26)].map(|factor| margin(factor).sure()), [None, Some(true), Some(false)]);
        assert_eq!(Margin::new(Figure::Energy, 1.0, 0.0, Some(2.0)), None, "no factor brings it to nothing");
        // 2 where 2.5 are needed.
        let certainty = Certainty { durations: Some(1.25), ..Certainty::default() };
        let too_little = Margin::of_too_little(Figure::Durations, 2.0, 2.5, &certainty).unwrap();
        assert_eq!((too_little.value(), too_little.turns_at(), too_little.sure()), (1.25, 1.25, Some(true)));
        assert_eq!(Margin::of_too_little(Figure::Durations, 0.0, 2.5, &certainty), None);
    }

    #[test]
    fn a_limit_is_kept_up_to_the_inverse_of_the_factor_and_broken_above_itself() {
        let holds = |reached, factor| {
            PlanMargin { reached, limit: LimitValue { value: 2.0, origin: Origin::RulePage }, factor }.holds()
        };
        assert_eq!(
            [1.0, 1.01, 2.0, 2.01].map(|reached| holds(reached, Some(2.0))),
            [Holds::Kept, Holds::Open, Holds::Open, Holds::Broken]
        );
        assert_eq!([0.0, 2.0, 2.01].map(|reached| holds(reached, None)), [Holds::Open, Holds::Open, Holds::Broken]);
    }
}
