//! What a drawn colour is to look like on a panel, in linear light: a tone between the panel's own black and white.
//!
//! On grey ink a shade that stands for a level has that level's reflectance; between two such shades linear light decides.
//! On a palette black and white become the panel's own, and what lies between them moves along.

use super::drawn::Drawn;
use crate::{
    display::{Ink, Level},
    units::linear,
};

/// Linear red, green and blue; of a grey all three are its reflectance.
pub(super) type Light = [f64; 3];

/// The tones of a picture's colours, by their numbers.
#[derive(Debug)]
pub(super) struct Tones<'i> {
    pub(super) ink: &'i Ink,
    of_level: Vec<Light>,
    wanted: Vec<Light>,
    /// What is wanted, or where a palette cannot mix it the nearest mixture.
    in_reach: Vec<Light>,
    stands_for: Vec<Option<Level>>,
}

impl<'i> Tones<'i> {
    pub(super) fn of(drawn: &Drawn, ink: &'i Ink) -> Self {
        let of_level: Vec<Light> = ink.all().iter().map(|level| light_of(ink, level)).collect();
        let stands_for: Vec<Option<Level>> = drawn.colours.iter().map(|colour| ink.stands_for(*colour)).collect();
        let wanted = drawn.colours.iter().zip(&stands_for);
        let wanted = wanted.map(|(colour, level)| match level {
            Some(level) => light_of(ink, *level),
            None if ink.colours().is_some() => between_black_and_white(ink, *colour),
            None => [between_levels(ink, colour[0]); 3],
        });
        let wanted: Vec<Light> = wanted.collect();
        let in_reach = match ink.colours() {
            Some(_) => wanted.iter().map(|light| nearest_mixture(&of_level, *light)).collect(),
            // Every grey lies between two levels.
            None => wanted.clone(),
        };
        Self { ink, of_level, wanted, in_reach, stands_for }
    }

    /// How a colour is to look.
    pub(super) fn wanted(&self, colour: u32) -> Light {
        self.wanted[colour as usize]
    }

    /// How it can look: what dithering aims at. Errors of a tone that cannot be mixed would add up without end, and show as
    /// a rim where they begin.
    pub(super) fn in_reach(&self, colour: u32) -> Light {
        self.in_reach[colour as usize]
    }

    /// The level that a colour stands for exactly.
    pub(super) fn stands_for(&self, colour: u32) -> Option<Level> {
        self.stands_for[colour as usize]
    }

    /// The colours' count.
    pub(super) fn count(&self) -> usize {
        self.wanted.len()
    }

    /// How a level looks.
    pub(super) fn of_level(&self, level: Level) -> Light {
        self.of_level[usize::from(level)]
    }

    /// How many channels of light differ: all of a grey are alike.
    pub(super) fn channels(&self) -> usize {
        if self.ink.colours().is_some() { 3 } else { 1 }
    }

    /// The level whose light is nearest: by the sum of the squares over linear red, green and blue, ties the lower.
    pub(super) fn nearest(&self, light: Light) -> Level {
        let mut nearest = (0, f64::INFINITY);
        for (level, own) in self.of_level.iter().enumerate() {
            let far: f64 = (0..3).map(|channel| (own[channel] - light[channel]).powi(2)).sum();
            if far < nearest.1 {
                nearest = (level as Level, far);
            }
        }
        nearest.0
    }

    /// The largest error that is carried on, each channel for itself. Greys need no limit: an error is half a step at most.
    /// A palette's is its reach, a guard for cases that no mixture should bring about.
    pub(super) fn most_carried(&self) -> Light {
        if self.channels() == 1 {
            return [f64::INFINITY; 3];
        }
        let of_level = self.of_level.iter();
        let bounds = of_level.fold([(1.0_f64, 0.0_f64); 3], |bounds, light| {
            std::array::from_fn(|at| (bounds[at].0.min(light[at]), bounds[at].1.max(light[at])))
        });
        bounds.map(|(least, most)| most - least)
    }
}

fn light_of(ink: &Ink, level: Level) -> Light {
    match ink.colours() {
        Some(colours) => colours[usize::from(level)].srgb.map(linear),
        None => [ink.reflectance(level); 3],
    }
}

fn between_black_and_white(ink: &Ink, colour: [u8; 3]) -> Light {
    let [black, white] = [ink.black(), ink.white()].map(|level| light_of(ink, level));
    std::array::from_fn(|at| black[at] + (white[at] - black[at]) * linear(colour[at]))
}

/// The mixture of a palette's colours that is nearest to some light.
///
/// From the nearest colour on, share is moved from the colour that leads away most to the one that leads there most, each
/// time as much as brings it nearest: the Frank-Wolfe method in its pairwise form.
fn nearest_mixture(colours: &[Light], light: Light) -> Light {
    const ENOUGH: f64 = 1e-9;
    let dot = |one: Light, other: Light| (0..3).map(|at| one[at] * other[at]).sum::<f64>();
    let less = |one: Light, other: Light| -> Light { std::array::from_fn(|at| one[at] - other[at]) };
    let far = |colour: &Light| dot(less(*colour, light), less(*colour, light));
    let first =
        (0..colours.len()).min_by(|one, other| far(&colours[*one]).total_cmp(&far(&colours[*other]))).unwrap_or(0);
    let (mut shares, mut mixture) = (vec![0.0; colours.len()], colours[first]);
    shares[first] = 1.0;
    for _ in 0..200 {
        let away = less(mixture, light);
        let lead = |at: &usize| dot(colours[*at], away);
        let by_lead = |one: &usize, other: &usize| lead(one).total_cmp(&lead(other));
        let to = (0..colours.len()).min_by(by_lead).unwrap_or(first);
        let from = (0..colours.len()).filter(|at| shares[*at] > 0.0).max_by(by_lead).unwrap_or(first);
        let gain = lead(&from) - lead(&to);
        if gain < ENOUGH {
            break;
        }
        let way = less(colours[to], colours[from]);
        let moved = f64::min(gain / dot(way, way), shares[from]);
        shares[to] += moved;
        shares[from] -= moved;
        mixture = std::array::from_fn(|at| mixture[at] + moved * way[at]);
    }
    mixture
}

/// The reflectance of a shade that stands for no level.
fn between_levels(ink: &Ink, shade: u8) -> f64 {
    let lighter = ink.all().iter().find(|level| ink.shade(*level) > shade).unwrap_or(ink.white());
    let ends = [lighter.saturating_sub(1), lighter];
    let [dark, light] = ends.map(|level| linear(ink.shade(level)));
    let [least, most] = ends.map(|level| ink.reflectance(level));
    least + (most - least) * (linear(shade) - dark) / (light - dark)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CORNERS: [Light; 4] = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

    /// A corner of a cube is the case that can be seen: inside nothing moves, outside the nearest point of face, edge or corner.
    #[test]
    fn the_nearest_mixture_is_the_nearest_point_of_the_hull() {
        for (light, nearest) in [
            ([0.2, 0.3, 0.1], [0.2, 0.3, 0.1]),
            ([0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),
            // Below a face, beyond an edge, beyond a corner.
            ([0.25, 0.25, -0.5], [0.25, 0.25, 0.0]),
            ([0.5, -1.0, -1.0], [0.5, 0.0, 0.0]),
            ([4.0, 0.5, 0.5], [1.0, 0.0, 0.0]),
            // Above the slanting face: a third of what is too much off each.
            ([0.5, 0.5, 0.6], [0.3, 0.3, 0.4]),
        ] {
            let found = nearest_mixture(&CORNERS, light);
            let far = (0..3).map(|at| (found[at] - nearest[at]).abs()).fold(0.0, f64::max);
            assert!(far < 1e-4, "{light:?}: {found:?} for {nearest:?}");
        }
    }
}
