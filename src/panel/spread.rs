//! How residues spread over the pixels of a level: counts kept up to date, the median at any time.

use std::collections::BTreeMap;

/// A multiset of residues (L*) with a running median.
#[derive(Clone, Debug, Default)]
pub(crate) struct Spread {
    counts: BTreeMap<u64, u64>,
    total: u64,
    /// A key near the middle, and how many values are below it.
    cursor: u64,
    below: u64,
}

impl Spread {
    /// How many values there are.
    pub(crate) fn total(&self) -> u64 {
        self.total
    }

    /// Adds a value `change` times, or takes it away where negative.
    pub(crate) fn change(&mut self, value: f64, change: i64) {
        if change == 0 {
            return;
        }
        let key = key_of(value);
        let count = self.counts.entry(key).or_default();
        *count = count.checked_add_signed(change).unwrap_or(0);
        if *count == 0 {
            self.counts.remove(&key);
        }
        self.total = self.total.checked_add_signed(change).unwrap_or(0);
        if key < self.cursor {
            self.below = self.below.checked_add_signed(change).unwrap_or(0);
        }
    }

    /// The median; of an even count the mean of the two in the middle. 0 where there is nothing.
    pub(crate) fn median(&mut self) -> f64 {
        if self.total == 0 {
            return 0.0;
        }
        let upper = self.at_rank(self.total / 2);
        if self.total % 2 == 1 {
            return upper;
        }
        let lower = self.at_rank(self.total / 2 - 1);
        f64::midpoint(lower, upper)
    }

    /// The value that `rank` others are before.
    fn at_rank(&mut self, rank: u64) -> f64 {
        while self.below > rank {
            let Some((key, count)) = self.counts.range(..self.cursor).next_back() else { break };
            self.below -= count;
            self.cursor = *key;
        }
        loop {
            let here = self.counts.get(&self.cursor).copied().unwrap_or(0);
            if self.below + here > rank {
                return value_of(self.cursor);
            }
            let Some((key, _)) = self.counts.range(self.cursor + 1..).next() else {
                return value_of(self.cursor);
            };
            self.below += here;
            self.cursor = *key;
        }
    }
}

/// A key that orders as the value does.
fn key_of(value: f64) -> u64 {
    // Adding zero makes minus zero plus zero.
    let bits = (value + 0.0).to_bits();
    if bits >> 63 == 0 { bits | 1 << 63 } else { !bits }
}

fn value_of(key: u64) -> f64 {
    f64::from_bits(if key >> 63 == 1 { key & !(1 << 63) } else { !key })
}

/// Collects changes of many pixels before they reach the spreads: most are the same few.
#[derive(Debug)]
pub(crate) struct SpreadChanges {
    places: Vec<(u8, u64, i64)>,
}

impl Clone for SpreadChanges {
    /// Once all is settled there is nothing to be copied.
    fn clone(&self) -> Self {
        Self::new()
    }
}

const PLACES: usize = 512;

impl SpreadChanges {
    /// Nothing collected, and no room yet to do so.
    pub(crate) fn new() -> Self {
        Self { places: Vec::new() }
    }

    /// Makes room to collect.
    pub(crate) fn make_room(&mut self) {
        self.places.resize(PLACES, (0, 0, 0));
    }

    /// Notes that a level has a residue `change` times more (or less).
    pub(crate) fn note(&mut self, level: u8, value: f64, change: i64, spreads: &mut [Spread]) {
        let bits = (value + 0.0).to_bits();
        let mixed = (bits ^ u64::from(level) << 57).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let place = &mut self.places[(mixed >> 55) as usize % PLACES];
        if place.2 != 0 && (place.0, place.1) != (level, bits) {
            spreads[usize::from(place.0)].change(f64::from_bits(place.1), place.2);
            place.2 = 0;
        }
        *place = (level, bits, place.2 + change);
    }

    /// Brings all that was noted to the spreads.
    pub(crate) fn settle(&mut self, spreads: &mut [Spread]) {
        for place in &mut self.places {
            if place.2 != 0 {
                spreads[usize::from(place.0)].change(f64::from_bits(place.1), place.2);
                place.2 = 0;
            }
        }
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "the figures are exact: whole numbers, or the very values put in")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sorted_median(values: &[f64]) -> f64 {
        let mut values = values.to_vec();
        values.sort_by(f64::total_cmp);
        match values.len() {
            0 => 0.0,
            length if length % 2 == 1 => values[length / 2],
            length => f64::midpoint(values[length / 2 - 1], values[length / 2]),
        }
    }

    proptest! {
        /// The running median against sorting.
        #[test]
        fn the_running_median_is_the_middle_of_the_sorted_values(
            steps in prop::collection::vec((-8_i32..8, prop::bool::ANY, 1_i64..4), 1..80),
        ) {
            let mut spread = [Spread::default()];
            let mut changes = SpreadChanges::new();
            changes.make_room();
            let mut values: Vec<f64> = Vec::new();
            for (value, take, times) in steps {
                let value = f64::from(value) / 3.0;
                if take {
                    if let Some(at) = values.iter().position(|known| *known == value) {
                        values.remove(at);
                        changes.note(0, value, -1, &mut spread);
                    }
                } else {
                    values.extend(std::iter::repeat_n(value, times as usize));
                    changes.note(0, value, times, &mut spread);
                }
                changes.settle(&mut spread);
                prop_assert_eq!(spread[0].total(), values.len() as u64);
                prop_assert_eq!(spread[0].median(), sorted_median(&values));
            }
        }
    }
}
