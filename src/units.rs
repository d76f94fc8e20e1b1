//! The units that the eye and the panel are measured in: lightness, reflectance, grey counts, millimetres.
//!
//! The formulas come from published standards, which are named at each function. Knows nothing of panels or plans.

use palette::{FromColor, IntoColor, color_difference::Ciede2000};

/// CIE lightness L* (0 to 100) of a relative luminance `y` (0 to 1, white = 1).
///
/// Source: CIE 15 (colorimetry), with the exact constants 216/24389 and 24389/27.
pub fn lightness_of_reflectance(y: f64) -> f64 {
    const EPSILON: f64 = 216.0 / 24389.0;
    const KAPPA: f64 = 24389.0 / 27.0;
    if y > EPSILON { 116.0 * y.cbrt() - 16.0 } else { KAPPA * y }
}

/// The relative luminance (0 to 1) of a CIE lightness L*: the inverse of [`lightness_of_reflectance`].
pub fn reflectance_of_lightness(lightness: f64) -> f64 {
    const KAPPA: f64 = 24389.0 / 27.0;
    if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness / KAPPA }
}

/// An encoded sRGB sample (0 to 255) as linear light, 0 to 1.
///
/// Source: IEC 61966-2-1, as WCAG 2.2 quotes it.
pub fn linear(sample: u8) -> f64 {
    let encoded = f64::from(sample) / 255.0;
    if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// The relative luminance (0 to 1, white = 1) of an encoded sRGB colour.
///
/// Source: WCAG 2.2, definition of relative luminance (the weights of ITU-R BT.709).
pub fn luminance_of_srgb(srgb: [u8; 3]) -> f64 {
    let [red, green, blue] = srgb.map(linear);
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// The chromaticity u', v' (CIE 1976) of an encoded sRGB colour; that of the white point where it is black.
///
/// Source: IEC 61966-2-1 for XYZ, CIE 15 for u' = 4X / (X + 15Y + 3Z) and v' = 9Y / (X + 15Y + 3Z).
pub fn chromaticity(srgb: [u8; 3]) -> [f64; 2] {
    let colour = if srgb == [0; 3] { [255; 3] } else { srgb };
    let xyz: palette::Xyz<palette::white_point::D65, f64> =
        palette::Srgb::from(colour).into_format::<f64>().into_color();
    let sum = xyz.x + 15.0 * xyz.y + 3.0 * xyz.z;
    [4.0 * xyz.x / sum, 9.0 * xyz.y / sum]
}

/// The share of red in the linear light of an encoded sRGB colour, 0 to 1; 0 for black.
pub fn red_share(srgb: [u8; 3]) -> f64 {
    let [red, green, blue] = srgb.map(linear);
    if red > 0.0 { red / (red + green + blue) } else { 0.0 }
}

/// The contrast of two relative luminances (0 to 1, white = 1), 1 to 21; never rounded.
///
/// Source: WCAG 2.2, definition of contrast ratio.
pub fn contrast_ratio(one: f64, other: f64) -> f64 {
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// A colour in CIE 1976 L*a*b*, white point D65.
pub type Lab = palette::Lab<palette::white_point::D65, f64>;

/// The CIE L*a*b* (D65) of linear red, green and blue, 0 to 1 each.
///
/// Source: IEC 61966-2-1 for XYZ, CIE 15 for L*a*b*.
pub fn lab_of_light(light: [f64; 3]) -> Lab {
    palette::LinSrgb::from(light).into_color()
}

/// The CIE L*a*b* (D65) of an encoded sRGB colour.
pub fn lab_of_srgb(srgb: [u8; 3]) -> Lab {
    palette::Srgb::from(srgb).into_format::<f64>().into_color()
}

/// The neutral colour of a lightness L*.
pub fn lab_of_lightness(lightness: f64) -> Lab {
    Lab::new(lightness, 0.0, 0.0)
}

/// The encoded sRGB nearest to a colour, each channel cut to what a screen can show.
pub fn srgb_of_lab(lab: Lab) -> [u8; 3] {
    palette::Srgb::from_color(lab).into_format::<u8>().into()
}

/// The colour difference CIEDE2000 (CIE 142, weights 1).
pub fn colour_difference(one: Lab, other: Lab) -> f64 {
    one.difference(other)
}

/// An encoded grey of 8 bits from encoded red, green and blue: the Rec. 709 weights in integers, rounded.
///
/// Source of the weights: ITU-R BT.709 (0.2126, 0.7152, 0.0722).
pub fn grey_of_rgb(red: u8, green: u8, blue: u8) -> u8 {
    ((2126 * u32::from(red) + 7152 * u32::from(green) + 722 * u32::from(blue) + 5000) / 10_000) as u8
}

/// A sample of 16 bits brought to 8, rounded.
pub fn eight_bits(sample: u16) -> u8 {
    ((u32::from(sample) * 255 + 32_767) / 65_535) as u8
}

/// A sample laid over white by its alpha, rounded.
pub fn over_white(sample: u8, alpha: u8) -> u8 {
    let (sample, alpha) = (u32::from(sample), u32::from(alpha));
    ((sample * alpha + 255 * (255 - alpha) + 127) / 255) as u8
}

/// The level of a grey on ink with `levels` levels: 0 black, `levels` - 1 white, nearest.
pub fn level_of_grey(grey: u8, levels: u8) -> u8 {
    ((2 * u32::from(grey) * (u32::from(levels) - 1) + 255) / 510) as u8
}

/// The height in mm of something that is seen under an angle (minutes of arc) from a distance (mm).
pub fn height_mm_of_arc(minutes: f64, distance_mm: f64) -> f64 {
    distance_mm * (minutes / 60.0).to_radians().tan()
}

/// The angle (minutes of arc) under which something of a height (mm) is seen from a distance (mm).
pub fn arc_minutes(height_mm: f64, distance_mm: f64) -> f64 {
    (height_mm / distance_mm).atan().to_degrees() * 60.0
}

/// A length in pixels as millimetres.
pub fn length_mm(pixels: f64, pixels_per_inch: f64) -> f64 {
    pixels * 25.4 / pixels_per_inch
}

/// A length in pixels as points, 1/72 inch each.
pub fn length_pt(pixels: f64, pixels_per_inch: f64) -> f64 {
    pixels * 72.0 / pixels_per_inch
}

/// The area of one pixel in square millimetres.
pub fn pixel_area_mm2(pixels_per_inch: f64) -> f64 {
    (25.4 / pixels_per_inch) * (25.4 / pixels_per_inch)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grey_uses_the_rec_709_weights() {
        assert_eq!(grey_of_rgb(255, 0, 0), 54); // 0.2126 * 255 = 54.2
        assert_eq!(grey_of_rgb(0, 255, 0), 182); // 0.7152 * 255 = 182.4
        assert_eq!(grey_of_rgb(0, 0, 255), 18); // 0.0722 * 255 = 18.4
        for value in 0..=255 {
            assert_eq!(grey_of_rgb(value, value, value), value);
        }
    }

    #[test]
    fn levels_take_the_nearest_shade() {
        assert_eq!([0, 8, 9, 127, 128, 255].map(|grey| level_of_grey(grey, 16)), [0, 0, 1, 7, 8, 15]);
        assert_eq!([0, 127, 128, 255].map(|grey| level_of_grey(grey, 2)), [0, 0, 1, 1]);
    }

    /// A neutral lightness and back: L* of sRGB 119 is 50.03 (from the sRGB and CIE formulas, computed by hand).
    #[test]
    fn a_lightness_has_its_grey() {
        assert_eq!(srgb_of_lab(lab_of_lightness(50.034)), [119; 3]);
        assert_eq!([0.0, 100.0].map(|lightness| srgb_of_lab(lab_of_lightness(lightness))), [[0; 3], [255; 3]]);
        for grey in 0..=255 {
            assert_eq!(srgb_of_lab(lab_of_srgb([grey; 3])), [grey; 3]);
        }
    }

    /// The primaries and the white of ITU-R BT.709, x, y of (0.64, 0.33), (0.30, 0.60), (0.15, 0.06) and D65, brought to CIE 1976
    /// coordinates by u' = 4x / (-2x + 12y + 3), v' = 9y / (-2x + 12y + 3).
    #[test]
    fn primaries_have_their_chromaticity() {
        for (srgb, [x, y]) in [
            ([255, 0, 0], [0.64, 0.33]),
            ([0, 255, 0], [0.30, 0.60]),
            ([0, 0, 255], [0.15, 0.06]),
            ([255; 3], [0.3127, 0.3290]),
            ([0; 3], [0.3127, 0.3290]),
        ] {
            let sum = -2.0 * x + 12.0 * y + 3.0;
            let [u, v] = chromaticity(srgb);
            assert!((u - 4.0 * x / sum).abs() < 5e-4 && (v - 9.0 * y / sum).abs() < 5e-4, "{srgb:?}: {u} {v}");
        }
    }

    #[test]
    fn sixteen_bits_and_alpha_round() {
        assert_eq!([0, 128, 129, 257, 65_535].map(eight_bits), [0, 0, 1, 1, 255]);
        assert_eq!(over_white(0, 0), 255);
        assert_eq!(over_white(0, 255), 0);
        assert_eq!(over_white(0, 128), 127);
    }
}
