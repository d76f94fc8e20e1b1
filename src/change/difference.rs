//! The pixels in which two pictures differ once they are brought to levels.
//!
//! Equal rows are skipped whole, and only tiles with a differing byte are brought to levels.

use super::{Mask, TILE, TileGrid, TileLevels, differing_pixels, levels_of_tile};
use crate::{display::Level, screen::Picture};

/// What a change from one picture to another brings.
#[derive(Clone, Debug, Default)]
pub struct Difference {
    /// The pixels whose level is another.
    pub pixels: Mask,
    /// The levels of the later picture in each tile of that mask, in its order.
    pub levels: Vec<TileLevels>,
}

impl Difference {
    /// How much memory it takes, bytes.
    pub fn bytes(&self) -> usize {
        size_of_val(self.pixels.tiles()) + size_of_val(self.levels.as_slice())
    }
}

/// The difference between two pictures of the grid's size.
pub fn difference(one: &Picture, other: &Picture, grid: &TileGrid, table: &[Level; 256]) -> Difference {
    let mut found = Difference::default();
    let mut touched = vec![false; grid.columns() as usize];
    for tile_row in 0..grid.rows() {
        let top = tile_row * TILE;
        let mut any = false;
        for y in top..(top + TILE).min(grid.size().height) {
            let (one, other) = (one.row(y), other.row(y));
            if one != other {
                any = true;
                mark_words(one, other, &mut touched);
            }
        }
        if !any {
            continue;
        }
        for (column, touched) in touched.iter_mut().enumerate() {
            if std::mem::take(touched) {
                let tile = tile_row * grid.columns() + column as u32;
                let levels = levels_of_tile(other, grid, table, tile);
                let pixels = differing_pixels(&levels_of_tile(one, grid, table, tile), &levels);
                if pixels != 0 {
                    found.pixels.push(tile, pixels);
                    found.levels.push(levels);
                }
            }
        }
    }
    found
}

fn mark_words(one: &[u8], other: &[u8], touched: &mut [bool]) {
    let ((words, rest), (other_words, other_rest)) = (one.as_chunks::<8>(), other.as_chunks::<8>());
    for ((one, other), touched) in words.iter().zip(other_words).zip(touched.iter_mut()) {
        *touched |= u64::from_ne_bytes(*one) != u64::from_ne_bytes(*other);
    }
    if let (false, Some(last)) = (rest.is_empty(), touched.last_mut()) {
        *last |= rest != other_rest;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{display::Ink, geometry::Size};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn only_pixels_of_another_level_differ(
            width in 1_u32..40, height in 1_u32..40, levels in prop::sample::select(vec![2_u8, 4, 16]),
            changes in prop::collection::vec((0_u32..1600, 0_u8..=255), 0..60),
        ) {
            let size = Size { width, height };
            let grid = TileGrid::new(size);
            let table = Ink::grey_between(levels, 0.04, 0.44).level_table();
            let one = Picture::from_shades(size, (0..width * height).map(|i| (i * 37 % 256) as u8).collect());
            let mut shades = one.shades().to_vec();
            for (at, shade) in changes {
                let at = (at % (width * height)) as usize;
                shades[at] = shade;
            }
            let other = Picture::from_shades(size, shades);
            let found = difference(&one, &other, &grid, &table);
            let mask = &found.pixels;
            for ((tile, _), levels) in mask.tiles().iter().zip(&found.levels) {
                prop_assert_eq!(levels, &levels_of_tile(&other, &grid, &table, *tile));
            }
            for y in 0..height {
                for x in 0..width {
                    let (tile, bit) = grid.locate(x, y);
                    let differs = table[usize::from(one.shade(x, y))] != table[usize::from(other.shade(x, y))];
                    prop_assert_eq!(mask.pixels_of(tile) & bit != 0, differs);
                }
            }
        }
    }
}
