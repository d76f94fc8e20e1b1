//! Screens brought to what a panel can show: every pixel a level of its ink, tone kept in linear light, edges kept crisp.
//!
//! Works on pictures and inks; knows no plans, no files and no PNG.

mod dither;
mod drawn;
mod edges;
mod eye;
mod reached_levels;
mod tones;

use crate::{
    display::{Ink, Level, ink::InkKind},
    screen::Picture,
};
use drawn::Drawn;
pub use eye::{BLUR_DEGREES, blur_px};
pub use reached_levels::Reach;
use tones::Tones;

/// How tones between the levels are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// Not at all: every pixel takes the nearest level.
    Threshold,
    /// By a pattern that stands still: Bayer's matrix of 8 x 8.
    Ordered,
    /// By handing errors on to the pixels that follow: Floyd and Steinberg.
    Diffusion,
}

/// A screen in levels, and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Prepared {
    /// One level a pixel, row by row.
    pub levels: Vec<Level>,
    /// Pixels whose level is not what they were drawn in.
    pub not_as_drawn: u64,
    /// How far it looks from the drawing on a panel that had every tone: the mean CIEDE2000 over all pixels, both blurred
    /// as an eye does.
    pub apart: f64,
}

/// Brings a screen to the levels of a panel; `None` for segments, which have no tones. `blur_px` is the blur of the
/// reader's eye, see [`blur_px`].
pub fn prepare(picture: &Picture, ink: &Ink, how: How, blur_px: f64) -> Option<Prepared> {
    if matches!(ink.kind(), InkKind::Segments(_)) {
        return None;
    }
    let drawn = Drawn::of(picture);
    let tones = Tones::of(&drawn, ink);
    let settled = edges::settle(&drawn, &tones, &picture.texts);
    let levels = match how {
        How::Threshold => dither::threshold(&settled, &tones),
        How::Ordered => dither::ordered(&settled, &tones, drawn.width),
        How::Diffusion => dither::diffusion(&settled, &tones, drawn.width),
    };
    let pixels = || drawn.of_pixel.iter().zip(&levels);
    let not_as_drawn = pixels().filter(|(colour, level)| tones.stands_for(**colour) != Some(**level)).count() as u64;
    let apart = eye::apart(
        picture.size(),
        tones.channels(),
        &|pixel| tones.wanted(drawn.of_pixel[pixel]),
        &|pixel| tones.of_level(levels[pixel]),
        blur_px,
    );
    Some(Prepared { levels, not_as_drawn, apart })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        display::ink::Colour,
        geometry::Size,
        screen::{decode_png, png_of_levels},
        units::linear,
    };
    use proptest::prelude::*;

    const ALL: [How; 3] = [How::Threshold, How::Ordered, How::Diffusion];

    fn inks() -> Vec<Ink> {
        let sign =
            [[26, 13, 35], [185, 202, 205], [121, 9, 0], [40, 82, 57], [0, 69, 139], [202, 184, 0], [168, 80, 10]];
        vec![
            Ink::grey_between(2, 0.04, 0.44),
            Ink::grey_measured(vec![0.03, 0.121, 0.224, 0.363]),
            Ink::grey_between(16, 0.03, 0.4),
            Ink::palette(sign.iter().map(|srgb| Colour::new(format!("{srgb:?}"), *srgb)).collect()),
        ]
    }

    /// A picture as a screen brings it: greys on grey ink, colours on a palette.
    fn picture(size: Size, ink: &Ink, colour: impl Fn(u32, u32) -> [u8; 3]) -> Picture {
        let samples = image::RgbImage::from_fn(size.width, size.height, |x, y| image::Rgb(colour(x, y)));
        let mut bytes = std::io::Cursor::new(Vec::new());
        samples.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        decode_png(&bytes.into_inner(), size, ink, Vec::new()).unwrap()
    }

    fn grey(size: Size, ink: &Ink, shade: u8) -> Picture {
        picture(size, ink, |_, _| [shade; 3])
    }

    fn levels(picture: &Picture, ink: &Ink, how: How) -> Vec<Level> {
        prepare(picture, ink, how, 1.0).unwrap().levels
    }

    fn mean_reflectance(levels: &[Level], ink: &Ink) -> f64 {
        levels.iter().map(|level| ink.reflectance(*level)).sum::<f64>() / levels.len() as f64
    }

    /// The reflectance that a shade is to have, by the definition in `docs/model.md`, written again.
    fn wanted(ink: &Ink, shade: u8) -> f64 {
        let above = ink.all().iter().find(|level| ink.shade(*level) >= shade).unwrap();
        if ink.shade(above) == shade {
            return ink.reflectance(above);
        }
        let [dark, light] = [above - 1, above].map(|level| linear(ink.shade(level)));
        let share = (linear(shade) - dark) / (light - dark);
        ink.reflectance(above - 1) + share * (ink.reflectance(above) - ink.reflectance(above - 1))
    }

    fn largest_step(ink: &Ink) -> f64 {
        (1..ink.levels() as u8).map(|level| ink.reflectance(level) - ink.reflectance(level - 1)).fold(0.0, f64::max)
    }

    /// The pattern gives each of 64 cells its level by whether the share is above (B + 1/2) / 64: the share shown is off by
    /// half a cell at most, 1/128 of the step between the two levels.
    #[test]
    fn a_flat_grey_keeps_its_mean_tone_in_an_ordered_pattern() {
        let size = Size { width: 40, height: 24 };
        for ink in &inks()[..3] {
            for shade in 0..=255 {
                let mean = mean_reflectance(&levels(&grey(size, ink, shade), ink, How::Ordered), ink);
                let off = (mean - wanted(ink, shade)).abs();
                assert!(off <= largest_step(ink) / 128.0 + 1e-12, "{} levels, shade {shade}: {off}", ink.levels());
            }
        }
    }

    /// An error is half a step s at most: it is what is wanted plus a mean of errors, less the nearest level. What leaves
    /// the picture is 9/16 of the errors of the last row, 8/16 of those of the last column and 3/16 of those of the first;
    /// everything else is handed on. So the mean of w x h px is off by s/2 (9 / (16 h) + 11 / (16 w)) at most.
    #[test]
    fn a_flat_grey_keeps_its_mean_tone_in_error_diffusion() {
        let size = Size { width: 40, height: 24 };
        for ink in &inks()[..3] {
            let bound = largest_step(ink) / 2.0 * (9.0 / (16.0 * 24.0) + 11.0 / (16.0 * 40.0));
            for shade in 0..=255 {
                let mean = mean_reflectance(&levels(&grey(size, ink, shade), ink, How::Diffusion), ink);
                let off = (mean - wanted(ink, shade)).abs();
                assert!(off <= bound + 1e-12, "{} levels, shade {shade}: {off}, bound {bound}", ink.levels());
            }
        }
    }

    /// By the definition: the level whose reflectance is nearest to the one that is wanted.
    #[test]
    fn a_threshold_takes_the_nearest_reflectance() {
        let size = Size { width: 3, height: 3 };
        for ink in &inks()[..3] {
            for shade in 0..=255 {
                let far = |level: Level| (ink.reflectance(level) - wanted(ink, shade)).abs();
                let [first, ..] = levels(&grey(size, ink, shade), ink, How::Threshold)[..] else { unreachable!() };
                assert!(ink.all().iter().all(|level| far(first) <= far(level)), "shade {shade} became {first}");
            }
        }
        // On two levels the middle of linear light is sRGB 188 (0.5 encodes to 0.735, IEC 61966-2-1), not 128.
        let two = &inks()[0];
        assert_eq!([187, 188].map(|shade| levels(&grey(size, two, shade), two, How::Threshold)[0]), [0, 1]);
    }

    /// A tint in the middle of what the seven colours mix keeps its mean, each channel within what may leave at the edges: the
    /// bound above with the carried error's own limit, the palette's reach, in place of half a step. (In a pattern less leaves:
    /// the last error of 64 cells.)
    #[test]
    fn a_tint_of_a_palette_keeps_its_mean() {
        let (ink, size) = (&inks()[3], Size { width: 64, height: 64 });
        let light = |level: Level| ink.srgb(level).map(linear);
        let (black, white) = (light(0), light(1));
        let screen = picture(size, ink, |_, _| [150, 150, 150]);
        for how in [How::Ordered, How::Diffusion] {
            let shown = levels(&screen, ink, how);
            for channel in 0..3 {
                let reach: Vec<f64> = ink.all().iter().map(|level| light(level)[channel]).collect();
                let reach = reach.iter().copied().fold(0.0, f64::max) - reach.iter().copied().fold(1.0, f64::min);
                let mean = shown.iter().map(|level| light(*level)[channel]).sum::<f64>() / size.pixels() as f64;
                let meant = black[channel] + (white[channel] - black[channel]) * linear(150);
                let bound = reach * 20.0 / (16.0 * 64.0);
                assert!((mean - meant).abs() <= bound, "{how:?}, channel {channel}: {mean} for {meant}, {bound}");
            }
        }
    }

    /// Black letters (here bars of 2 px) with a half-covered edge on a tint between two levels: the bars stay solid, their
    /// edges fall to one side, and the tint is a pattern right up to them.
    #[test]
    fn edges_stay_crisp_on_a_tint() {
        let (ink, size) = (&inks()[0], Size { width: 24, height: 16 });
        let shade = |x: u32| match x % 12 {
            5 | 6 => 0,
            // 40 is nearer to the bar, 90 to the tint of 119.
            4 => 40,
            7 => 90,
            _ => 119,
        };
        let screen = picture(size, ink, |x, _| [shade(x); 3]);
        let tint = grey(size, ink, 119);
        for how in [How::Ordered, How::Diffusion] {
            let [shown, plain] = [&screen, &tint].map(|screen| levels(screen, ink, how));
            let column =
                |levels: &[Level], x: usize| -> Vec<Level> { levels.iter().skip(x).step_by(24).copied().collect() };
            for x in [4, 5, 6, 16, 17, 18] {
                assert!(column(&shown, x).iter().all(|level| *level == 0), "{how:?}: column {x} is solid");
            }
            let tinted = [0, 1, 2, 3, 7, 8, 9, 10, 11, 12, 13, 14, 15, 19, 20, 21, 22, 23];
            if how == How::Ordered {
                assert!(
                    tinted.iter().all(|x| column(&shown, *x) == column(&plain, *x)),
                    "the pattern goes on beside bars"
                );
            }
            let light =
                |levels: &[Level]| tinted.iter().flat_map(|x| column(levels, *x)).filter(|level| *level == 1).count();
            // 288 px of which a share of 0.184 (119 in linear light) is light: 53, less what the errors at the bars take away.
            assert!((38..=62).contains(&light(&shown)), "{how:?}: {} px of the tint are light", light(&shown));
        }
    }

    /// A soft ramp has no edges: it is shaded as a tone throughout, also where its neighbours differ.
    #[test]
    fn a_soft_ramp_is_no_edge() {
        let (ink, size) = (&inks()[0], Size { width: 86, height: 32 });
        let screen = picture(size, ink, |x, _| [x as u8 * 3; 3]);
        let shown = levels(&screen, ink, How::Ordered);
        for left in (0..80).step_by(8) {
            let block = (0..32).flat_map(|y| (left..left + 8).map(move |x| y * 86 + x));
            let mean = block.clone().map(|at| ink.reflectance(shown[at])).sum::<f64>() / 256.0;
            let meant = block.map(|at| wanted(ink, (at % 86) as u8 * 3)).sum::<f64>() / 256.0;
            // Each of the eight columns has its own share, off by half of one of its eight cells at most.
            assert!((mean - meant).abs() <= largest_step(ink) / 16.0, "from {left}: {mean} for {meant}");
        }
    }

    #[test]
    fn pure_colours_stand_for_the_panels_own() {
        let (ink, size) = (&inks()[3], Size { width: 9, height: 9 });
        // Pure red is nearest to this panel's orange, as a review reads it too.
        for (pure, level) in [([0; 3], 0), ([255; 3], 1), ([255, 0, 0], 6), ([255, 255, 0], 5)] {
            for how in ALL {
                let prepared = prepare(&picture(size, ink, |_, _| pure), ink, how, 1.0).unwrap();
                assert_eq!(prepared, Prepared { levels: vec![level; 81], not_as_drawn: 0, apart: 0.0 }, "{pure:?}");
            }
        }
    }

    #[test]
    fn what_the_eye_sees_falls_with_the_distance_and_counts_pixels() {
        let (ink, size) = (&inks()[0], Size { width: 32, height: 32 });
        let screen = grey(size, ink, 188);
        let near = prepare(&screen, ink, How::Ordered, 0.1).unwrap();
        let far = prepare(&screen, ink, How::Ordered, 4.0).unwrap();
        assert_eq!((near.not_as_drawn, far.not_as_drawn), (1024, 1024));
        assert!(near.apart > 15.0 && far.apart < 0.5, "{} {}", near.apart, far.apart);
        // Nothing but the threshold's own tone is left of a flat grey from any distance: L* of white less that of the half.
        let flat = prepare(&screen, ink, How::Threshold, 4.0).unwrap();
        assert!(flat.apart > 10.0, "{}", flat.apart);
    }

    proptest! {
        #![proptest_config(crate::kept_failures::with_cases(48))]

        #[test]
        fn every_pixel_is_a_level_of_the_panel(
            shades in proptest::collection::vec(any::<[u8; 3]>(), 12 * 9),
            which in 0_usize..4,
        ) {
            let (ink, size) = (&inks()[which], Size { width: 12, height: 9 });
            let screen = picture(size, ink, |x, y| shades[(y * 12 + x) as usize]);
            for how in ALL {
                let prepared = prepare(&screen, ink, how, 1.0).unwrap();
                prop_assert_eq!(prepared.levels.len(), 108);
                prop_assert!(prepared.levels.iter().all(|level| usize::from(*level) < ink.levels()));
                prop_assert!(prepared.apart.is_finite());
            }
        }

        #[test]
        fn a_picture_in_levels_comes_back_unchanged(
            numbers in proptest::collection::vec(any::<u8>(), 12 * 9),
            coarse in 1_u32..5,
            which in 0_usize..4,
        ) {
            let (ink, size) = (&inks()[which], Size { width: 12, height: 9 });
            let level = |x: u32, y: u32| numbers[(y / coarse * 12 + x / coarse) as usize] % ink.levels() as u8;
            let screen = picture(size, ink, |x, y| ink.srgb(level(x, y)));
            let meant: Vec<Level> = (0..108).map(|at| level(at % 12, at / 12)).collect();
            for how in ALL {
                let prepared = prepare(&screen, ink, how, 1.0).unwrap();
                prop_assert_eq!(&prepared.levels, &meant);
                prop_assert_eq!(prepared.not_as_drawn, 0);
                prop_assert!(prepared.apart < 1e-3);
            }
            // And as it is written: prepared again, nothing moves.
            let bytes = png_of_levels(&meant, size, ink).unwrap();
            let again = decode_png(&bytes, size, ink, Vec::new()).unwrap();
            prop_assert_eq!(levels(&again, ink, How::Diffusion), meant);
        }
    }
}
