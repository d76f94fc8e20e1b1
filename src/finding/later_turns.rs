//! What the later turns of a plan that loops bring, beside its first one.

use super::Finding;

/// The turns after the first one.
#[derive(Clone, Debug, Default)]
pub struct LaterTurns {
    /// How many turns were played, the first one included.
    pub played: u64,
    /// Whether the panel ends its turns as it ended the one before: later ones bring nothing new.
    pub repeats: bool,
    /// The first finding of every rule that found nothing in the first turn, its steps counted in its turn.
    pub findings: Vec<OfTurn>,
}

/// A finding of a later turn.
#[derive(Clone, Debug)]
pub struct OfTurn {
    /// The turn at the end of which it was there, from 1.
    pub turn: u64,
    /// The finding.
    pub finding: Finding,
}
