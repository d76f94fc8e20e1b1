//! The residue that modes leave: in the pixels that they drive, by temperature and by pair of levels, and in the pixels
//! next to those.
//!
//! Contains only figures; the model knows what they do to a panel.

use super::Level;

/// What a mode leaves in the pixels that it drives.
#[derive(Clone, Debug, PartialEq)]
pub struct ResidueFigures {
    /// The share of the previous residue that stays.
    pub keeps: f64,
    /// L* left over for each L* of a swing towards white.
    pub lighter: f64,
    /// L* left over for each L* of a swing towards black.
    pub darker: f64,
    /// L* left over if the pixel started from a level outside `from`.
    pub wrong_start: f64,
    /// The residue of swings between two given levels, which replaces the result of `lighter` and `darker`.
    pub pairs: Vec<LevelPair>,
}

/// What the swing from one level to another leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelPair {
    /// The level before.
    pub from: Level,
    /// The level after; may be the same.
    pub to: Level,
    /// How much lighter than its level the pixel is left, L*.
    pub leaves_l: f64,
}

impl Default for ResidueFigures {
    fn default() -> Self {
        Self { keeps: 0.0, lighter: 0.0, darker: 0.0, wrong_start: 3.0, pairs: Vec::new() }
    }
}

impl ResidueFigures {
    /// The residue of a swing between two levels, if it is given for this pair.
    pub fn of_pair(&self, from: Level, to: Level) -> Option<f64> {
        self.pairs.iter().find(|pair| (pair.from, pair.to) == (from, to)).map(|pair| pair.leaves_l)
    }
}

/// What a mode leaves at each temperature.
///
/// Already true of it: at least one entry, temperatures rise.
#[derive(Clone, Debug, PartialEq)]
pub struct ResidueTable {
    entries: Vec<(f64, ResidueFigures)>,
}

impl From<ResidueFigures> for ResidueTable {
    /// The same at every temperature.
    fn from(residue: ResidueFigures) -> Self {
        Self { entries: vec![(0.0, residue)] }
    }
}

impl Default for ResidueTable {
    fn default() -> Self {
        ResidueFigures::default().into()
    }
}

impl ResidueTable {
    /// The figures from each temperature up (degrees C), rising; an entry may be missing.
    pub(super) fn from_entries(entries: Vec<(f64, ResidueFigures)>) -> Option<Self> {
        (!entries.is_empty()).then_some(Self { entries })
    }

    /// The figures at a temperature: those of the last entry that begins there or below; below the first entry, those
    /// of the first.
    pub fn at(&self, temperature_c: f64) -> &ResidueFigures {
        let after = self.entries.partition_point(|(from, _)| *from <= temperature_c);
        &self.entries[after.saturating_sub(1)].1
    }

    /// The figures of every entry.
    pub fn entries(&self) -> impl Iterator<Item = &ResidueFigures> {
        self.entries.iter().map(|(_, residue)| residue)
    }

    pub(super) fn entries_mut(&mut self) -> impl Iterator<Item = &mut ResidueFigures> {
        self.entries.iter_mut().map(|(_, residue)| residue)
    }
}

/// The residue of a drive in the side neighbours that it does not drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BesideResidue {
    /// L* for each L* by which a neighbour became lighter.
    pub lighter: f64,
    /// L* for each L* by which a neighbour became darker.
    pub darker: f64,
    /// The largest residue that this can cause, in either direction, L*.
    pub most_l: f64,
}

impl BesideResidue {
    /// The default of the largest residue that this can cause, L*.
    pub const MOST_L: f64 = 5.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn residues_hold_from_their_temperature_to_the_next() {
        let of = |keeps| ResidueFigures { keeps, ..ResidueFigures::default() };
        let table = ResidueTable::from_entries(vec![(0.0, of(0.9)), (20.0, of(0.5))]).unwrap();
        let tenths = |celsius| (table.at(celsius).keeps * 10.0).round() as u32;
        assert_eq!([-5.0, 0.0, 19.9, 20.0, 60.0].map(tenths), [9, 9, 9, 5, 5]);
        assert_eq!(ResidueTable::from_entries(Vec::new()), None);
    }

    #[test]
    fn a_pair_holds_in_its_own_direction() {
        let residue =
            ResidueFigures { pairs: vec![LevelPair { from: 0, to: 15, leaves_l: -1.5 }], ..ResidueFigures::default() };
        assert_eq!((residue.of_pair(0, 15), residue.of_pair(15, 0)), (Some(-1.5), None));
    }
}
