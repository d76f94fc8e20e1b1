//! How much of a flash an area is: a window of a few square millimetres that flashes is not a panel that flashes.
//!
//! Knows areas and how far away the reader is, and nothing of when or why something flashes.

use crate::plan::Plan;

/// The area from which on a flash counts whole.
#[derive(Clone, Copy, Debug)]
pub(super) struct FlashWeight {
    whole_mm2: f64,
}

impl FlashWeight {
    /// That of a plan: the solid angle from which on `flashes-too-fast` takes an area for large, as it lies on a panel at the
    /// reader's distance; the whole panel, where that is smaller.
    pub(super) fn new(plan: &Plan) -> Self {
        let large_mm2 = plan.limits.flashes_too_fast.sr.value * plan.viewing_distance_mm.powi(2);
        Self { whole_mm2: large_mm2.min(plan.display.area_mm2(plan.display.size.pixels())) }
    }

    /// The weight of a flash of an area, mm2: 1 for a whole one, for a smaller one its share of that.
    pub(super) fn of(self, area_mm2: f64) -> f64 {
        if area_mm2 >= self.whole_mm2 { 1.0 } else { area_mm2 / self.whole_mm2 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flash_weighs_its_share_of_a_large_one_and_never_more_than_one() {
        let weight = FlashWeight { whole_mm2: 200.0 };
        assert!([0.0, 1.0, 50.0, 200.0, 5000.0].map(|mm2| weight.of(mm2)) == [0.0, 0.005, 0.25, 1.0, 1.0]);
        assert!(FlashWeight { whole_mm2: 0.0 }.of(0.0) == 1.0);
    }
}
