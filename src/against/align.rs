//! Two lists that should be the same, aligned with the fewest edits. Knows numbers, not what they stand for.

/// The two have too many differences to find out what belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooDifferent;

/// What belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pair {
    /// An element of the first, and so many of the second from one on.
    Both(usize, usize, usize),
    /// What only the first has, and where the second was by then.
    First(usize, usize),
    /// What only the second has.
    Second(usize),
}

/// Several elements of the second list in a row may be one of the first.
#[derive(Clone, Debug)]
pub(super) struct Rows {
    /// How many elements may be one, from each on; at least one.
    most: Vec<usize>,
    /// How many there are before each element and before the end, if a row is one wherever that seems right by itself.
    before: Vec<usize>,
}

impl Rows {
    /// Every element by itself.
    fn none(elements: usize) -> Self {
        Self { most: vec![1; elements], before: (0..=elements).collect() }
    }

    /// Rows of at most so many elements from each on; `one` says how many of them seem to be one.
    pub(super) fn new(most: Vec<usize>, one: impl Fn(usize) -> usize) -> Self {
        let mut before = Vec::with_capacity(most.len() + 1);
        let (mut rows, mut end) = (0, 0);
        for at in 0..most.len() {
            if at == end {
                (rows, end) = (rows + 1, at + one(at).max(1));
            }
            before.push(rows - 1);
        }
        before.push(rows);
        Self { most, before }
    }

    /// How many rows may be decided otherwise than it seems by each of them.
    fn doubtful(&self) -> usize {
        self.most.iter().filter(|most| **most > 1).count().min(MOST_DOUBTFUL)
    }
}

/// At most this many cells of the table are filled.
const MOST_CELLS: usize = 100_000_000;
/// If more rows than this are decided otherwise than each seems by itself, the way found may have an edit too many.
const MOST_DOUBTFUL: usize = 64;
/// An edit in the unit of costs: all that costs less only decides between ways with as many edits.
pub(super) const EDIT: u64 = 1 << 32;

/// Aligns two lists with the fewest insertions, deletions and substitutions; `cost` says whether two elements may belong
/// together, and whether that is a substitution. Of several such ways, the one that pairs earlier elements.
pub(super) fn align(
    first: usize,
    second: usize,
    cost: &dyn Fn(usize, usize) -> Option<u32>,
) -> Result<Vec<Pair>, TooDifferent> {
    let cost = |one: usize, other: usize, _| cost(one, other).map(|edits| u64::from(edits) * EDIT);
    align_rows(first, &Rows::none(second), &cost)
}

/// The same, where several elements of the second list in a row may be one of the first; `cost` is asked for an element of
/// the first, and so many elements of the second from one on.
///
/// Only a band around the diagonal is filled, and a wider one if the way leaves it: Ukkonen, "Algorithms for approximate
/// string matching", Information and Control 64, 1985. Rows count as one where that seems right.
pub(super) fn align_rows(
    first: usize,
    second: &Rows,
    cost: &dyn Fn(usize, usize, usize) -> Option<u64>,
) -> Result<Vec<Pair>, TooDifferent> {
    let rows = second.before[second.most.len()];
    let mut band = first.abs_diff(rows) + second.doubtful() + 16;
    loop {
        let mut table = Table::new(first, second, band).ok_or(TooDifferent)?;
        table.fill(cost);
        let edits = (table.at(0, 0) / EDIT) as usize;
        if edits + second.doubtful() <= band || band >= first + second.most.len() {
            return Ok(table.way(cost));
        }
        band *= 2;
    }
}

/// The least costs from each pair of places to the ends, within a band.
struct Table<'r> {
    first: usize,
    second: &'r Rows,
    /// The first place of the second list within the band, by the place of the first, and where its costs begin.
    from: Vec<(usize, usize)>,
    costs: Vec<u64>,
}

const NEVER: u64 = u64::MAX / 2;

impl<'r> Table<'r> {
    /// An empty one; nothing if it would be too large.
    fn new(first: usize, second: &'r Rows, band: usize) -> Option<Self> {
        let mut from = Vec::with_capacity(first + 2);
        let mut cells = 0_usize;
        for one in 0..=first {
            let begin = second.before.partition_point(|before| *before + band < one);
            let end = second.before.partition_point(|before| *before <= one + band);
            from.push((begin, cells));
            cells += end.saturating_sub(begin);
            if cells > MOST_CELLS {
                return None;
            }
        }
        from.push((0, cells));
        Some(Self { first, second, from, costs: vec![NEVER; cells] })
    }

    fn fill(&mut self, cost: &dyn Fn(usize, usize, usize) -> Option<u64>) {
        for one in (0..=self.first).rev() {
            let (begin, cells) = self.from[one];
            for place in (cells..self.from[one + 1].1).rev() {
                let other = begin + place - cells;
                let least = if (one, other) == (self.first, self.second.most.len()) {
                    0
                } else {
                    let both = self.rows(other).map(|taken| self.both(one, other, taken, cost)).min().unwrap_or(NEVER);
                    both.min(self.at(one + 1, other) + EDIT).min(self.at(one, other + 1) + EDIT)
                };
                self.costs[place] = least.min(NEVER);
            }
        }
    }

    /// How many elements of the second list may be one, from a place on.
    fn rows(&self, other: usize) -> std::ops::RangeInclusive<usize> {
        1..=self.second.most.get(other).copied().unwrap_or(0)
    }

    fn at(&self, one: usize, other: usize) -> u64 {
        if one > self.first {
            return NEVER;
        }
        let (begin, cells) = self.from[one];
        let place = other.checked_sub(begin).map(|place| cells + place);
        place.filter(|place| *place < self.from[one + 1].1).map_or(NEVER, |place| self.costs[place])
    }

    /// The least cost if these belong together.
    fn both(&self, one: usize, other: usize, taken: usize, cost: &dyn Fn(usize, usize, usize) -> Option<u64>) -> u64 {
        if one == self.first {
            return NEVER;
        }
        cost(one, other, taken).map_or(NEVER, |cost| self.at(one + 1, other + taken) + cost)
    }

    fn way(&self, cost: &dyn Fn(usize, usize, usize) -> Option<u64>) -> Vec<Pair> {
        let (mut one, mut other) = (0, 0);
        let mut pairs = Vec::new();
        while (one, other) != (self.first, self.second.most.len()) {
            let least = self.at(one, other);
            if let Some(taken) = self.rows(other).find(|taken| self.both(one, other, *taken, cost) == least) {
                pairs.push(Pair::Both(one, other, taken));
                (one, other) = (one + 1, other + taken);
            } else if one < self.first && self.at(one + 1, other) + EDIT == least {
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
                let both =
                    if first / 2 == second / 2 { row[column] + u32::from(first != second) } else { u32::MAX / 2 };
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
                Pair::Both(first, second, _) => cost(*first, *second).unwrap(),
                Pair::First(..) | Pair::Second(_) => 1,
            }).sum();
            prop_assert_eq!(edits, plain_distance(&one, &other));
            let firsts = pairs.iter().filter_map(|pair| match pair {
                Pair::Both(first, ..) | Pair::First(first, _) => Some(*first),
                Pair::Second(_) => None,
            });
            prop_assert_eq!(firsts.collect::<Vec<_>>(), (0..one.len()).collect::<Vec<_>>());
        }

        /// Two or three elements may be one that is their sum; the plain way fills the whole table.
        #[test]
        fn rows_are_one_where_that_takes_the_fewest_edits(
            one in prop::collection::vec(1_u8..5, 0..24), other in prop::collection::vec(1_u8..3, 0..40),
            seems in prop::collection::vec(1_usize..4, 40),
        ) {
            let most = |at: usize| (other.len() - at).min(3);
            let rows = Rows::new((0..other.len()).map(most).collect(), |at| seems[at].min(most(at)));
            let cost = |first: usize, at: usize, taken: usize| {
                let sum: u8 = other[at..at + taken].iter().sum();
                (one[first].abs_diff(sum) < 2).then(|| if one[first] == sum { 0 } else { EDIT })
            };
            let mut plain = vec![vec![NEVER; other.len() + 1]; one.len() + 1];
            for (at, column) in (0..=one.len()).flat_map(|at| (0..=other.len()).map(move |column| (at, column))) {
                let mut least = if (at, column) == (0, 0) { 0 } else { NEVER };
                if at > 0 { least = least.min(plain[at - 1][column] + EDIT); }
                if column > 0 { least = least.min(plain[at][column - 1] + EDIT); }
                for taken in 1..=column.min(3) {
                    let both = at.checked_sub(1).and_then(|at| Some(plain[at][column - taken] + cost(at, column - taken, taken)?));
                    least = least.min(both.unwrap_or(NEVER));
                }
                plain[at][column] = least;
            }
            let pairs = align_rows(one.len(), &rows, &cost).unwrap();
            let sum: u64 = pairs.iter().map(|pair| match pair {
                Pair::Both(first, at, taken) => cost(*first, *at, *taken).unwrap(),
                Pair::First(..) | Pair::Second(_) => EDIT,
            }).sum();
            prop_assert_eq!(sum, plain[one.len()][other.len()]);
        }
    }
}
