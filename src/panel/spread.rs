//! How residues spread over the pixels of a level: counts in narrow bins, kept up to date, from which the middle and the
//! ends can be read at any time.
//!
//! A bin knows one value exactly and counts what lies beside it. The median is therefore exact wherever the middle falls on
//! such a value, and names the bin otherwise: then the values themselves must be looked at.

use std::{
    cmp::Ordering,
    ops::{Deref, DerefMut},
    rc::Rc,
};

use super::law::{Residue, Tones};
use crate::{change::TileLevels, display::Level};

/// Bins a unit of L*.
const BINS_PER_L: f64 = 64.0;
/// Bins that are held together.
const PAGE: usize = 32;

/// The values (L*) of all pixels of one level. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(crate) struct Spread {
    /// The least value that there can be.
    lowest: f64,
    pages: Rc<[Page]>,
    total: u64,
}

#[derive(Clone, Debug, Default)]
struct Page {
    total: u64,
    bins: Option<Rc<[Bin; PAGE]>>,
}

/// How what shows of the residues is spread, level by level. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(crate) struct Spreads {
    tones: Rc<Tones>,
    of_level: Vec<Spread>,
    are_known: bool,
}

impl Spreads {
    /// The spreads of a panel without pixels.
    pub(crate) fn new(tones: Rc<Tones>, levels: usize) -> Self {
        let spread = |level| Spread::new(tones.shown_range(level as Level));
        Self { of_level: (0..levels).map(spread).collect(), tones, are_known: true }
    }

    /// How many bins there are, of all levels.
    pub(crate) fn bins(&self) -> usize {
        self.of_level.iter().map(Spread::bins).sum()
    }

    /// Whether they say what is on the panel.
    pub(crate) fn are_known(&self) -> bool {
        self.are_known
    }

    /// Lets them go: what moves from here on is not counted, and all pixels must be counted again.
    pub(crate) fn forget(&mut self) {
        self.are_known = false;
    }

    /// Takes them back: nothing moved since they were let go.
    pub(crate) fn hold_again(&mut self) {
        self.are_known = true;
    }

    /// Counts all pixels again: `pixels` hands each to what it is given, several of one kind together or one by one.
    pub(crate) fn count_anew(&mut self, pixels: impl FnOnce(&mut Recount<'_>)) {
        let places = self.of_level.iter().map(Spread::bins).max().unwrap_or(0) + SIDES_OF_ZERO;
        let mut recount = Recount {
            tones: &self.tones,
            lowest: self.of_level.iter().map(|spread| spread.lowest).collect(),
            counts: vec![0; places * self.of_level.len()],
            places_of_level: places,
        };
        pixels(&mut recount);
        for (spread, counts) in self.of_level.iter_mut().zip(recount.counts.chunks(places)) {
            spread.take(counts);
        }
        self.are_known = true;
    }

    /// Takes note of pixels that had one level and residue, and now have others.
    pub(crate) fn moved(&mut self, before: (Level, Residue), after: (Level, Residue), pixels: u64) {
        if self.are_known {
            self.of_level[usize::from(before.0)].change(self.tones.shown(before.0, before.1), -(pixels as i64));
            self.of_level[usize::from(after.0)].change(self.tones.shown(after.0, after.1), pixels as i64);
        }
    }
}

/// Where, among so many places, kinds of pixels with that key are remembered until another kind takes the place. The number of
/// places is a power of two.
#[inline]
pub(super) fn place_of(key: u64, places: usize) -> usize {
    debug_assert!(places.is_power_of_two());
    // Where the number is not known beforehand, a mask takes less time than a remainder.
    (key.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> (u64::BITS - places.trailing_zeros())) as usize & (places - 1)
}

/// Spreads while all pixels are counted.
pub(crate) struct Recount<'t> {
    tones: &'t Tones,
    /// The least value of each level.
    lowest: Vec<f64>,
    /// How many pixels each bin has, those of one level after those of another. The bin of 0 has three places: for what is below
    /// 0, for 0 itself, which most of a page shows, and for what is above.
    counts: Vec<u32>,
    places_of_level: usize,
}

/// As many places more than bins a level has while all pixels are counted.
const SIDES_OF_ZERO: usize = 2;

/// The place of a value among the bins of a level, where that of 0 has three.
#[inline]
fn place_beside_zero(value: f64, lowest: f64) -> usize {
    bin_of(value, lowest) + usize::from(value >= 0.0) + usize::from(value > 0.0)
}

impl Recount<'_> {
    /// Counts pixels of a level that have one residue.
    #[inline]
    pub(crate) fn count(&mut self, level: Level, residue: Residue, pixels: u32) {
        let place = self.place(level, residue);
        self.counts[place] += pixels;
    }

    #[inline]
    fn place(&self, level: Level, residue: Residue) -> usize {
        let value = self.tones.shown(level, residue);
        let at = place_beside_zero(value, self.lowest[usize::from(level)]).min(self.places_of_level - 1);
        usize::from(level) * self.places_of_level + at
    }

    /// Counts all pixels of a tile: first where each belongs, for several at a time, then all of them.
    pub(crate) fn count_all(&mut self, levels: &TileLevels, residues: &[Residue; 64]) {
        let mut places = [0_u32; 64];
        for (place, (level, residue)) in places.iter_mut().zip(levels.iter().zip(residues)) {
            *place = self.place(*level, *residue) as u32;
        }
        for place in places {
            self.counts[place as usize] += 1;
        }
    }
}

impl Deref for Spreads {
    type Target = [Spread];

    fn deref(&self) -> &[Spread] {
        debug_assert!(self.are_known, "they were let go");
        &self.of_level
    }
}

impl DerefMut for Spreads {
    fn deref_mut(&mut self) -> &mut [Spread] {
        &mut self.of_level
    }
}

/// Values that lie close together: how many are one of them, and how many are below and above that one.
#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    value: f64,
    /// Below it, equal to it, above it.
    counts: [u32; 3],
}

/// Where the middle lies, or an end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Ranked {
    /// On this value.
    Exactly(f64),
    /// In this bin, as the value of this rank among those of the bin.
    Within(usize, u64),
}

/// Stands for a value that no bin has: all values lie below it.
const UNKNOWN: f64 = f64::INFINITY;

impl Bin {
    /// So many values, none of which is known.
    fn of_unknown(count: u32) -> Self {
        Self { value: UNKNOWN, counts: [count, 0, 0] }
    }

    fn total(&self) -> u64 {
        self.counts.iter().map(|count| u64::from(*count)).sum()
    }

    #[inline]
    fn change(&mut self, value: f64, change: i64) {
        if self.counts == [0; 3] {
            self.value = value;
        }
        let side = usize::from(value >= self.value) + usize::from(value > self.value);
        self.counts[side] = self.counts[side].wrapping_add(change as u32);
    }

    fn ranked(&self, at: usize, rank: u64) -> Ranked {
        let [below, equal, _] = self.counts.map(u64::from);
        let is_known = (below..below + equal).contains(&rank);
        if is_known { Ranked::Exactly(self.value) } else { Ranked::Within(at, rank) }
    }
}

/// The bin of a value, where the bins begin with the lowest.
#[inline]
fn bin_of(value: f64, lowest: f64) -> usize {
    ((value - lowest) * BINS_PER_L) as usize
}

impl Spread {
    /// No values; all that come will lie between these two.
    pub(crate) fn new((lowest, highest): (f64, f64)) -> Self {
        let bins = ((highest - lowest) * BINS_PER_L) as usize + 2;
        Self { lowest, pages: vec![Page::default(); bins.div_ceil(PAGE)].into(), total: 0 }
    }

    /// How many bins there are.
    fn bins(&self) -> usize {
        self.pages.len() * PAGE
    }

    /// Puts these counts in the place of its own: as many as there are bins or more, with three for the bin of 0.
    fn take(&mut self, counts: &[u32]) {
        let zero = bin_of(0.0, self.lowest);
        self.total = 0;
        for (at, page) in Rc::make_mut(&mut self.pages).iter_mut().enumerate() {
            // A page that does not hold the bin of 0 lies on one side of it.
            let (from, to) = (at * PAGE, (at + 1) * PAGE);
            let first = if from > zero { from + SIDES_OF_ZERO } else { from };
            let last = if to > zero { to + SIDES_OF_ZERO } else { to };
            page.total = counts[first..last].iter().map(|count| u64::from(*count)).sum();
            self.total += page.total;
            page.bins = (page.total > 0).then(|| {
                Rc::new(std::array::from_fn(|place| match (from + place).cmp(&zero) {
                    Ordering::Less => Bin::of_unknown(counts[from + place]),
                    Ordering::Equal => Bin { value: 0.0, counts: std::array::from_fn(|side| counts[zero + side]) },
                    Ordering::Greater => Bin::of_unknown(counts[from + place + SIDES_OF_ZERO]),
                }))
            });
        }
    }

    /// How many values there are.
    pub(crate) fn total(&self) -> u64 {
        self.total
    }

    /// Adds a value `change` times, or removes it where negative.
    #[inline]
    pub(crate) fn change(&mut self, value: f64, change: i64) {
        let bin = self.bin_of(value);
        let page = &mut Rc::make_mut(&mut self.pages)[bin / PAGE];
        let bins = Rc::make_mut(page.bins.get_or_insert_with(Rc::default));
        bins[bin % PAGE].change(value, change);
        page.total = page.total.wrapping_add_signed(change);
        self.total = self.total.wrapping_add_signed(change);
    }

    /// The bin of a value.
    #[inline]
    pub(crate) fn bin_of(&self, value: f64) -> usize {
        bin_of(value, self.lowest).min(self.bins() - 1)
    }

    /// From where to where the values of a bin lie, a little more than that.
    pub(crate) fn range_of(&self, bin: usize) -> (f64, f64) {
        const ROUNDING: f64 = 1e-9;
        let lowest = self.lowest + bin as f64 / BINS_PER_L;
        (lowest - ROUNDING, lowest + 1.0 / BINS_PER_L + ROUNDING)
    }

    /// The value that `rank` others come before.
    pub(crate) fn ranked(&self, rank: u64) -> Ranked {
        let mut before = 0;
        for (at, page) in self.pages.iter().enumerate() {
            if before + page.total <= rank {
                before += page.total;
                continue;
            }
            for (place, bin) in page.bins.iter().flat_map(|bins| bins.iter().enumerate()) {
                if before + bin.total() > rank {
                    return bin.ranked(at * PAGE + place, rank - before);
                }
                before += bin.total();
            }
        }
        Ranked::Exactly(0.0)
    }

    /// Makes the value of that rank in a bin the one that the bin knows exactly, and gives it; `values` are all of the bin.
    pub(crate) fn know_exactly(&mut self, bin: usize, rank: u64, values: &mut [f64]) -> f64 {
        let at = (rank as usize).min(values.len().saturating_sub(1));
        if values.is_empty() {
            return 0.0;
        }
        let (below, value, above) = values.select_nth_unstable_by(at, f64::total_cmp);
        let value = *value;
        let less = below.iter().filter(|other| **other < value).count();
        let more = above.iter().filter(|other| **other > value).count();
        let counts = [less, values.len() - less - more, more].map(|count| count as u32);
        let page = &mut Rc::make_mut(&mut self.pages)[bin / PAGE];
        let bins = Rc::make_mut(page.bins.get_or_insert_with(Rc::default));
        bins[bin % PAGE] = Bin { value, counts };
        value
    }

    /// Adds those values that are furthest from `middle`, either way, with how many there are, until `enough` were added on
    /// each side; each is right to the width of a bin, and exact where its bin knows it.
    pub(crate) fn farthest(&self, middle: f64, enough: u64, found: &mut Vec<(f64, u64)>) {
        let centre = self.bin_of(middle);
        let rising = (0..self.pages.len()).flat_map(|page| self.bins_of(page)).take_while(|(at, _)| *at <= centre);
        self.take_from(rising, middle, enough, found);
        let falling = (0..self.pages.len()).rev().flat_map(|page| self.bins_of(page).rev());
        self.take_from(falling.take_while(|(at, _)| *at > centre), middle, enough, found);
    }

    fn bins_of(&self, page: usize) -> impl DoubleEndedIterator<Item = (usize, &Bin)> {
        let bins = self.pages[page].bins.as_deref().filter(|_| self.pages[page].total > 0);
        let bins = bins.map_or(&[][..], |bins| &bins[..]);
        bins.iter().enumerate().map(move |(place, bin)| (page * PAGE + place, bin))
    }

    fn take_from<'b>(
        &self,
        bins: impl Iterator<Item = (usize, &'b Bin)>,
        middle: f64,
        enough: u64,
        found: &mut Vec<(f64, u64)>,
    ) {
        const QUARTER: f64 = 0.25 / BINS_PER_L;
        let mut taken = 0;
        for (at, bin) in bins.filter(|(_, bin)| bin.total() > 0) {
            // What is not known lies in the middle of its bin, give or take half a width.
            let middle_of_bin = self.lowest + (at as f64 + 0.5) / BINS_PER_L;
            let value = if bin.value < UNKNOWN { bin.value } else { middle_of_bin + QUARTER };
            for (off, count) in [-QUARTER, 0.0, QUARTER].into_iter().zip(bin.counts) {
                if count > 0 {
                    found.push(((value + off - middle).abs(), u64::from(count)));
                }
            }
            taken += bin.total();
            if taken >= enough {
                return;
            }
        }
    }
}

#[cfg(test)]
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

    fn value_at(spread: &mut Spread, rank: u64, values: &[f64]) -> f64 {
        match spread.ranked(rank) {
            Ranked::Exactly(value) => value,
            Ranked::Within(bin, rank) => {
                let mut of_bin: Vec<f64> =
                    values.iter().copied().filter(|value| spread.bin_of(*value) == bin).collect();
                spread.know_exactly(bin, rank, &mut of_bin)
            }
        }
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]
        /// The running median against sorting, with values that share bins and values that do not.
        #[test]
        #[expect(clippy::float_cmp, reason = "the very values that were put in come out")]
        fn the_running_median_is_the_middle_of_the_sorted_values(
            steps in prop::collection::vec((-8_i32..8, prop::bool::ANY, 1_i64..4, prop::bool::ANY), 1..80),
        ) {
            let mut spread = Spread::new((-60.0, 40.0));
            let mut values: Vec<f64> = Vec::new();
            for (value, take, times, is_close) in steps {
                let value = f64::from(value) / if is_close { 3000.0 } else { 3.0 };
                if take {
                    if let Some(at) = values.iter().position(|known| *known == value) {
                        values.remove(at);
                        spread.change(value, -1);
                    }
                } else {
                    values.extend(std::iter::repeat_n(value, times as usize));
                    spread.change(value, times);
                }
                prop_assert_eq!(spread.total(), values.len() as u64);
                if !values.is_empty() {
                    let ranks = [(values.len() as u64 - 1) / 2, values.len() as u64 / 2];
                    let [lower, upper] = ranks.map(|rank| value_at(&mut spread, rank, &values));
                    prop_assert_eq!(f64::midpoint(lower, upper), sorted_median(&values));
                }
            }
        }

        /// Bins that were filled in one go know as much as those that were filled one by one.
        #[test]
        #[expect(clippy::float_cmp, reason = "the very values that were put in come out")]
        fn what_is_counted_anew_has_the_same_ranks(values in prop::collection::vec(-40_i32..40, 0..60), zeros in 0_usize..9) {
            let mut spread = Spread::new((-60.0, 40.0));
            let others: Vec<f64> = values.iter().filter(|value| **value != 0).map(|value| f64::from(*value) / 900.0).collect();
            let mut all = others;
            all.extend(std::iter::repeat_n(0.0, zeros));
            let mut counts = vec![0; spread.bins() + SIDES_OF_ZERO];
            for value in &all {
                counts[place_beside_zero(*value, spread.lowest)] += 1;
            }
            spread.take(&counts);
            all.sort_by(f64::total_cmp);
            prop_assert_eq!(spread.total(), all.len() as u64);
            for rank in 0..all.len() {
                prop_assert_eq!(value_at(&mut spread, rank as u64, &all), all[rank]);
            }
        }

        /// The furthest values against sorting by distance: right to a bin's width.
        #[test]
        fn the_farthest_values_are_those_at_the_ends(
            values in prop::collection::vec((-400_i32..400, 1_i64..4), 1..60), middle in -10_i32..10, rank in 0_usize..20,
        ) {
            let mut spread = Spread::new((-60.0, 40.0));
            let middle = f64::from(middle) / 4.0;
            let mut far: Vec<f64> = Vec::new();
            for (value, times) in values {
                let value = f64::from(value) / 37.0;
                spread.change(value, times);
                far.extend(std::iter::repeat_n((value - middle).abs(), times as usize));
            }
            far.sort_by(|one, other| other.total_cmp(one));
            let rank = rank.min(far.len() - 1);
            let mut found = Vec::new();
            spread.farthest(middle, rank as u64 + 1, &mut found);
            found.sort_by(|one, other| other.0.total_cmp(&one.0));
            let mut left = rank as u64;
            let at = found.iter().find(|(_, count)| { let here = left < *count; left = left.saturating_sub(*count); here });
            prop_assert!((at.unwrap().0 - far[rank]).abs() <= 1.0 / BINS_PER_L, "{:?} {:?}", at, far[rank]);
        }
    }
}
