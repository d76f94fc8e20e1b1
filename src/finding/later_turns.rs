//! Findings of the later turns of a plan that loops, in addition to those of its first turn.

use super::Finding;

/// The turns after the first one.
#[derive(Clone, Debug, Default)]
pub struct LaterTurns {
    /// How many turns were played, including the first one.
    pub played: u64,
    /// Whether the panel ends a turn in the same state as the turn before, so that later ones bring nothing new.
    pub repeats: bool,
    /// The first finding of every rule that found nothing in the first turn, its steps counted in its turn.
    pub findings: Vec<OfTurn>,
}

/// A finding of a later turn.
#[derive(Clone, Debug)]
pub struct OfTurn {
    /// The turn at whose end it was there, from 1.
    pub turn: u64,
    /// The finding.
    pub finding: Finding,
}
