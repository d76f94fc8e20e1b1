//! Two lists that should be the same, aligned with the fewest edits. Knows numbers, not what they stand for.

/// The two have too many differences to find out what belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooDifferent;

/// What belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pair {
    Both(usize, usize),
    /// What only the first has, and where the second was by then.
    First(usize, usize),
    /// What only the second has.
    Second(usize),
}

/// At most this many cells of the table are filled.
const MOST_CELLS: usize = 200_000_000;

/// Aligns two lists with the fewest insertions, deletions and substitutions; `cost` says whether two elements may belong
/// together, and whether that is a substitution. Of several such ways, the one that pairs earlier elements.
///
/// Only a band around the diagonal is filled, and a wider one if the way leaves it: Ukkonen, "Algorithms for approximate
/// string matching", Information and Control 64, 1985.
pub(super) fn align(
    first: usize,
    second: usize,
    cost: &dyn Fn(usize, usize) -> Option<u32>,
) -> Result<Vec<Pair>, TooDifferent> {
    let mut band = first.abs_diff(second) + 16;
    loop {
        let width = 2 * band + 1;
        if (first + 1).saturating_mul(width) > MOST_CELLS {
            return Err(TooDifferent);
        }
        let table = Table::fill(first, second, band, cost);
        if table.least() as usize <= band || band >= first + second {
            return Ok(table.way(cost));
        }
        band *= 2;
    }
}

/// The least costs from each pair of places to the ends, within a band.
struct Table {
    first: usize,
    second: usize,
    band: usize,
    costs: Vec<u32>,
}

const NEVER: u32 = u32::MAX / 2;

impl Table {
    fn fill(first: usize, second: usize, band: usize, cost: &dyn Fn(usize, usize) -> Option<u32>) -> Self {
        let mut table = Self { first, second, band, costs: vec![NEVER; (first + 1) * (2 * band + 1)] };
        for one in (0..=first).rev() {
            for other in (one.saturating_sub(band)..=second.min(one + band)).rev() {
                let least = if (one, other) == (first, second) {
                    0
                } else {
                    let both = table.both(one, other, cost);
                    both.min(table.at(one + 1, other) + 1).min(table.at(one, other + 1) + 1)
                };
                let place = one * (2 * band + 1) + other + band - one;
                table.costs[place] = least.min(NEVER);
            }
        }
        table
    }

    fn at(&self, one: usize, other: usize) -> u32 {
        if one > self.first || other > self.second || one.abs_diff(other) > self.band {
            return NEVER;
        }
        self.costs[one * (2 * self.band + 1) + other + self.band - one]
    }

    /// The least cost if these two belong together.
    fn both(&self, one: usize, other: usize, cost: &dyn Fn(usize, usize) -> Option<u32>) -> u32 {
        if one == self.first || other == self.second {
            return NEVER;
        }
        cost(one, other).map_or(NEVER, |cost| self.at(one + 1, other + 1) + cost)
    }

    fn least(&self) -> u32 {
        self.at(0, 0)
    }

    fn way(&self, cost: &dyn Fn(usize, usize) -> Option<u32>) -> Vec<Pair> {
        let (mut one, mut other) = (0, 0);
        let mut pairs = Vec::new();
        while (one, other) != (self.first, self.second) {
            let least = self.at(one, other);
            if self.both(one, other, cost) == least {
                pairs.push(Pair::Both(one, other));
                (one, other) = (one + 1, other + 1);
            } else if one < self.first && self.at(one + 1, other) + 1 == least {
                pairs.push(Pair::First(one, other));
                one += 1;
            } else {
                pairs.push(Pair::Second(other));
                other += 1;
            }
        }
        pairs
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The number of edits of a full table that is filled from the beginning, without a band.
    fn plain_distance(one: &[u8], other: &[u8]) -> u32 {
        let mut row: Vec<u32> = (0..=other.len() as u32).collect();
        for (at, first) in one.iter().enumerate() {
            let mut next = vec![at as u32 + 1];
            for (column, second) in other.iter().enumerate() {
                let both = if first / 2 == second / 2 { row[column] + u32::from(first != second) } else { NEVER };
                next.push(both.min(row[column + 1] + 1).min(next[column] + 1));
            }
            row = next;
        }
        row[other.len()]
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        /// Elements belong together if they differ in the last bit at most.
        #[test]
        fn the_way_has_the_fewest_edits_and_keeps_the_order(
            one in prop::collection::vec(0_u8..6, 0..40), other in prop::collection::vec(0_u8..6, 0..40),
        ) {
            let cost = |first: usize, second: usize| {
                (one[first] / 2 == other[second] / 2).then(|| u32::from(one[first] != other[second]))
            };
            let pairs = align(one.len(), other.len(), &cost).unwrap();
            let edits: u32 = pairs.iter().map(|pair| match pair {
                Pair::Both(first, second) => cost(*first, *second).unwrap(),
                Pair::First(..) | Pair::Second(_) => 1,
            }).sum();
            prop_assert_eq!(edits, plain_distance(&one, &other));
            let firsts = pairs.iter().filter_map(|pair| match pair {
                Pair::Both(first, _) | Pair::First(first, _) => Some(*first),
                Pair::Second(_) => None,
            });
            prop_assert_eq!(firsts.collect::<Vec<_>>(), (0..one.len()).collect::<Vec<_>>());
        }
    }
}
