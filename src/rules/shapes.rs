//! Shapes in pictures that several rules tell apart: filled areas against soft edges.

use crate::change::{Mask, TileGrid};

/// The pixels of a mask that lie in some block of 3 x 3 pixels of one value, on a panel of the grid's size.
pub(super) fn filled(mask: &Mask, grid: &TileGrid, value: impl Fn(u32, u32) -> u8) -> Mask {
    let mut tiles = Vec::new();
    mask.for_each_pixel(grid, |x, y| {
        if is_filled(x, y, grid, &value) {
            tiles.push(grid.locate(x, y));
        }
    });
    Mask::from_unsorted(tiles)
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
    tops.into_iter().any(|top| {
        lefts.clone().any(|left| (top..top + 3).all(|y| (left..left + 3).all(|x| value(x, y) == own)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    #[test]
    fn a_block_is_filled_and_a_line_is_not() {
        let rows = ["1110000", "1110111", "1110000", "0000000"];
        let value = |x: u32, y: u32| rows[y as usize].as_bytes()[x as usize];
        let grid = TileGrid::new(Size { width: 7, height: 4 });
        assert!(is_filled(0, 0, &grid, &value) && is_filled(2, 2, &grid, &value));
        assert!(!is_filled(5, 1, &grid, &value));
        assert!(!is_filled(6, 3, &grid, &value));
    }
}
