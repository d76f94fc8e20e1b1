//! Numbers from a seed, so that every machine measures the same pictures.

/// A small generator of numbers from a seed (Knuth's constants for linear congruences).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// A number below `sides`.
    pub(crate) fn roll(&mut self, sides: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % sides
    }
}
