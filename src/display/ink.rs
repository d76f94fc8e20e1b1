//! Ink: the levels that a pixel can show and how light each looks.
//!
//! Grey ink carries 2, 4 or 16 levels; a palette carries named colours. Knows no pictures.

use crate::units::{level_of_grey, lightness_of_reflectance};

/// The most levels that any ink has.
pub const MOST_LEVELS: usize = 32;

/// A level of an ink: 0 is the darkest of grey ink, for a palette the index of the colour.
pub type Level = u8;

/// A set of levels, one bit a level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct LevelSet(pub u32);

impl LevelSet {
    /// The set of the first `count` levels.
    pub fn first(count: usize) -> Self {
        Self(if count >= 32 { u32::MAX } else { (1 << count) - 1 })
    }

    /// Whether the level is in the set.
    pub fn contains(self, level: Level) -> bool {
        self.0 >> level & 1 == 1
    }

    /// The set with one more level.
    #[must_use]
    pub fn with(self, level: Level) -> Self {
        Self(self.0 | 1 << level)
    }

    /// The levels, lowest first.
    pub fn iter(self) -> impl Iterator<Item = Level> {
        (0..32).filter(move |level| self.contains(*level))
    }
}

impl FromIterator<Level> for LevelSet {
    fn from_iter<I: IntoIterator<Item = Level>>(levels: I) -> Self {
        levels.into_iter().fold(Self::default(), Self::with)
    }
}

/// What the ink of a panel can show.
#[derive(Clone, Debug, PartialEq)]
pub struct Ink {
    /// L* of each level.
    lightness: Vec<f64>,
    /// Reflectance (0 to 1) of each level.
    reflectance: Vec<f64>,
    kind: InkKind,
}

/// The kinds of ink that a description can name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InkKind {
    /// Evenly numbered greys, 0 black to the last white.
    Grey,
    /// Named colours with their encoded sRGB values.
    Palette(Vec<Colour>),
}

/// A colour of a palette.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Colour {
    /// The name that modes use for it.
    pub name: String,
    /// Encoded sRGB.
    pub srgb: [u8; 3],
}

impl Ink {
    /// Grey ink of `levels` levels between two reflectances (0 to 1), evenly spaced in L*.
    pub fn grey_between(levels: u8, black: f64, white: f64) -> Self {
        let (dark, light) = (lightness_of_reflectance(black), lightness_of_reflectance(white));
        let last = f64::from(levels - 1);
        let lightness: Vec<f64> = (0..levels).map(|level| dark + (light - dark) * f64::from(level) / last).collect();
        let reflectance = lightness.iter().map(|lightness| reflectance_of_lightness(*lightness)).collect();
        Self { lightness, reflectance, kind: InkKind::Grey }
    }

    /// Grey ink with a measured reflectance (0 to 1) of every level.
    pub fn grey_measured(reflectance: Vec<f64>) -> Self {
        let lightness = reflectance.iter().map(|y| lightness_of_reflectance(*y)).collect();
        Self { lightness, reflectance, kind: InkKind::Grey }
    }

    /// The number of levels.
    pub fn levels(&self) -> usize {
        self.lightness.len()
    }

    /// What kind of ink it is.
    pub fn kind(&self) -> &InkKind {
        &self.kind
    }

    /// L* of a level.
    pub fn lightness(&self, level: Level) -> f64 {
        self.lightness[usize::from(level)]
    }

    /// Reflectance of a level, 0 to 1.
    pub fn reflectance(&self, level: Level) -> f64 {
        self.reflectance[usize::from(level)]
    }

    /// The darkest level.
    pub fn black(&self) -> Level {
        0
    }

    /// The lightest level.
    pub fn white(&self) -> Level {
        (self.levels() - 1) as Level
    }

    /// All levels.
    pub fn all(&self) -> LevelSet {
        LevelSet::first(self.levels())
    }

    /// Solid black and solid white.
    pub fn two_level(&self) -> LevelSet {
        [self.black(), self.white()].into_iter().collect()
    }

    /// The level that stands for each 8-bit shade of a picture.
    pub fn level_table(&self) -> [Level; 256] {
        let levels = self.levels() as u8;
        std::array::from_fn(|grey| level_of_grey(grey as u8, levels))
    }

    /// The 8-bit grey that stands for a level of grey ink exactly.
    pub fn shade(&self, level: Level) -> u8 {
        let last = self.levels() as u32 - 1;
        ((u32::from(level) * 255 + last / 2) / last) as u8
    }

    /// The level of `reach` that is nearest to `level` by number, ties the lower.
    pub fn nearest(&self, level: Level, reach: LevelSet) -> Option<Level> {
        reach.iter().min_by_key(|candidate| (candidate.abs_diff(level), *candidate))
    }

    /// What a level is called in messages.
    pub fn name(&self, level: Level) -> String {
        match &self.kind {
            InkKind::Palette(colours) => colours[usize::from(level)].name.clone(),
            InkKind::Grey if level == self.black() => "black".into(),
            InkKind::Grey if level == self.white() => "white".into(),
            InkKind::Grey => format!("grey {level} of {}", self.white()),
        }
    }
}

/// The inverse of [`lightness_of_reflectance`].
fn reflectance_of_lightness(lightness: f64) -> f64 {
    const KAPPA: f64 = 24389.0 / 27.0;
    if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness / KAPPA }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_between_two_reflectances_are_even_in_lightness() {
        let ink = Ink::grey_between(4, 0.04, 0.44);
        assert!((ink.lightness(0) - 23.6714).abs() < 1e-4);
        assert!((ink.lightness(3) - 72.2285).abs() < 1e-4);
        let steps: Vec<f64> = (1..4).map(|level| ink.lightness(level) - ink.lightness(level - 1)).collect();
        assert!(steps.iter().all(|step| (step - steps[0]).abs() < 1e-9));
        assert!((ink.reflectance(3) - 0.44).abs() < 1e-9);
    }

    #[test]
    fn the_nearest_reachable_level_takes_the_lower_of_two() {
        let ink = Ink::grey_between(16, 0.04, 0.44);
        assert_eq!(ink.nearest(7, ink.two_level()), Some(0));
        assert_eq!(ink.nearest(8, ink.two_level()), Some(15));
        assert_eq!(ink.nearest(5, LevelSet::default().with(4).with(6)), Some(4));
        assert_eq!(ink.nearest(5, LevelSet::default()), None);
    }

    #[test]
    fn every_level_has_a_shade_that_is_read_back_as_the_level() {
        for levels in [2, 4, 16] {
            let ink = Ink::grey_between(levels, 0.04, 0.44);
            let table = ink.level_table();
            for level in 0..levels {
                assert_eq!(table[usize::from(ink.shade(level))], level);
            }
        }
    }
}
