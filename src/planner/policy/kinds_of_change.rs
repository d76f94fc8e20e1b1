//! The kinds of changes that a firmware can tell apart by itself, before it asks for an update.
//!
//! Knows pixels only as far as their levels and the box around them; what is asked for a kind stands in `rule.rs`.

use crate::display::{Ink, LevelSet};

/// The levels of the pixels that change, in the order in which a firmware would look at them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Levels {
    /// All of them were black or white, and become black or white.
    TwoLevel,
    /// Some were another level, and all become black or white.
    ToTwoLevel,
    /// Some become another level.
    Any,
}

impl Levels {
    /// All there are.
    pub const ALL: [Self; 3] = [Self::TwoLevel, Self::ToTwoLevel, Self::Any];

    /// The word that stands in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::TwoLevel => "two-level",
            Self::ToTwoLevel => "to-two-level",
            Self::Any => "any",
        }
    }

    /// That of pixels with these levels before and after.
    pub(super) fn of(from: LevelSet, to: LevelSet, ink: &Ink) -> Self {
        let two = ink.two_level();
        match (from.is_within(two), to.is_within(two)) {
            (true, true) => Self::TwoLevel,
            (false, true) => Self::ToTwoLevel,
            (_, false) => Self::Any,
        }
    }

    /// The levels that such pixels can have before and after.
    pub(super) fn sets(self, ink: &Ink) -> [LevelSet; 2] {
        match self {
            Self::TwoLevel => [ink.two_level(); 2],
            Self::ToTwoLevel => [ink.all(), ink.two_level()],
            Self::Any => [ink.all(); 2],
        }
    }
}

/// The size of a change: that of the box around it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Extent {
    /// Below the limit.
    Small,
    /// At the limit or above.
    Large,
}

impl Extent {
    /// All there are.
    pub const ALL: [Self; 2] = [Self::Small, Self::Large];

    /// The word that stands in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Small => "small",
            Self::Large => "large",
        }
    }
}

/// Who asked for a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Asker {
    /// A touch, a pen or a key: somebody waits for the answer.
    Person,
    /// The clock or the system: nobody waits.
    Device,
}

impl Asker {
    /// All there are.
    pub const ALL: [Self; 2] = [Self::Person, Self::Device];

    /// The word that stands in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Person => "person",
            Self::Device => "device",
        }
    }
}

/// A kind of change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Kind {
    /// Its levels.
    pub levels: Levels,
    /// Its size.
    pub extent: Extent,
    /// Who asked for it.
    pub asker: Asker,
}

impl Kind {
    /// How many there are.
    pub const COUNT: usize = Levels::ALL.len() * Extent::ALL.len() * Asker::ALL.len();

    /// All there are, in the order of their places.
    pub fn all() -> impl Iterator<Item = Self> {
        let of_levels = |levels| Extent::ALL.into_iter().map(move |extent| (levels, extent));
        let of_both = |(levels, extent)| Asker::ALL.into_iter().map(move |asker| Self { levels, extent, asker });
        Levels::ALL.into_iter().flat_map(of_levels).flat_map(of_both)
    }

    /// Its place in a table of all kinds.
    pub fn place(self) -> usize {
        (self.levels as usize * Extent::ALL.len() + self.extent as usize) * Asker::ALL.len() + self.asker as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_own_place() {
        let places: Vec<usize> = Kind::all().map(Kind::place).collect();
        assert_eq!(places, (0..Kind::COUNT).collect::<Vec<_>>());
    }

    #[test]
    fn greys_before_and_greys_after_are_told_apart() {
        let ink = Ink::grey_between(16, 0.04, 0.4);
        let set = |levels: &[u8]| levels.iter().copied().collect::<LevelSet>();
        let of = |from: &[u8], to: &[u8]| Levels::of(set(from), set(to), &ink);
        assert_eq!(of(&[0, 15], &[15]), Levels::TwoLevel);
        assert_eq!(of(&[0, 7], &[15, 0]), Levels::ToTwoLevel);
        assert_eq!(of(&[15], &[7]), Levels::Any);
        assert_eq!(of(&[3], &[7]), Levels::Any);
    }
}
