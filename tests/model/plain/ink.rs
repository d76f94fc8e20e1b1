//! What a panel can show: levels and colours, and the lightness of each. Knows no pictures.

use palette::color_difference::Ciede2000;
use palette::white_point::D65;
use palette::{IntoColor, Lab, Srgb};

use super::segments::{OFF, ON, Segments};

/// Levels from 0. Of a grey ink 0 is black and the last is white; of a palette they are the colours in the description's
/// order; of segments 0 is on and 1 is off.
#[derive(Clone, Debug)]
pub(crate) struct Ink {
    /// L* of each level.
    pub(crate) lightness: Vec<f64>,
    /// Reflectance of each level over that of white; over the lighter one of a segment's two.
    pub(crate) luminance: Vec<f64>,
    /// Empty for every ink but a palette.
    pub(crate) colours: Vec<Colour>,
    /// As they lie on the screen.
    pub(crate) segments: Option<Segments>,
    pub(crate) black: usize,
    pub(crate) white: usize,
}

#[derive(Clone, Debug)]
pub(crate) struct Colour {
    pub(crate) name: String,
    pub(crate) srgb: [u8; 3],
}

impl Ink {
    /// Of two reflectances, or of one a level.
    pub(crate) fn grey(levels: usize, reflectance: &[f64]) -> Ink {
        let lightness: Vec<f64> = if reflectance.len() == levels {
            reflectance.iter().map(|&y| lightness(y)).collect()
        } else {
            let (black, white) = (lightness(reflectance[0]), lightness(reflectance[1]));
            (0..levels).map(|i| black + (white - black) * i as f64 / (levels - 1) as f64).collect()
        };
        let white = reflectance_of(lightness[levels - 1]);
        let luminance = lightness.iter().map(|&l| reflectance_of(l) / white).collect();
        Ink { lightness, luminance, colours: Vec::new(), segments: None, black: 0, white: levels - 1 }
    }

    /// Of the reflectances of a segment that is off and of one that is on.
    pub(crate) fn segments(segments: Segments, off: f64, on: f64) -> Ink {
        let lightness = [on, off].map(lightness).to_vec();
        let luminance = [on, off].map(|y| y / on.max(off)).to_vec();
        Ink { lightness, luminance, colours: Vec::new(), segments: Some(segments), black: ON, white: OFF }
    }

    pub(crate) fn palette(colours: Vec<Colour>) -> Ink {
        let white = nearest_colour(&colours, [255, 255, 255]);
        let light: Vec<f64> = colours.iter().map(|c| luminance(c.srgb)).collect();
        Ink {
            lightness: light.iter().map(|&y| lightness(y)).collect(),
            luminance: light.iter().map(|y| y / light[white]).collect(),
            black: nearest_colour(&colours, [0, 0, 0]),
            white,
            segments: None,
            colours,
        }
    }

    pub(crate) fn levels(&self) -> usize {
        self.lightness.len()
    }

    pub(crate) fn darkest(&self) -> f64 {
        self.lightness.iter().copied().fold(f64::INFINITY, f64::min)
    }

    pub(crate) fn lightest(&self) -> f64 {
        self.lightness.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// The level that a colour of a picture is shown at.
    pub(crate) fn level_of(&self, rgb: [u8; 3]) -> usize {
        if self.colours.is_empty() {
            grey_level(grey(rgb), self.levels() as u32) as usize
        } else {
            nearest_colour(&self.colours, rgb)
        }
    }

    /// The share of red in the linear light of a colour; 0 of black, and on an ink without colours.
    pub(crate) fn red_share(&self, level: usize) -> f64 {
        let Some(colour) = self.colours.get(level) else { return 0.0 };
        let [r, g, b] = colour.srgb.map(linear);
        if r > 0.0 { r / (r + g + b) } else { 0.0 }
    }

    /// Whether a colour is a saturated red.
    pub(crate) fn is_red(&self, level: usize) -> bool {
        self.red_share(level) >= 0.8
    }

    /// Whether between two colours lies half a red flash.
    pub(crate) fn is_red_swing(&self, one: usize, other: usize) -> bool {
        let apart = || {
            let ([u, v], [other_u, other_v]) =
                (chromaticity(self.colours[one].srgb), chromaticity(self.colours[other].srgb));
            ((u - other_u).powi(2) + (v - other_v).powi(2)).sqrt()
        };
        (self.is_red(one) || self.is_red(other)) && apart() > 0.2
    }

    /// The nearest level among some: greys by number, ties the lower; colours by L*, ties the darker, then the lower index.
    pub(crate) fn nearest(&self, wanted: usize, among: &[usize]) -> Option<usize> {
        let mut best: Option<usize> = None;
        for &level in among {
            if best.is_none_or(|b| self.nearer(wanted, level, b)) {
                best = Some(level);
            }
        }
        best
    }

    fn nearer(&self, wanted: usize, level: usize, best: usize) -> bool {
        if self.colours.is_empty() {
            (level.abs_diff(wanted), level) < (best.abs_diff(wanted), best)
        } else {
            let far = |l: usize| (self.lightness[l] - self.lightness[wanted]).abs();
            far(level)
                .total_cmp(&far(best))
                .then(self.lightness[level].total_cmp(&self.lightness[best]))
                .then(level.cmp(&best))
                .is_lt()
        }
    }
}

/// CIE L* of a reflectance or luminance, white = 1.
pub(crate) fn lightness(y: f64) -> f64 {
    let edge = 6.0_f64 / 29.0;
    if y > edge * edge * edge { 116.0 * y.cbrt() - 16.0 } else { y * (29.0_f64 / 3.0).powi(3) }
}

/// The reflectance of an L*: `lightness` turned about.
fn reflectance_of(lightness: f64) -> f64 {
    if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness / (29.0_f64 / 3.0).powi(3) }
}

/// Rec. 709 weights on the encoded values.
pub(crate) fn grey(rgb: [u8; 3]) -> u32 {
    let [r, g, b] = rgb.map(u32::from);
    (2126 * r + 7152 * g + 722 * b + 5000) / 10000
}

pub(crate) fn grey_level(grey: u32, levels: u32) -> u32 {
    (2 * grey * (levels - 1) + 255) / 510
}

/// Relative luminance of an encoded colour.
fn luminance(srgb: [u8; 3]) -> f64 {
    let [r, g, b] = srgb.map(linear);
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// Linear light of an encoded sample (IEC 61966-2-1).
fn linear(sample: u8) -> f64 {
    let v = f64::from(sample) / 255.0;
    if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// CIE 1976 u', v' by way of X, Y, Z (IEC 61966-2-1); black has those of white.
fn chromaticity(srgb: [u8; 3]) -> [f64; 2] {
    let light = if srgb == [0; 3] { [1.0; 3] } else { srgb.map(linear) };
    let sum_of = |weights: [f64; 3]| light.iter().zip(weights).map(|(light, weight)| light * weight).sum::<f64>();
    let [x, y, z] = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]].map(sum_of);
    let sum = x + 15.0 * y + 3.0 * z;
    [4.0 * x / sum, 9.0 * y / sum]
}

/// An exact colour takes its index, any other the nearest by CIEDE2000; ties the lower index.
fn nearest_colour(colours: &[Colour], rgb: [u8; 3]) -> usize {
    if let Some(exact) = colours.iter().position(|c| c.srgb == rgb) {
        return exact;
    }
    let wanted = lab(rgb);
    let mut best = (f64::INFINITY, 0);
    for (index, colour) in colours.iter().enumerate() {
        let far = wanted.difference(lab(colour.srgb));
        if far < best.0 {
            best = (far, index);
        }
    }
    best.1
}

fn lab(rgb: [u8; 3]) -> Lab<D65, f64> {
    Srgb::<u8>::new(rgb[0], rgb[1], rgb[2]).into_format::<f64>().into_color()
}
