//! A set of pixels, held as the tiles that have any: cheap where little changes, however large the panel.

use super::TileGrid;
use crate::geometry::Rect;

/// A set of pixels: tiles in reading order, each with at least one pixel.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Mask {
    tiles: Vec<(u32, u64)>,
}

impl Mask {
    /// No pixels.
    pub fn new() -> Self {
        Self::default()
    }

    /// A mask from tiles in rising order; those without pixels are left out.
    pub fn from_sorted(tiles: impl IntoIterator<Item = (u32, u64)>) -> Self {
        let tiles: Vec<(u32, u64)> = tiles.into_iter().filter(|(_, pixels)| *pixels != 0).collect();
        debug_assert!(tiles.windows(2).all(|pair| pair[0].0 < pair[1].0), "tiles must rise");
        Self { tiles }
    }

    /// A mask from tiles in any order; a tile may come several times.
    pub fn from_unsorted(mut tiles: Vec<(u32, u64)>) -> Self {
        tiles.sort_unstable_by_key(|(tile, _)| *tile);
        tiles.dedup_by(|later, earlier| {
            let same = later.0 == earlier.0;
            if same {
                earlier.1 |= later.1;
            }
            same
        });
        tiles.retain(|(_, pixels)| *pixels != 0);
        Self { tiles }
    }

    /// The tiles with their pixels, in reading order.
    pub fn tiles(&self) -> &[(u32, u64)] {
        &self.tiles
    }

    /// Whether no pixel is in it.
    pub fn is_empty(&self) -> bool {
        self.tiles.is_empty()
    }

    /// Makes it hold no pixels, keeping its memory.
    pub fn clear(&mut self) {
        self.tiles.clear();
    }

    /// Adds a tile behind all others.
    pub fn push(&mut self, tile: u32, pixels: u64) {
        debug_assert!(self.tiles.last().is_none_or(|(last, _)| *last < tile), "tiles must rise");
        if pixels != 0 {
            self.tiles.push((tile, pixels));
        }
    }

    /// The number of pixels.
    pub fn count(&self) -> u64 {
        self.tiles.iter().map(|(_, pixels)| u64::from(pixels.count_ones())).sum()
    }

    /// The pixels of a tile.
    pub fn pixels_of(&self, tile: u32) -> u64 {
        self.tiles.binary_search_by_key(&tile, |(tile, _)| *tile).map_or(0, |at| self.tiles[at].1)
    }

    /// The pixels that both hold.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        let (few, many) = if self.tiles.len() <= other.tiles.len() { (self, other) } else { (other, self) };
        few.of_own_tiles(many, |mine, others| mine & others)
    }

    /// The pixels that at least one holds.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        let mut tiles = Vec::with_capacity(self.tiles.len().max(other.tiles.len()));
        let (mut mine, mut others) = (self.tiles.iter().peekable(), other.tiles.iter().peekable());
        loop {
            let (tile, pixels) = match (mine.peek(), others.peek()) {
                (None, None) => break,
                (Some((tile, _)), Some((other_tile, _))) if tile == other_tile => {
                    let (one, another) =
                        (mine.next().map_or(0, |entry| entry.1), others.next().map_or(0, |entry| entry.1));
                    (*tile, one | another)
                }
                (Some((tile, pixels)), Some((other_tile, _))) if tile < other_tile => {
                    mine.next();
                    (*tile, *pixels)
                }
                (Some((tile, pixels)), None) => {
                    mine.next();
                    (*tile, *pixels)
                }
                (_, Some((tile, pixels))) => {
                    others.next();
                    (*tile, *pixels)
                }
            };
            if pixels != 0 {
                tiles.push((tile, pixels));
            }
        }
        Self { tiles }
    }

    /// The pixels that only this one holds.
    #[must_use]
    pub fn without(&self, other: &Self) -> Self {
        self.of_own_tiles(other, |mine, others| mine & !others)
    }

    /// The pixels outside all of the boxes.
    #[must_use]
    pub fn outside(&self, boxes: &[Rect], grid: &TileGrid) -> Self {
        let [before, beside, behind] = self.around(boxes, grid);
        let covered = |tile| boxes.iter().fold(0, |mask, rect| mask | grid.cover(tile, *rect));
        let left = beside.iter().map(|(tile, pixels)| (*tile, pixels & !covered(*tile)));
        let mut tiles = Vec::with_capacity(self.tiles.len());
        tiles.extend_from_slice(before);
        tiles.extend(left.filter(|(_, pixels)| *pixels != 0));
        tiles.extend_from_slice(behind);
        Self { tiles }
    }

    /// The pixels inside at least one of the boxes.
    #[must_use]
    pub fn inside(&self, boxes: &[Rect], grid: &TileGrid) -> Self {
        let [_, beside, _] = self.around(boxes, grid);
        let covered = |tile| boxes.iter().fold(0, |mask, rect| mask | grid.cover(tile, *rect));
        Self::from_sorted(beside.iter().map(|(tile, pixels)| (*tile, pixels & covered(*tile))))
    }

    /// The tiles before the rows of some boxes, in them, and behind them.
    fn around(&self, boxes: &[Rect], grid: &TileGrid) -> [&[(u32, u64)]; 3] {
        let rows = grid.rows_of(boxes);
        let (before, others) = self.tiles.split_at(self.tiles.partition_point(|(tile, _)| *tile < rows.start));
        let (beside, behind) = others.split_at(others.partition_point(|(tile, _)| *tile < rows.end));
        [before, beside, behind]
    }

    /// What becomes of the tiles that this one has. The tiles of a much larger mask are searched, not read.
    fn of_own_tiles(&self, other: &Self, operation: impl Fn(u64, u64) -> u64) -> Self {
        /// From so many times as many tiles on.
        const MUCH_LARGER: usize = 8;
        let is_searched = other.tiles.len() > MUCH_LARGER * self.tiles.len();
        let mut tiles = Vec::with_capacity(self.tiles.len());
        let mut rest = other.tiles.as_slice();
        for (tile, pixels) in &self.tiles {
            let before = |(other, _): &(u32, u64)| other < tile;
            let skipped = if is_searched {
                rest.partition_point(before)
            } else {
                rest.iter().position(|entry| !before(entry)).unwrap_or(rest.len())
            };
            rest = &rest[skipped..];
            let others = rest.first().filter(|(other, _)| other == tile).map_or(0, |(_, pixels)| *pixels);
            let pixels = operation(*pixels, others);
            if pixels != 0 {
                tiles.push((*tile, pixels));
            }
        }
        Self { tiles }
    }

    /// The smallest box around all pixels; `None` if there are none.
    pub fn bounds(&self, grid: &TileGrid) -> Option<Rect> {
        self.tiles.iter().map(|(tile, pixels)| tile_bounds(grid, *tile, *pixels)).reduce(Rect::around)
    }

    /// Calls `with` for every pixel, tile by tile.
    pub fn for_each_pixel(&self, grid: &TileGrid, mut with: impl FnMut(u32, u32)) {
        for (tile, pixels) in &self.tiles {
            let (left, top) = grid.origin(*tile);
            for bit in bits(*pixels) {
                with(left + bit % 8, top + bit / 8);
            }
        }
    }
}

/// The smallest box around some pixels of a tile, at least one.
pub(super) fn tile_bounds(grid: &TileGrid, tile: u32, pixels: u64) -> Rect {
    let (left, top) = grid.origin(tile);
    let first_row = pixels.trailing_zeros() / 8;
    let last_row = 7 - pixels.leading_zeros() / 8;
    // All rows laid over each other.
    let mut columns = pixels | pixels >> 32;
    columns |= columns >> 16;
    columns = (columns | columns >> 8) & 0xff;
    let first_column = columns.trailing_zeros();
    let last_column = columns.ilog2();
    Rect {
        x: left + first_column,
        y: top + first_row,
        width: last_column - first_column + 1,
        height: last_row - first_row + 1,
    }
}

/// The numbers of the bits that are set, rising.
pub fn bits(mut word: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        let bit = word.trailing_zeros();
        word &= word.wrapping_sub(1);
        (bit < 64).then_some(bit)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    const GRID_SIZE: Size = Size { width: 21, height: 18 };

    fn mask_of(pixels: &BTreeSet<(u32, u32)>, grid: &TileGrid) -> Mask {
        Mask::from_unsorted(pixels.iter().map(|(x, y)| grid.locate(*x, *y)).collect())
    }

    fn pixels_of(mask: &Mask, grid: &TileGrid) -> BTreeSet<(u32, u32)> {
        let mut pixels = BTreeSet::new();
        mask.for_each_pixel(grid, |x, y| {
            pixels.insert((x, y));
        });
        pixels
    }

    fn some_pixels() -> impl Strategy<Value = BTreeSet<(u32, u32)>> {
        prop::collection::btree_set((0..GRID_SIZE.width, 0..GRID_SIZE.height), 0..60)
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn masks_are_sets(one in some_pixels(), other in some_pixels()) {
            let grid = TileGrid::new(GRID_SIZE);
            let (a, b) = (mask_of(&one, &grid), mask_of(&other, &grid));
            prop_assert_eq!(a.count(), one.len() as u64);
            prop_assert_eq!(pixels_of(&a.and(&b), &grid), &one & &other);
            prop_assert_eq!(pixels_of(&a.or(&b), &grid), &one | &other);
            prop_assert_eq!(pixels_of(&a.without(&b), &grid), &one - &other);
            let bounds = a.bounds(&grid);
            prop_assert_eq!(bounds.is_none(), one.is_empty());
            if let Some(rect) = bounds {
                prop_assert_eq!(Some(rect.x), one.iter().map(|pixel| pixel.0).min());
                prop_assert_eq!(Some(rect.y), one.iter().map(|pixel| pixel.1).min());
                prop_assert_eq!(Some(rect.right() - 1), one.iter().map(|pixel| pixel.0).max());
                prop_assert_eq!(Some(rect.bottom() - 1), one.iter().map(|pixel| pixel.1).max());
            }
        }
    }
}
