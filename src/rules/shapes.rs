//! Shapes in pictures that several rules tell apart: filled areas against soft edges.

use crate::change::{Mask, TileGrid};

/// The pixels of a mask that lie in some block of 3 x 3 pixels of one value, on a panel of the grid's size.
pub(super) fn filled<V: Into<u32>>(mask: &Mask, grid: &TileGrid, value: impl Fn(u32, u32) -> V) -> Mask {
    Mask::from_sorted(mask.tiles().iter().map(|(tile, pixels)| (*tile, pixels & filled_of_tile(*tile, grid, &value))))
}

/// A tile with two pixels around it on every side: as far as a block that touches the tile reaches.
const SIDE: usize = 12;

/// The pixels of a tile that lie in a block of one value.
fn filled_of_tile<V: Into<u32>>(tile: u32, grid: &TileGrid, value: &impl Fn(u32, u32) -> V) -> u64 {
    let (left, top) = grid.origin(tile);
    let size = grid.size();
    // Beyond the panel stands what no pixel has.
    let mut around = [[u32::MAX; SIDE]; SIDE];
    for (row, values) in around.iter_mut().enumerate() {
        let Some(y) = (top + row as u32).checked_sub(2).filter(|y| *y < size.height) else { continue };
        for (column, found) in values.iter_mut().enumerate() {
            if let Some(x) = (left + column as u32).checked_sub(2).filter(|x| *x < size.width) {
                *found = value(x, y).into();
            }
        }
    }
    // Bit x of a row: three pixels from x on are on the panel and have one value; then three such rows, one below the other.
    let level = around.map(|row| {
        (0..SIDE - 2).fold(0_u16, |bits, x| {
            bits | u16::from(row[x] == row[x + 1] && row[x] == row[x + 2] && row[x] != u32::MAX) << x
        })
    });
    let mut filled = [0_u16; SIDE];
    for y in 0..SIDE - 2 {
        let same = (0..SIDE - 2).fold(0_u16, |bits, x| {
            bits | u16::from(around[y][x] == around[y + 1][x] && around[y][x] == around[y + 2][x]) << x
        });
        let block = level[y] & level[y + 1] & level[y + 2] & same;
        let spread = block | block << 1 | block << 2;
        for row in &mut filled[y..y + 3] {
            *row |= spread;
        }
    }
    (0..8).fold(0, |pixels, row| pixels | u64::from(filled[row + 2] >> 2 & 0xff) << (8 * row))
}

/// Whether a pixel lies in a block of 3 x 3 pixels of its value.
pub(super) fn is_filled(x: u32, y: u32, grid: &TileGrid, value: &impl Fn(u32, u32) -> u8) -> bool {
    let size = grid.size();
    let own = value(x, y);
    let lefts = x.saturating_sub(2)..=x.min(size.width.saturating_sub(3));
    let tops = y.saturating_sub(2)..=y.min(size.height.saturating_sub(3));
    if size.width < 3 || size.height < 3 {
        return false;
    }
    tops.into_iter()
        .any(|top| lefts.clone().any(|left| (top..top + 3).all(|y| (left..left + 3).all(|x| value(x, y) == own))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;

    #[test]
    fn a_block_is_filled_and_a_line_is_not() {
        let rows = ["1110000", "1110111", "1110000", "0000000"];
        let value = |x: u32, y: u32| rows[y as usize].as_bytes()[x as usize];
        let grid = TileGrid::new(Size { width: 7, height: 4 });
        assert!(is_filled(0, 0, &grid, &value) && is_filled(2, 2, &grid, &value));
        assert!(!is_filled(5, 1, &grid, &value));
        assert!(!is_filled(6, 3, &grid, &value));
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        /// By whole tiles as pixel by pixel.
        #[test]
        fn tiles_are_filled_where_their_pixels_are(width in 1_u32..22, height in 1_u32..22, seed in 0_u64..u64::MAX) {
            let grid = TileGrid::new(Size { width, height });
            // Large blocks of few values, with specks.
            let value = |x: u32, y: u32| {
                let speck = (u64::from(x * 31 + y * 17) ^ seed).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 60 == 0;
                if speck { 9 } else { (seed >> (x / 4 + 3 * (y / 5)) & 1) as u8 }
            };
            let all = Mask::from_sorted((0..grid.tiles() as u32).map(|tile| (tile, grid.whole(tile))));
            let found = filled(&all, &grid, value);
            for y in 0..height {
                for x in 0..width {
                    let (tile, bit) = grid.locate(x, y);
                    prop_assert_eq!(found.pixels_of(tile) & bit != 0, is_filled(x, y, &grid, &value));
                }
            }
        }
    }
}
