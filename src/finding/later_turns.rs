//! Findings of the later turns of a plan that loops, in addition to those of its first turn.

use super::Finding;

/// The turns after the first one.
#[derive(Clone, Debug, Default)]
pub struct LaterTurns {
    /// How many turns were played, including the first one.
    pub played: u64,
    /// Whether the panel ends a turn in the same state as the turn before, so that later ones bring nothing new.
    pub repeats: bool,
    /// The first update that is lost in a later turn and not in the first.
    pub lost: Option<LostLater>,
    /// The first finding of every rule that found nothing in the first turn, its steps counted in its turn.
    pub findings: Vec<OfTurn>,
}

/// An update that is lost in a later turn: the controller is still busy with what came before.
#[derive(Clone, Debug, PartialEq)]
pub struct LostLater {
    /// The turn, from 1.
    pub turn: u64,
    /// Its step, counted in its turn, in words.
    pub step: String,
    /// The name of its mode.
    pub mode: String,
    /// The `after_ms` of the step with which it would be taken, whole ms; `None` where a person decides when the step comes.
    pub after_ms: Option<f64>,
}

/// A finding of a later turn.
#[derive(Clone, Debug)]
pub struct OfTurn {
    /// The turn at whose end it was there, from 1.
    pub turn: u64,
    /// The finding.
    pub finding: Finding,
}
