//! Ink: the levels that a pixel can show, and their lightness.
//!
//! Grey ink carries 2, 4 or 16 levels; a palette carries named colours; segments are on or off. Knows no pictures.

use std::sync::Arc;

use super::Segments;
use crate::{
    geometry::Rotation,
    units::{
        Lab, colour_difference, lab_of_srgb, level_of_grey, lightness_of_reflectance, luminance_of_srgb,
        reflectance_of_lightness,
    },
};

/// The most levels that any ink has.
pub const MOST_LEVELS: usize = 32;

/// A level of an ink: 0 is the darkest of grey ink, for a palette the index of the colour.
pub type Level = u8;

/// A set of levels, one bit per level.
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

    /// Whether every level of this set is in the other.
    pub fn is_within(self, other: Self) -> bool {
        self.0 & !other.0 == 0
    }

    /// The set with all levels of another.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
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
    black: Level,
    white: Level,
    kind: InkKind,
}

/// The kinds of ink that a description can name.
#[derive(Clone, Debug, PartialEq)]
pub enum InkKind {
    /// Evenly numbered greys, 0 black to the last white.
    Grey,
    /// Named colours with their encoded sRGB values.
    Palette(Vec<Colour>),
    /// Shapes of a drawing, level 0 on and level 1 off.
    Segments(Arc<Segments>),
}

/// A colour of a palette.
#[derive(Clone, Debug, PartialEq)]
pub struct Colour {
    /// The name that modes use for it.
    pub name: String,
    /// Encoded sRGB.
    pub srgb: [u8; 3],
    lab: Lab,
}

impl Colour {
    /// A colour of that name.
    pub fn new(name: impl Into<String>, srgb: [u8; 3]) -> Self {
        Self { name: name.into(), srgb, lab: lab_of_srgb(srgb) }
    }
}

impl Ink {
    /// Grey ink of `levels` levels between two reflectances (0 to 1), evenly spaced in L*.
    pub fn grey_between(levels: u8, black: f64, white: f64) -> Self {
        let (dark, light) = (lightness_of_reflectance(black), lightness_of_reflectance(white));
        let last = f64::from(levels - 1);
        let lightness: Vec<f64> = (0..levels).map(|level| dark + (light - dark) * f64::from(level) / last).collect();
        let reflectance = lightness.iter().map(|lightness| reflectance_of_lightness(*lightness)).collect();
        Self { lightness, reflectance, black: 0, white: levels - 1, kind: InkKind::Grey }
    }

    /// Grey ink with a measured reflectance (0 to 1) of every level.
    pub fn grey_measured(reflectance: Vec<f64>) -> Self {
        let lightness: Vec<f64> = reflectance.iter().map(|y| lightness_of_reflectance(*y)).collect();
        let white = (lightness.len() - 1) as Level;
        Self { lightness, reflectance, black: 0, white, kind: InkKind::Grey }
    }

    /// A palette of colours, at least one. Its black and white are the colours nearest to pure black and white.
    pub fn palette(colours: Vec<Colour>) -> Self {
        let reflectance: Vec<f64> = colours.iter().map(|colour| luminance_of_srgb(colour.srgb)).collect();
        Self {
            lightness: reflectance.iter().map(|y| lightness_of_reflectance(*y)).collect(),
            reflectance,
            black: nearest_colour(&colours, [0, 0, 0]).0,
            white: nearest_colour(&colours, [255, 255, 255]).0,
            kind: InkKind::Palette(colours),
        }
    }

    /// Segments that are on or off, with the reflectance (0 to 1) of both.
    pub fn segments(segments: Arc<Segments>, off: f64, on: f64) -> Self {
        Self {
            lightness: [on, off].map(lightness_of_reflectance).to_vec(),
            reflectance: vec![on, off],
            black: 0,
            white: 1,
            kind: InkKind::Segments(segments),
        }
    }

    /// The same ink as the reader sees it on a panel that is turned.
    #[must_use]
    pub fn turned(&self, rotation: Rotation) -> Self {
        match &self.kind {
            InkKind::Segments(segments) => {
                Self { kind: InkKind::Segments(Arc::new(segments.turned(rotation))), ..self.clone() }
            }
            InkKind::Grey | InkKind::Palette(_) => self.clone(),
        }
    }

    /// The colours, if it is a palette.
    pub fn colours(&self) -> Option<&[Colour]> {
        match &self.kind {
            InkKind::Palette(colours) => Some(colours),
            InkKind::Grey | InkKind::Segments(_) => None,
        }
    }

    /// The level of the colour that is nearest to an encoded sRGB colour, and how far it is (CIEDE2000); an exact
    /// colour takes its own number, and ties take the lower one. `None` if the ink is no palette.
    pub fn nearest_colour(&self, srgb: [u8; 3]) -> Option<(Level, f64)> {
        self.colours().map(|colours| nearest_colour(colours, srgb))
    }

    /// The level that a colour of a screen represents exactly: a grey's own shade, a palette's own colour, or a pure
    /// colour that is [nominal](Ink::is_nominal); `None` if it lies between levels.
    pub fn stands_for(&self, srgb: [u8; 3]) -> Option<Level> {
        let exact = self.all().iter().find(|level| self.srgb(*level) == srgb);
        exact.or_else(|| self.nearest_colour(srgb).filter(|_| self.is_nominal(srgb)).map(|(level, _)| level))
    }

    /// Whether a pure colour represents one of the palette: the black, white or red of a drawing program means the
    /// panel's own. This is so for pure colours and palette colours that are the nearest to each other.
    pub fn is_nominal(&self, srgb: [u8; 3]) -> bool {
        let Some(colours) = self.colours() else { return false };
        if srgb.iter().any(|channel| ![0, 255].contains(channel)) {
            return false;
        }
        let pure = (0..8_u8).map(|corner| [4, 2, 1].map(|bit| if corner & bit == 0 { 0 } else { 255 }));
        let pure: Vec<Colour> = pure.map(|corner| Colour::new("", corner)).collect();
        let (level, _) = nearest_colour(colours, srgb);
        let (corner, _) = nearest_colour(&pure, colours[usize::from(level)].srgb);
        pure[usize::from(corner)].srgb == srgb
    }

    /// How far two levels look apart: CIEDE2000 of colours, L* of greys and segments.
    pub fn apart(&self, one: Level, other: Level) -> f64 {
        match self.colours() {
            Some(colours) => colour_difference(colours[usize::from(one)].lab, colours[usize::from(other)].lab),
            None => (self.lightness(one) - self.lightness(other)).abs(),
        }
    }

    /// L* of the darkest and of the lightest level.
    pub fn range_l(&self) -> (f64, f64) {
        let fold = |pick: fn(f64, f64) -> f64| self.lightness.iter().copied().reduce(pick).unwrap_or(0.0);
        (fold(f64::min), fold(f64::max))
    }

    /// The encoded sRGB in which a level is drawn on a screen: its own colour, or the grey that stands for it.
    pub fn srgb(&self, level: Level) -> [u8; 3] {
        match self.colours() {
            Some(colours) => colours[usize::from(level)].srgb,
            None => [self.shade(level); 3],
        }
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

    /// Relative luminance of a level: its reflectance over that of white. For segments the lighter state is the paper,
    /// even if that is "on".
    pub fn relative_luminance(&self, level: Level) -> f64 {
        let white = match self.kind {
            InkKind::Segments(_) => self.reflectance.iter().copied().fold(0.0, f64::max),
            InkKind::Grey | InkKind::Palette(_) => self.reflectance(self.white),
        };
        self.reflectance(level) / white.max(f64::MIN_POSITIVE)
    }

    /// Black: for a palette the colour nearest to it, for segments "on".
    pub fn black(&self) -> Level {
        self.black
    }

    /// White: for a palette the colour nearest to it, for segments "off".
    pub fn white(&self) -> Level {
        self.white
    }

    /// All levels.
    pub fn all(&self) -> LevelSet {
        LevelSet::first(self.levels())
    }

    /// Solid black and solid white.
    pub fn two_level(&self) -> LevelSet {
        [self.black(), self.white()].into_iter().collect()
    }

    /// The level that stands for each 8-bit shade of a picture: see [`Ink::shade`].
    pub fn level_table(&self) -> [Level; 256] {
        let levels = self.levels() as u8;
        match self.kind {
            InkKind::Grey | InkKind::Segments(_) => std::array::from_fn(|grey| level_of_grey(grey as u8, levels)),
            InkKind::Palette(_) => std::array::from_fn(|shade| (shade as u8).min(levels - 1)),
        }
    }

    /// The shade in a picture that stands for a level exactly: an 8-bit grey, or the number of a palette's colour.
    pub fn shade(&self, level: Level) -> u8 {
        if self.colours().is_some() {
            return level;
        }
        let last = self.levels() as u32 - 1;
        ((u32::from(level) * 255 + last / 2) / last) as u8
    }

    /// The level of `reach` that is nearest to `level`: greys by number, ties the lower; colours by L*, ties the darker,
    /// then the lower.
    pub fn nearest(&self, level: Level, reach: LevelSet) -> Option<Level> {
        if self.colours().is_none() {
            return reach.iter().min_by_key(|candidate| (candidate.abs_diff(level), *candidate));
        }
        let wanted = self.lightness(level);
        let far = |level: Level| (self.lightness(level) - wanted).abs();
        reach.iter().min_by(|one, other| {
            let by_distance = far(*one).total_cmp(&far(*other));
            by_distance.then(self.lightness(*one).total_cmp(&self.lightness(*other))).then(one.cmp(other))
        })
    }

    /// That of every level, by its number: for those who ask for many pixels.
    pub fn nearest_of_each(&self, reach: LevelSet) -> Vec<Option<Level>> {
        (0..self.levels()).map(|level| self.nearest(level as Level, reach)).collect()
    }

    /// What a level is called in messages.
    pub fn name(&self, level: Level) -> String {
        match &self.kind {
            InkKind::Palette(colours) => colours[usize::from(level)].name.clone(),
            InkKind::Segments(_) => if level == self.black { "on" } else { "off" }.into(),
            InkKind::Grey if level == self.black() => "black".into(),
            InkKind::Grey if level == self.white() => "white".into(),
            InkKind::Grey => format!("grey {level} of {}", self.white()),
        }
    }
}

/// CIEDE2000 is at least the difference of lightness over its weight `S_L`, as what it adds for chroma and hue is never negative;
/// that weight is 1 + 0.015 d^2 / sqrt(20 + d^2) for a mean lightness d from 50 (CIE 142), at most 1.747.
const LARGEST_SL: f64 = 1.75;

fn nearest_colour(colours: &[Colour], srgb: [u8; 3]) -> (Level, f64) {
    if let Some(exact) = colours.iter().position(|colour| colour.srgb == srgb) {
        return (exact as Level, 0.0);
    }
    let wanted = lab_of_srgb(srgb);
    let mut nearest = (0, f64::INFINITY);
    for (index, colour) in colours.iter().enumerate() {
        if (wanted.l - colour.lab.l).abs() >= LARGEST_SL * nearest.1 {
            continue;
        }
        let far = colour_difference(wanted, colour.lab);
        if far < nearest.1 {
            nearest = (index as Level, far);
        }
    }
    nearest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    /// A colour that is skipped because of its lightness is never the nearest.
    #[test]
    fn the_nearest_colour_is_the_nearest_of_all() {
        let srgb = ["000000", "ffffff", "30462c", "2b3a8c", "9c2a24", "c9b13a", "b5602d"];
        let colours = srgb.map(|hex| {
            let number = u32::from_str_radix(hex, 16).unwrap();
            Colour::new(hex, [number >> 16, number >> 8, number].map(|channel| channel as u8))
        });
        let mut met = [0; 7];
        for number in (0..1 << 24).step_by(997) {
            let wanted = [number >> 16, number >> 8, number].map(|channel| channel as u8);
            let far = |colour: &Colour| colour_difference(lab_of_srgb(wanted), colour.lab);
            let all = colours.iter().map(far).fold(f64::INFINITY, f64::min);
            let (level, found) = nearest_colour(&colours, wanted);
            assert!(found <= all || colours[usize::from(level)].srgb == wanted, "{wanted:?}: {found}, {all}");
            met[usize::from(level)] += 1;
        }
        assert!(met.iter().all(|times| *times > 100), "{met:?}");
    }

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

    #[test]
    fn luminance_is_over_white_and_of_segments_over_the_lighter_state() {
        let grey = Ink::grey_between(2, 0.04, 0.4);
        assert!((grey.relative_luminance(0) - 0.1).abs() < 1e-12 && (grey.relative_luminance(1) - 1.0).abs() < 1e-12);
        let segments = Arc::new(Segments::new(Size { width: 1, height: 1 }, vec!["a".into()], vec![1]));
        for (off, on, wanted) in [(0.4, 0.04, [0.1, 1.0]), (0.04, 0.4, [1.0, 0.1])] {
            let ink = Ink::segments(segments.clone(), off, on);
            let far = [0, 1].map(|level| (ink.relative_luminance(level) - wanted[usize::from(level)]).abs());
            assert!(far.iter().all(|far| *far < 1e-12), "off {off}, on {on}: {far:?}");
        }
    }

    #[test]
    fn a_palette_takes_exact_colours_and_else_the_nearest() {
        let names = ["black", "white", "red", "yellow"];
        let colours = [[26, 13, 35], [185, 202, 205], [121, 9, 0], [202, 184, 0]];
        let ink = Ink::palette(names.iter().zip(colours).map(|(name, srgb)| Colour::new(*name, srgb)).collect());
        assert_eq!(ink.nearest_colour([121, 9, 0]), Some((2, 0.0)));
        let nearest = [[0, 0, 0], [255, 255, 255], [255, 0, 0], [255, 255, 0]].map(|srgb| ink.nearest_colour(srgb));
        assert_eq!(nearest.map(|found| found.unwrap().0), [0, 1, 2, 3]);
        assert_eq!((ink.black(), ink.white(), ink.shade(3), ink.level_table()[3]), (0, 1, 3, 3));
        // By lightness red is nearer to black, yellow to white.
        assert_eq!([2, 3].map(|level| ink.nearest(level, ink.two_level())), [Some(0), Some(1)]);
        assert_eq!(ink.range_l(), (ink.lightness(0), ink.lightness(1)));
    }
}
