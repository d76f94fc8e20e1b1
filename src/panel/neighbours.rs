//! What a drive leaves beside the pixels that it drives (`docs/model.md`, neighbours): ink moves a little beyond an edge.
//!
//! Knows which pixels have which neighbours; how far one pushes another is the law's.

use super::{law::Law, state::PanelState};
use crate::change::{Mask, TileLevels, bits};

/// What one update drove.
#[derive(Clone, Debug, Default)]
pub(super) struct Neighbourhood {
    driven: Mask,
    changed: Vec<Changed>,
}

/// The pixels of a tile whose level an update changed, and all levels of the tile before.
#[derive(Clone, Debug)]
struct Changed {
    tile: u32,
    pixels: u64,
    before: TileLevels,
}

impl Neighbourhood {
    /// Takes note of the driven pixels of a tile, behind all others.
    pub(super) fn driven(&mut self, tile: u32, pixels: u64) {
        self.driven.push(tile, pixels);
    }

    /// Takes note of the pixels of a tile, behind all others, whose level is no longer what it was before.
    pub(super) fn changed(&mut self, tile: u32, before: &TileLevels, pixels: u64) {
        if pixels != 0 {
            self.changed.push(Changed { tile, pixels, before: *before });
        }
    }

    fn at(&self, tile: Option<u32>) -> Option<&Changed> {
        let place = self.changed.binary_search_by_key(&tile?, |changed| changed.tile).ok()?;
        Some(&self.changed[place])
    }
}

/// The first and the last column of a tile.
const FIRST_COLUMN: u64 = 0x0101_0101_0101_0101;
const LAST_COLUMN: u64 = FIRST_COLUMN << 7;

/// What an update changed in a tile and in the tiles at its four sides.
struct Around<'c> {
    own: Option<&'c Changed>,
    above: Option<&'c Changed>,
    left: Option<&'c Changed>,
    right: Option<&'c Changed>,
    below: Option<&'c Changed>,
}

impl<'c> Around<'c> {
    fn new(tile: u32, columns: u32, around: &'c Neighbourhood) -> Self {
        let column = tile % columns;
        Self {
            own: around.at(Some(tile)),
            above: around.at(tile.checked_sub(columns)),
            left: around.at((column > 0).then(|| tile - 1)),
            right: around.at((column + 1 < columns).then(|| tile + 1)),
            below: around.at(Some(tile + columns)),
        }
    }

    /// The pixels of the tile that have a changed one at some side.
    fn beside(&self) -> u64 {
        let pixels = |changed: Option<&Changed>| changed.map_or(0, |changed| changed.pixels);
        let own = pixels(self.own);
        let down = own << 8 | pixels(self.above) >> 56;
        let up = own >> 8 | pixels(self.below) << 56;
        let to_the_right = (own & !LAST_COLUMN) << 1 | (pixels(self.left) & LAST_COLUMN) >> 7;
        let to_the_left = (own & !FIRST_COLUMN) >> 1 | (pixels(self.right) & FIRST_COLUMN) << 7;
        down | up | to_the_right | to_the_left
    }

    /// The changed pixels at the sides of one, each by its tile and its bit there: above, left, right, below.
    fn sides(&self, bit: u32) -> impl Iterator<Item = (&'c Changed, u32)> {
        let column = bit % 8;
        let sides = [
            if bit >= 8 { (self.own, bit - 8) } else { (self.above, bit + 56) },
            if column > 0 { (self.own, bit - 1) } else { (self.left, bit + 7) },
            if column < 7 { (self.own, bit + 1) } else { (self.right, bit - 7) },
            if bit < 56 { (self.own, bit + 8) } else { (self.below, bit - 56) },
        ];
        let changed = sides.into_iter().filter_map(|(changed, at)| Some((changed?, at)));
        changed.filter(|(changed, at)| changed.pixels >> at & 1 == 1)
    }
}

impl PanelState {
    /// Pushes the pixels beside those that a drive changed, and that it did not drive itself.
    pub(super) fn push_neighbours(&mut self, around: &Neighbourhood, law: &Law) {
        let columns = self.grid.columns();
        let mut tiles: Vec<u32> = Vec::with_capacity(around.changed.len() * 3);
        for Changed { tile, pixels, .. } in &around.changed {
            tiles.push(*tile);
            let column = tile % columns;
            let beside = [
                (pixels & 0xff != 0 && *tile >= columns).then(|| tile - columns),
                (pixels >> 56 != 0 && (*tile / columns) + 1 < self.grid.rows()).then(|| tile + columns),
                (pixels & FIRST_COLUMN != 0 && column > 0).then(|| tile - 1),
                (pixels & LAST_COLUMN != 0 && column + 1 < columns).then(|| tile + 1),
            ];
            tiles.extend(beside.into_iter().flatten());
        }
        tiles.sort_unstable();
        tiles.dedup();
        for tile in tiles {
            self.push_tile(tile, around, law);
        }
    }

    fn push_tile(&mut self, tile: u32, around: &Neighbourhood, law: &Law) {
        let sides = Around::new(tile, self.grid.columns(), around);
        let pushed = sides.beside() & !around.driven.pixels_of(tile) & self.grid.whole(tile);
        if pushed == 0 {
            return;
        }
        let (levels, mut residues) = (self.levels[tile as usize], self.residue.values(tile));
        let mut moved = 0;
        for bit in bits(pushed) {
            let level = levels[bit as usize];
            let push = |(changed, at): (&Changed, u32)| {
                let at = at as usize;
                law.push(changed.before[at], self.levels[changed.tile as usize][at])
            };
            let before = residues[bit as usize];
            let after = law.pushed(before, sides.sides(bit).map(push).sum());
            if after != before {
                residues[bit as usize] = after;
                moved |= 1 << bit;
                self.spreads.moved((level, before), (level, after), 1);
            }
        }
        if moved != 0 {
            self.residue.set(tile, &residues, self.grid.whole(tile));
            self.rims[tile as usize] |= moved;
            self.touched.push(tile);
        }
    }
}
