//! The panel cut into tiles of 8 x 8 pixels: a tile's pixels are the bits of one 64-bit word.
//!
//! Bit 8 y + x of a word stands for the pixel x, y of the tile. At the right and lower edge tiles are partial.

use std::ops::Range;

use crate::{
    display::Level,
    geometry::{Rect, Size},
    screen::Picture,
};

/// The side of a tile in pixels.
pub const TILE: u32 = 8;

/// The levels of a tile's pixels, row by row; what lies beyond the panel is 0.
pub type TileLevels = [Level; 64];

/// How an area of pixels is cut into tiles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TileGrid {
    size: Size,
    columns: u32,
    rows: u32,
}

impl TileGrid {
    /// The tiles of an area.
    pub fn new(size: Size) -> Self {
        Self { size, columns: size.width.div_ceil(TILE), rows: size.height.div_ceil(TILE) }
    }

    /// The area in pixels.
    pub fn size(&self) -> Size {
        self.size
    }

    /// Tiles in a row.
    pub fn columns(&self) -> u32 {
        self.columns
    }

    /// Rows of tiles.
    pub fn rows(&self) -> u32 {
        self.rows
    }

    /// The number of tiles.
    pub fn tiles(&self) -> usize {
        self.columns as usize * self.rows as usize
    }

    /// The tile that holds a pixel, and the pixel's bit in it.
    pub fn locate(&self, x: u32, y: u32) -> (u32, u64) {
        ((y / TILE) * self.columns + x / TILE, 1 << ((y % TILE) * 8 + x % TILE))
    }

    /// The first pixel of a tile.
    pub fn origin(&self, tile: u32) -> (u32, u32) {
        ((tile % self.columns) * TILE, (tile / self.columns) * TILE)
    }

    /// The pixels of a tile that lie on the panel.
    pub fn whole(&self, tile: u32) -> u64 {
        self.cover(tile, self.size.whole())
    }

    /// The tiles of the rows from the first that some boxes touch to the last.
    pub fn rows_of(&self, boxes: &[Rect]) -> Range<u32> {
        let first = boxes.iter().map(|rect| rect.y / TILE).min().unwrap_or(0);
        let end = boxes.iter().map(|rect| rect.bottom().div_ceil(TILE)).max().unwrap_or(0);
        first * self.columns..end * self.columns
    }

    /// The pixels of a tile that lie in a box.
    pub fn cover(&self, tile: u32, rect: Rect) -> u64 {
        let (left, top) = self.origin(tile);
        let columns = bits_between(places(rect.x, rect.right(), left));
        let (first, last) = places(rect.y, rect.bottom(), top);
        // The same columns in every row, cut to the rows.
        (columns * FIRST_COLUMN) & bits_between((8 * first, 8 * last))
    }
}

/// The first pixel of every row of a tile.
const FIRST_COLUMN: u64 = 0x0101_0101_0101_0101;

/// Which of the 8 places from `origin` on lie in `from..to`: from the first to before the second.
fn places(from: u32, to: u32, origin: u32) -> (u32, u32) {
    (from.saturating_sub(origin).min(TILE), to.saturating_sub(origin).min(TILE))
}

/// The bits from the first to before the second.
fn bits_between((first, last): (u32, u32)) -> u64 {
    let below = |bit: u32| 1_u64.checked_shl(bit).unwrap_or(0).wrapping_sub(1);
    below(last) & !below(first)
}

/// The levels of a tile of a picture, by the ink's table of shades.
pub fn levels_of_tile(picture: &Picture, grid: &TileGrid, table: &[Level; 256], tile: u32) -> TileLevels {
    let (left, top) = grid.origin(tile);
    let size = grid.size();
    let mut levels = [0; 64];
    let width = (size.width - left).min(TILE) as usize;
    let height = (size.height - top).min(TILE);
    for row in 0..height {
        let shades = &picture.row(top + row)[left as usize..][..width];
        let out = &mut levels[row as usize * 8..][..width];
        for (level, shade) in out.iter_mut().zip(shades) {
            *level = table[usize::from(*shade)];
        }
    }
    levels
}

/// The pixels in which two tiles differ.
pub fn differing_pixels(one: &TileLevels, other: &TileLevels) -> u64 {
    let mut mask = 0;
    let rows = one.as_chunks().0.iter().zip(other.as_chunks().0);
    for (row, (one, other)) in rows.enumerate() {
        let difference = u64::from_le_bytes(*one) ^ u64::from_le_bytes(*other);
        mask |= nonzero_bytes(difference) << (8 * row);
    }
    mask
}

/// Bit i is set where byte i of the word is not zero.
fn nonzero_bytes(word: u64) -> u64 {
    const LOW: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let high_bits = ((((word & LOW) + LOW) | word) & !LOW) >> 7;
    // The factor brings the lowest bit of byte i to bit 56 + i.
    high_bits.wrapping_mul(0x0102_0408_1020_4080) >> 56
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn tiles_at_the_edge_are_partial() {
        let grid = TileGrid::new(Size { width: 10, height: 9 });
        assert_eq!((grid.columns(), grid.rows()), (2, 2));
        assert_eq!(grid.whole(0), u64::MAX);
        assert_eq!(grid.whole(1).count_ones(), 16);
        assert_eq!(grid.whole(3).count_ones(), 2);
        assert_eq!(grid.locate(9, 8), (3, 0b10));
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn cover_holds_exactly_the_pixels_of_the_box(x in 0_u32..20, y in 0_u32..20, width in 1_u32..20, height in 1_u32..20) {
            let grid = TileGrid::new(Size { width: 19, height: 21 });
            let rect = Rect { x, y, width, height };
            for pixel_y in 0..21 {
                for pixel_x in 0..19 {
                    let (tile, bit) = grid.locate(pixel_x, pixel_y);
                    let inside = pixel_x >= x && pixel_x < x + width && pixel_y >= y && pixel_y < y + height;
                    prop_assert_eq!(grid.cover(tile, rect) & bit != 0, inside);
                }
            }
        }

        #[test]
        fn differing_pixels_are_those_that_differ(one in prop::collection::vec(0_u8..=255, 64), flips in prop::collection::vec(prop::bool::ANY, 64)) {
            let one: TileLevels = one.try_into().unwrap();
            let mut other = one;
            for (level, flip) in other.iter_mut().zip(&flips) {
                if *flip { *level ^= 0x81; }
            }
            let mask = differing_pixels(&one, &other);
            for (bit, flip) in flips.iter().enumerate() {
                prop_assert_eq!(mask >> bit & 1 == 1, *flip);
            }
        }
    }
}
