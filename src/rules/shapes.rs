//! Shapes in pictures that several rules tell apart: filled areas against soft edges.

use std::ops::Range;

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

/// Goes through some rows of a picture of levels from top to bottom, as if nothing lay beyond them. `read` gives a row of the
/// picture; `with` gets the number of a row, its levels and the levels of the row below, and for both rows which pixels lie in
/// some block of 3 x 3 pixels of one level: 1 where they do, 0 elsewhere. Below the last row stands an empty one.
pub(super) fn filled_rows(
    width: u32,
    rows: Range<u32>,
    read: impl Fn(u32, &mut [u8]),
    mut with: impl FnMut(u32, [FilledRow<'_>; 2]),
) {
    let (width, height, first) = (width as usize, rows.len(), rows.start);
    if width < 3 || height < 3 {
        return;
    }
    // A row is known to be filled once the two rows below it are read; the row above it waits for it.
    let mut levels = vec![vec![0; width]; 4];
    let mut blocks = vec![vec![0; width]; 3];
    let mut filled = vec![vec![0; width]; 2];
    let mut marks = vec![0; width + 2];
    for row in 0..height + 2 {
        if row < height {
            read(first + row as u32, &mut levels[row % 4]);
        }
        let top = row.wrapping_sub(2);
        if top >= height {
            continue;
        }
        let block = &mut blocks[top % 3];
        if row < height {
            mark_blocks([top, top + 1, row].map(|row| levels[row % 4].as_slice()), block);
        } else {
            block.fill(0);
        }
        spread_blocks(&blocks, &mut marks, &mut filled[top % 2]);
        if let Some(above) = top.checked_sub(1) {
            let of = |row: usize| FilledRow { levels: &levels[row % 4], filled: &filled[row % 2] };
            with(first + above as u32, [of(above), of(top)]);
        }
    }
    let last = FilledRow { levels: &levels[(height - 1) % 4], filled: &filled[(height - 1) % 2] };
    with(rows.end - 1, [last, FilledRow::default()]);
}

/// The levels of a row, and which of its pixels lie in a block.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct FilledRow<'a> {
    pub(super) levels: &'a [u8],
    pub(super) filled: &'a [u8],
}

/// Marks each pixel that is the upper left one of a block of one level, by the three rows of which it is made.
fn mark_blocks([first, second, third]: [&[u8]; 3], block: &mut [u8]) {
    let inside = block.len() - 2;
    block[inside..].fill(0);
    let (first, second, third) = (&first[..inside + 2], &second[..inside + 2], &third[..inside + 2]);
    for x in 0..inside {
        let differ = |row: &[u8]| (row[x] ^ first[x]) | (row[x + 1] ^ first[x]) | (row[x + 2] ^ first[x]);
        block[x] = u8::from(differ(first) | differ(second) | differ(third) == 0);
    }
}

/// Spreads the marks of three rows of blocks over the pixels of the lowest of these rows. `marks` holds them in between, with
/// two places before the first.
fn spread_blocks(blocks: &[Vec<u8>], marks: &mut [u8], filled: &mut [u8]) {
    let rows = blocks[0].iter().zip(&blocks[1]).zip(&blocks[2]);
    for (mark, ((first, second), third)) in marks[2..].iter_mut().zip(rows) {
        *mark = first | second | third;
    }
    for (filled, ((own, left), second)) in filled.iter_mut().zip(marks[2..].iter().zip(&marks[1..]).zip(&*marks)) {
        *filled = own | left | second;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;

    /// Whether a pixel lies in a block of 3 x 3 pixels of its value, by the definition.
    fn is_filled(x: u32, y: u32, grid: &TileGrid, value: &impl Fn(u32, u32) -> u8) -> bool {
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
            let read = |y: u32, row: &mut [u8]| row.iter_mut().zip(0..).for_each(|(level, x)| *level = value(x, y));
            let mut rows = 0;
            filled_rows(width, 0..height, read, |y, [row, below]| {
                assert_eq!(y, rows);
                rows += 1;
                let is_last = y + 1 == height;
                for x in 0..width {
                    let at = x as usize;
                    assert_eq!((row.levels[at], row.filled[at] == 1), (value(x, y), is_filled(x, y, &grid, &value)));
                    if !is_last {
                        assert_eq!((below.levels[at], below.filled[at] == 1), (value(x, y + 1), is_filled(x, y + 1, &grid, &value)));
                    }
                }
            });
            prop_assert_eq!(rows, if width < 3 || height < 3 { 0 } else { height });
        }
    }
}
