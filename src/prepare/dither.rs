//! Tones by levels: the nearest one, a pattern of them, or errors handed on. Pixels that are settled stay as they are.
//!
//! All three work in linear light.

use super::{
    edges::Settled,
    tones::{Light, Tones},
};
use crate::display::Level;

/// Every pixel at the level nearest to its tone.
pub(super) fn threshold(settled: &[Settled], tones: &Tones<'_>) -> Vec<Level> {
    let nearest: Vec<Level> = (0..tones.count()).map(|colour| tones.nearest(tones.wanted(colour as u32))).collect();
    let level = |pixel: &Settled| match pixel {
        Settled::Level(level) => *level,
        Settled::Tone(colour) => nearest[*colour as usize],
    };
    settled.iter().map(level).collect()
}

/// The threshold matrix of 8 x 8: B. E. Bayer, *An optimum method for two-level rendition of continuous-tone pictures*, IEEE
/// International Conference on Communications, 1973. Each cell is four times that of the matrix of half the side, and 0, 2,
/// 3 or 1 for its own quarter.
const BAYER: [[u8; 8]; 8] = bayer();

const fn bayer() -> [[u8; 8]; 8] {
    let mut matrix = [[0; 8]; 8];
    let mut y = 0;
    while y < 8 {
        let mut x = 0;
        while x < 8 {
            // The lowest bit of the place decides about quarters of the pattern's finest grid, and so weighs most.
            let mut bit = 0;
            while bit < 3 {
                let (right, below) = (x >> bit & 1, y >> bit & 1);
                matrix[y][x] |= ((2 * (right ^ below) + below) << (2 * (2 - bit))) as u8;
                bit += 1;
            }
            x += 1;
        }
        y += 1;
    }
    matrix
}

/// Every pixel by its place in the pattern. The pattern stands still on the screen: what is drawn elsewhere moves nothing.
pub(super) fn ordered(settled: &[Settled], tones: &Tones<'_>, width: usize) -> Vec<Level> {
    let mut shares: Vec<Option<Box<[Level; 64]>>> = vec![None; tones.count()];
    let mut level = |(at, pixel): (usize, &Settled)| match pixel {
        Settled::Level(level) => *level,
        Settled::Tone(colour) => {
            let cells = shares[*colour as usize].get_or_insert_with(|| Box::new(share_out(tones, *colour)));
            cells[usize::from(BAYER[at / width % 8][at % width % 8])]
        }
    };
    settled.iter().enumerate().map(&mut level).collect()
}

/// The levels of the 64 cells of the pattern for one tone, the lightest first.
fn share_out(tones: &Tones<'_>, colour: u32) -> [Level; 64] {
    if let Some(level) = tones.stands_for(colour) {
        return [level; 64];
    }
    let wanted = tones.in_reach(colour);
    if tones.channels() == 1 {
        return between_two_levels(tones, wanted[0]);
    }
    // The colours are found one after the other, each with the error of those before it: their mean nears the tone.
    let (most, mut carried) = (tones.most_carried(), [0.0; 3]);
    let mut cells = [0; 64];
    for cell in &mut cells {
        let aim = plus(wanted, carried);
        *cell = tones.nearest(aim);
        carried = limited(less(aim, tones.of_level(*cell)), most);
    }
    cells.sort_by(|one, other| {
        let light = |level: Level| tones.ink.reflectance(level);
        light(*other).total_cmp(&light(*one)).then(one.cmp(other))
    });
    cells
}

/// A grey by the two levels around it: the lighter where its share is above (B + 1/2) / 64.
fn between_two_levels(tones: &Tones<'_>, wanted: f64) -> [Level; 64] {
    let lighter = tones.ink.all().iter().find(|level| tones.of_level(*level)[0] > wanted).unwrap_or(tones.ink.white());
    let darker = lighter.saturating_sub(1);
    let [least, most] = [darker, lighter].map(|level| tones.of_level(level)[0]);
    let share = (wanted - least) / (most - least);
    std::array::from_fn(|cell| if share > (cell as f64 + 0.5) / 64.0 { lighter } else { darker })
}

/// Errors handed on to the right and below, row by row from the left. Settled pixels neither give nor take.
pub(super) fn diffusion(settled: &[Settled], tones: &Tones<'_>, width: usize) -> Vec<Level> {
    let most = tones.most_carried();
    let wanted = |at: usize| match settled[at] {
        Settled::Level(_) => None,
        Settled::Tone(colour) => Some(tones.in_reach(colour)),
    };
    let nearest = |aim: Light| {
        let level = tones.nearest(aim);
        (level, limited(less(aim, tones.of_level(level)), most))
    };
    let diffused = floyd_steinberg(settled.len(), width, wanted, nearest);
    let level = |(pixel, level): (&Settled, Level)| if let Settled::Level(own) = pixel { *own } else { level };
    settled.iter().zip(diffused).map(level).collect()
}

/// Error diffusion: R. W. Floyd and L. Steinberg, *An adaptive algorithm for spatial greyscale*, Proceedings of the Society
/// for Information Display 17(2), 1976. Plain from left to right, as published: what comes out can be checked against any other
/// implementation, which every way of turning at the row's end would lose. `wanted` is nothing for a pixel that takes and
/// gives no error; `nearest` gives the level and what it leaves open.
fn floyd_steinberg(
    pixels: usize,
    width: usize,
    wanted: impl Fn(usize) -> Option<Light>,
    nearest: impl Fn(Light) -> (Level, Light),
) -> Vec<Level> {
    let mut levels = vec![0; pixels];
    // The errors for this row and for the next, with a cell to spare at either end for what leaves the picture.
    let (mut here, mut below) = (vec![[0.0; 3]; width + 2], vec![[0.0; 3]; width + 2]);
    for (at, level) in levels.iter_mut().enumerate() {
        let x = at % width + 1;
        if x == 1 {
            std::mem::swap(&mut here, &mut below);
            below.fill([0.0; 3]);
        }
        let Some(wanted) = wanted(at) else { continue };
        let error;
        (*level, error) = nearest(plus(wanted, here[x]));
        for (place, sixteenths) in [(&mut here[x + 1], 7.0), (&mut below[x - 1], 3.0)] {
            *place = plus(*place, error.map(|part| part * sixteenths / 16.0));
        }
        for (place, sixteenths) in [(x, 5.0), (x + 1, 1.0)] {
            below[place] = plus(below[place], error.map(|part| part * sixteenths / 16.0));
        }
    }
    levels
}

fn plus(one: Light, other: Light) -> Light {
    std::array::from_fn(|at| one[at] + other[at])
}

fn less(one: Light, other: Light) -> Light {
    std::array::from_fn(|at| one[at] - other[at])
}

fn limited(error: Light, most: Light) -> Light {
    std::array::from_fn(|at| error[at].clamp(-most[at], most[at]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{GrayImage, Luma, imageops::colorops};
    use proptest::test_runner::{Config, TestRunner};

    /// The matrix as it is printed for the method (from memory).
    #[test]
    fn the_matrix_is_the_published_one() {
        let published = [
            [0, 32, 8, 40, 2, 34, 10, 42],
            [48, 16, 56, 24, 50, 18, 58, 26],
            [12, 44, 4, 36, 14, 46, 6, 38],
            [60, 28, 52, 20, 62, 30, 54, 22],
            [3, 35, 11, 43, 1, 33, 9, 41],
            [51, 19, 59, 27, 49, 17, 57, 25],
            [15, 47, 7, 39, 13, 45, 5, 37],
            [63, 31, 55, 23, 61, 29, 53, 21],
        ];
        assert_eq!(BAYER, published);
    }

    /// Black and white of a `u8`, the darker from 0 to 127.
    struct TwoLevels;

    impl colorops::ColorMap for TwoLevels {
        type Color = Luma<u8>;

        fn index_of(&self, colour: &Luma<u8>) -> usize {
            usize::from(colour.0[0] > 127)
        }

        fn map_color(&self, colour: &mut Luma<u8>) {
            colour.0[0] = if colour.0[0] > 127 { 255 } else { 0 };
        }
    }

    /// Our own diffusion on the same setting: 8-bit shades as they are, levels 0 and 255, no settled pixels. Gives also what
    /// each decision was made on.
    fn diffused(shades: &[u8], width: usize) -> (Vec<Level>, Vec<f64>) {
        let aims = std::cell::RefCell::new(Vec::new());
        let levels = floyd_steinberg(
            shades.len(),
            width,
            |at| Some([f64::from(shades[at]); 3]),
            |aim| {
                aims.borrow_mut().push(aim[0]);
                let level = u8::from(aim[0] > 127.5);
                (level, aim.map(|part| part - 255.0 * f64::from(level)))
            },
        );
        (levels, aims.into_inner())
    }

    /// How far the library's whole numbers may have drifted from ours at each pixel, while every decision was the same: each
    /// of the pieces of error that reach a pixel is cut to a whole number, by less than 1, and hands on the drift of where it
    /// comes from.
    fn drift(width: usize, height: usize) -> Vec<f64> {
        let mut drift = vec![0.0; width * height];
        for at in 0..width * height {
            let (x, y) = (at % width, at / width);
            let from = [(1, 0, 7.0), (1, 1, 1.0), (0, 1, 5.0), (-1, 1, 3.0)];
            for (left, up, sixteenths) in from {
                let Some(source_x) = x.checked_add_signed(-left).filter(|source_x| *source_x < width) else { continue };
                let Some(source_y) = y.checked_sub(up) else { continue };
                drift[at] += 1.0 + drift[source_y * width + source_x] * sixteenths / 16.0;
            }
        }
        drift
    }

    /// Against `image::imageops::dither`, which is Floyd-Steinberg in whole numbers of 8 bits: on two levels evenly spaced in
    /// the working space, without edges that are kept, both must decide alike at every pixel, in reading order, until one
    /// where the decision is nearer than the drift, or where 8 bits cannot hold what was carried.
    #[test]
    fn error_diffusion_agrees_with_the_image_library() {
        const WIDTH: usize = 9;
        const HEIGHT: usize = 7;
        let drift = drift(WIDTH, HEIGHT);
        let compared = std::cell::Cell::new(0);
        let shades = proptest::collection::vec(40_u8..216, WIDTH * HEIGHT);
        TestRunner::new_with_rng(
            Config::with_cases(2000),
            proptest::test_runner::TestRng::deterministic_rng(proptest::test_runner::RngAlgorithm::ChaCha),
        )
        .run(&shades, |shades| {
            let (levels, aims) = diffused(&shades, WIDTH);
            let mut picture = GrayImage::from_raw(WIDTH as u32, HEIGHT as u32, shades).unwrap();
            colorops::dither(&mut picture, &TwoLevels);
            let decided = |at: usize| (aims[at] - 127.5).abs() > drift[at] + 0.5;
            let held = |at: usize| (drift[at]..=255.0 - drift[at]).contains(&aims[at]);
            let safe = (0..levels.len()).take_while(|at| decided(*at) && held(*at)).count();
            for (at, level) in levels.iter().enumerate().take(safe) {
                proptest::prop_assert_eq!(255 * level, picture.as_raw()[at], "pixel {}", at);
            }
            compared.set(compared.get() + safe);
            Ok(())
        })
        .unwrap();
        assert!(compared.get() > 5_000, "only {} pixels could be compared", compared.get());
    }

    /// A row and its follower by hand: 100 becomes 0 and leaves 100, of which 43.75 go right, 31.25 straight below, 6.25 to the
    /// right below; 100 + 43.75 is above the middle and becomes 255.
    #[test]
    fn errors_go_where_the_paper_sends_them() {
        let (levels, aims) = diffused(&[100, 100, 100, 100], 2);
        // The second leaves -111.25: 3/16 of it, -20.859375, below to the left, 5/16, -34.765625, straight below.
        assert_eq!(aims[..3], [100.0, 143.75, 100.0 + 31.25 - 20.859_375]);
        // The third is 110.390625, becomes 0 and leaves all of it: 7/16 are 48.2958984375.
        assert!((aims[3] - (100.0 + 6.25 - 34.765_625 + 48.295_898_437_5)).abs() < 1e-12);
        assert_eq!(levels, [0, 1, 0, 0]);
    }
}
