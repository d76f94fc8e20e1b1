//! How many pixels of a mask a viewer's field of view holds. Knows nothing of what the pixels do.

use super::geometry::{Mask, Size, count, mask_of, tight_box};

const TILE: i64 = 8;

/// What a viewer has before the eye.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View {
    /// The field's sides in whole pixels.
    pub(crate) long: i64,
    pub(crate) short: i64,
    pub(crate) sr_of_pixel: f64,
}

impl View {
    pub(crate) fn new(pixels_per_inch: f64, distance_mm: f64) -> View {
        let pixel_mm = 25.4 / pixels_per_inch;
        let side = |part: f64| ((part * distance_mm / pixel_mm).floor() as i64).max(1);
        View { long: side(0.1745), short: side(0.1309), sr_of_pixel: pixel_mm * pixel_mm / (distance_mm * distance_mm) }
    }

    /// The field either way up.
    fn ways_up(self) -> [Size; 2] {
        [Size { w: self.long, h: self.short }, Size { w: self.short, h: self.long }]
    }

    /// As `docs/model.md` has it: all of them where they fit into one field; otherwise those of the fullest block of tiles that a
    /// field could touch, and never more than the field has within the box around them.
    pub(crate) fn told(self, size: Size, mask: &Mask) -> usize {
        let Some(around) = tight_box(size, mask) else { return 0 };
        if self.holds_all(size, mask) {
            return count(mask);
        }
        let most_in = |field: Size| {
            let block = Size { w: tiles_under(field.w) * TILE, h: tiles_under(field.h) * TILE };
            let own = (field.w.min(around.w) * field.h.min(around.h)) as usize;
            fullest(size, mask, block, TILE).min(own)
        };
        self.ways_up().into_iter().map(most_in).max().unwrap_or(0)
    }

    /// In the fullest field that there is, wherever it stands.
    pub(crate) fn fullest(self, size: Size, mask: &Mask) -> usize {
        if self.holds_all(size, mask) {
            return count(mask);
        }
        self.ways_up().into_iter().map(|field| fullest(size, mask, field, 1)).max().unwrap_or(0)
    }

    fn holds_all(self, size: Size, mask: &Mask) -> bool {
        let around = tight_box(size, mask);
        around.is_none_or(|b| self.ways_up().iter().any(|field| b.w <= field.w && b.h <= field.h))
    }
}

/// How many tiles in a row a side of so many pixels can touch.
fn tiles_under(side: i64) -> i64 {
    (side + 6) / TILE + 1
}

/// The most pixels in any box of that size that begins at a multiple of `step`.
fn fullest(size: Size, mask: &Mask, field: Size, step: i64) -> usize {
    let begins = |side: i64| (0..side).step_by(step as usize);
    let mut most = 0;
    for x in begins(size.w) {
        let wide = field.w.min(size.w - x);
        let held = |y: i64| count(&mask[(y * size.w + x) as usize..][..wide as usize]);
        let rows: Vec<usize> = (0..size.h).map(held).collect();
        for y in begins(size.h) {
            let end = (y + field.h).min(size.h);
            most = most.max(rows[y as usize..end as usize].iter().sum());
        }
    }
    most
}

#[test]
fn a_field_stands_on_the_tiles_where_it_does_not_hold_all() {
    let size = Size { w: 40, h: 20 };
    let view = View { long: 10, short: 4, sr_of_pixel: 1.0 };
    let mask = |places: &[(i64, i64)]| mask_of(size, |x, y| places.contains(&(x, y)));
    let near = mask(&[(7, 7), (16, 10)]);
    assert_eq!((view.told(size, &near), view.fullest(size, &near)), (2, 2));
    // Eleven columns apart: no field holds both, but ten pixels can touch three tiles.
    let apart = mask(&[(7, 7), (18, 7)]);
    assert_eq!((view.told(size, &apart), view.fullest(size, &apart)), (2, 1));
    let far = mask(&[(7, 7), (32, 7), (33, 7)]);
    assert_eq!((view.told(size, &far), view.fullest(size, &far)), (2, 2));
    // 40 columns of 3 rows: a field holds 30 of them, four by ten only 12.
    let bar = mask_of(size, |_, y| y < 3);
    assert_eq!((view.told(size, &bar), view.fullest(size, &bar)), (30, 30));
}

#[test]
fn the_field_and_a_pixel_at_a_distance() {
    // A pixel is a tenth of a millimetre: 10 degrees at 100 mm are 17.45 by 13.09 mm.
    let view = View::new(254.0, 100.0);
    assert_eq!((view.long, view.short), (174, 130));
    assert!((view.sr_of_pixel - 1e-6).abs() < 1e-15);
}
