//! How far apart two pictures look from where a reader looks: blurred in linear light as an eye does, then compared.
//!
//! Knows light and distances, no inks.

use super::tones::Light;
use crate::{
    geometry::Size,
    units::{colour_difference, lab_of_light, lab_of_lightness, length_mm, lightness_of_reflectance},
};

/// How wide an eye blurs: light spreads by exp(-(r/s)^2), *s* in degrees of the field of view. It is the narrowest and by far
/// the heaviest part of the filter for luminance in X. Zhang and B. A. Wandell, *A spatial extension of CIELAB for digital
/// color image reproduction*, Journal of the Society for Information Display 5(1), 1997 (the figure at second hand); its wider
/// parts, and the wider filters for colours, are left out, so that patterns are rather seen too well.
pub const BLUR_DEGREES: f64 = 0.0283;

/// That spread at a distance, in pixels: the standard deviation of the Gaussian.
pub fn blur_px(distance_mm: f64, pixels_per_inch: f64) -> f64 {
    distance_mm * BLUR_DEGREES.to_radians().tan() / length_mm(1.0, pixels_per_inch) / std::f64::consts::SQRT_2
}

/// The mean CIEDE2000 of two pictures, both blurred; of greys one channel is enough.
pub(super) fn apart(
    size: Size,
    channels: usize,
    one: &dyn Fn(usize) -> Light,
    other: &dyn Fn(usize) -> Light,
    blur_px: f64,
) -> f64 {
    let kernel = kernel(blur_px);
    let blurred = |picture: &dyn Fn(usize) -> Light| -> Vec<Vec<f32>> {
        (0..channels).map(|channel| blur(size, &|at| picture(at)[channel] as f32, &kernel)).collect()
    };
    let (one, other) = (blurred(one), blurred(other));
    let lab = |planes: &[Vec<f32>], at: usize| match planes {
        [grey] => lab_of_lightness(lightness_of_reflectance(f64::from(grey[at]))),
        planes => lab_of_light(std::array::from_fn(|channel| f64::from(planes[channel][at]))),
    };
    let alike = |at: usize| one.iter().zip(&other).all(|(one, other)| one[at].to_bits() == other[at].to_bits());
    let pixels = size.pixels() as usize;
    let far = |at: usize| if alike(at) { 0.0 } else { colour_difference(lab(&one, at), lab(&other, at)) };
    (0..pixels).map(far).sum::<f64>() / pixels as f64
}

/// The weights from the middle outward; the middle counts once, all others on both sides. Their sum is 1.
fn kernel(deviation: f64) -> Vec<f32> {
    let reach = (4.0 * deviation).ceil() as usize;
    let weights: Vec<f64> =
        (0..=reach).map(|at| (-(at as f64).powi(2) / (2.0 * deviation * deviation).max(1e-9)).exp()).collect();
    let sum = 2.0 * weights.iter().sum::<f64>() - weights[0];
    weights.iter().map(|weight| (weight / sum) as f32).collect()
}

/// Blurs along the rows and then along the columns. Beyond an edge lies what lies at the edge.
fn blur(size: Size, picture: &dyn Fn(usize) -> f32, kernel: &[f32]) -> Vec<f32> {
    let (width, height) = (size.width as usize, size.height as usize);
    let mut plane: Vec<f32> = (0..width * height).map(picture).collect();
    let mut line = Vec::new();
    for row in plane.chunks_exact_mut(width) {
        line.clear();
        line.extend_from_slice(row);
        for (x, out) in row.iter_mut().enumerate() {
            *out = around(kernel, x, width, |x| line[x]);
        }
    }
    let rows = plane.clone();
    for (y, row) in plane.chunks_exact_mut(width).enumerate() {
        for (x, out) in row.iter_mut().enumerate() {
            *out = around(kernel, y, height, |y| rows[y * width + x]);
        }
    }
    plane
}

fn around(kernel: &[f32], middle: usize, count: usize, value: impl Fn(usize) -> f32) -> f32 {
    let mut sum = kernel[0] * value(middle);
    for (far, weight) in kernel.iter().enumerate().skip(1) {
        sum += weight * (value(middle.saturating_sub(far)) + value((middle + far).min(count - 1)));
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageBuffer, Luma, imageops::blur as library_blur};

    /// At 350 mm, 0.0283 degrees are 0.17287 mm, on 254 px to the inch 1.7287 px; over the root of 2, 1.2224 px.
    #[test]
    fn the_blur_follows_distance_and_pixels() {
        assert!((blur_px(350.0, 254.0) - 1.2224).abs() < 5e-4);
        assert!((blur_px(700.0, 127.0) - blur_px(350.0, 254.0)).abs() < 1e-12);
    }

    /// Against the Gaussian of the `image` library in the middle of a picture, where both see the same neighbours. It cuts its
    /// kernel earlier than we do, by less than 1 % of the weight.
    #[test]
    fn the_blur_agrees_with_the_image_library() {
        let size = Size { width: 41, height: 41 };
        let value = |at: usize| if (at * 7919 % 97) < 40 { 1.0_f32 } else { 0.1 };
        let picture =
            ImageBuffer::<Luma<f32>, _>::from_raw(41, 41, (0..41 * 41).map(value).collect::<Vec<_>>()).unwrap();
        let theirs = library_blur(&picture, 1.3);
        let ours = blur(size, &value, &kernel(1.3));
        for y in 10..31 {
            for x in 10..31 {
                let (one, other) = (ours[y * 41 + x], theirs.get_pixel(x as u32, y as u32).0[0]);
                assert!((one - other).abs() < 0.01, "at {x}, {y}: {one} and {other}");
            }
        }
    }

    /// A uniform shift is no pattern: the difference is that of the two lightnesses, whatever the blur.
    #[test]
    fn flat_pictures_differ_by_their_lightness() {
        let size = Size { width: 8, height: 8 };
        let lab = |y: f64| lab_of_lightness(lightness_of_reflectance(y));
        for deviation in [0.0, 1.0, 9.0] {
            let far = apart(size, 1, &|_| [0.2; 3], &|_| [0.3; 3], deviation);
            assert!((far - colour_difference(lab(0.2), lab(0.3))).abs() < 1e-4, "{far}");
        }
    }
}
