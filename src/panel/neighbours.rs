//! What a drive leaves beside the pixels that it drives (`docs/model.md`, neighbours): ink moves a little beyond an edge.
//!
//! Knows which pixels have which neighbours; how far one pushes another is the law's.

use super::{
    law::{Law, Residue},
    spread::{Spreads, place_of},
    state::PanelState,
};
use crate::{
    change::{Mask, TileLevels, bits},
    display::Level,
};

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
}

/// The rows and columns of a tile at its edges.
const FIRST_ROW: u64 = 0xff;
const LAST_ROW: u64 = FIRST_ROW << 56;
const FIRST_COLUMN: u64 = 0x0101_0101_0101_0101;
const LAST_COLUMN: u64 = FIRST_COLUMN << 7;

/// Where a changed tile lies as seen from one that it pushes, in the order of the tiles, and the pixels of it that touch that
/// one.
const SIDES: [(Side, u64); 5] = [
    (Side::Above, LAST_ROW),
    (Side::Left, LAST_COLUMN),
    (Side::Own, u64::MAX),
    (Side::Right, FIRST_COLUMN),
    (Side::Below, FIRST_ROW),
];

#[derive(Clone, Copy, Debug)]
enum Side {
    Above,
    Left,
    Own,
    Right,
    Below,
}

impl Side {
    /// The tile that has a tile at this side, if the panel does not end there.
    fn seen_from(self, tile: u32, columns: u32, rows: u32) -> Option<u32> {
        let (column, row) = (tile % columns, tile / columns);
        match self {
            Self::Above => (row + 1 < rows).then_some(tile + columns),
            Self::Left => (column + 1 < columns).then_some(tile + 1),
            Self::Own => Some(tile),
            Self::Right => (column > 0).then(|| tile - 1),
            Self::Below => tile.checked_sub(columns),
        }
    }
}

/// What an update changed in a tile and in the tiles at its four sides, by [`SIDES`].
#[derive(Clone, Copy, Debug, Default)]
struct Around<'c>([Option<&'c Changed>; 5]);

impl Around<'_> {
    /// The pixels of the tile that have a changed one at some side.
    fn beside(&self) -> u64 {
        let [above, left, own, right, below] = self.0.map(|changed| changed.map_or(0, |changed| changed.pixels));
        let down = own << 8 | above >> 56;
        let up = own >> 8 | below << 56;
        let to_the_right = (own & !LAST_COLUMN) << 1 | (left & LAST_COLUMN) >> 7;
        let to_the_left = (own & !FIRST_COLUMN) >> 1 | (right & FIRST_COLUMN) << 7;
        down | up | to_the_right | to_the_left
    }
}

/// The tiles with something changed in them or beside them, rising, each with what was changed around it.
///
/// A changed tile is seen from up to five tiles, and from each side these rise as the changed tiles do: five sequences are
/// merged.
struct Surroundings<'c> {
    changed: &'c [Changed],
    columns: u32,
    rows: u32,
    /// Of each side the next changed tile that is seen from there, and from where.
    next: [(usize, u32); 5],
}

/// Behind all tiles.
const NO_TILE: u32 = u32::MAX;

impl<'c> Surroundings<'c> {
    fn new(changed: &'c [Changed], state: &PanelState) -> Self {
        let next = [(0, NO_TILE); 5];
        let mut all = Self { changed, columns: state.grid.columns(), rows: state.grid.rows(), next };
        (0..SIDES.len()).for_each(|side| all.find_next(side, 0));
        all
    }

    /// Finds the first changed tile from a place on that pushes the tile which has it at a side.
    fn find_next(&mut self, side: usize, from: usize) {
        let (direction, touching) = SIDES[side];
        let seen = |(at, changed): (usize, &Changed)| {
            let touches = changed.pixels & touching != 0;
            let tile = direction.seen_from(changed.tile, self.columns, self.rows).filter(|_| touches)?;
            Some((from + at, tile))
        };
        self.next[side] =
            self.changed[from..].iter().enumerate().find_map(seen).unwrap_or((self.changed.len(), NO_TILE));
    }
}

impl<'c> Iterator for Surroundings<'c> {
    type Item = (u32, Around<'c>);

    fn next(&mut self) -> Option<Self::Item> {
        let tile = self.next.iter().map(|(_, tile)| *tile).min().filter(|tile| *tile != NO_TILE)?;
        let mut around = Around::default();
        for side in 0..SIDES.len() {
            let (at, of) = self.next[side];
            if of == tile {
                around.0[side] = Some(&self.changed[at]);
                self.find_next(side, at + 1);
            }
        }
        Some((tile, around))
    }
}

/// Residues that pushes move, until they reach the spreads: most are like some of those just before.
struct Moves {
    places: Vec<Move>,
}

/// So many pixels of a level whose residue went from one figure to another.
#[derive(Clone, Copy, Debug, Default)]
struct Move {
    level: Level,
    before: Residue,
    after: Residue,
    pixels: u32,
}

const PLACES: usize = 256;

impl Moves {
    fn new() -> Self {
        Self { places: vec![Move::default(); PLACES] }
    }

    /// Takes note of a pixel of a level whose residue moved.
    fn take(&mut self, level: Level, before: Residue, after: Residue, spreads: &mut Spreads) {
        let key = before.bits() ^ after.bits().rotate_left(17) ^ u64::from(level);
        let place = &mut self.places[place_of(key, PLACES)];
        if (place.level, place.before, place.after) != (level, before, after) {
            place.settle(spreads);
            *place = Move { level, before, after, pixels: 0 };
        }
        place.pixels += 1;
    }

    fn settle(mut self, spreads: &mut Spreads) {
        self.places.iter_mut().for_each(|place| place.settle(spreads));
    }
}

impl Move {
    fn settle(&mut self, spreads: &mut Spreads) {
        let pixels = u64::from(std::mem::take(&mut self.pixels));
        if pixels > 0 {
            spreads.moved((self.level, self.before), (self.level, self.after), pixels);
        }
    }
}

impl PanelState {
    /// Pushes the pixels beside those that a drive changed, and that it did not drive itself.
    pub(super) fn push_neighbours(&mut self, around: &Neighbourhood, law: &Law) {
        if around.changed.is_empty() {
            return;
        }
        let mut driven = around.driven.tiles().iter().copied().peekable();
        let mut moves = Moves::new();
        for (tile, sides) in Surroundings::new(&around.changed, self) {
            while driven.next_if(|(before, _)| *before < tile).is_some() {}
            let driven = driven.peek().filter(|(at, _)| *at == tile).map_or(0, |(_, pixels)| *pixels);
            let pushed = sides.beside() & !driven & self.grid.whole(tile);
            if pushed != 0 {
                self.push_tile(tile, pushed, sides, law, &mut moves);
            }
        }
        moves.settle(&mut self.spreads);
    }

    fn push_tile(&mut self, tile: u32, pushed: u64, sides: Around<'_>, law: &Law, moves: &mut Moves) {
        let pushes_l = self.pushes_on(sides, law);
        let levels = self.levels[tile as usize];
        let (mut moved, mut after) = (0, [Residue::NONE; 64]);
        for bit in bits(pushed) {
            let at = bit as usize & 63;
            let before = self.residue.get(tile, bit);
            after[at] = law.pushed(before, pushes_l[at]);
            if after[at] != before {
                moved |= 1 << bit;
                moves.take(levels[at], before, after[at], &mut self.spreads);
            }
        }
        if moved != 0 {
            // Pixels that are pushed have others beside them that are not: the tile does not come to agree.
            let residues = self.residue.edit(tile);
            bits(moved).for_each(|bit| residues[bit as usize & 63] = after[bit as usize & 63]);
            self.rims[tile as usize] |= moved;
            self.touched.push(tile);
        }
    }

    /// How far each pixel of a tile is pushed by the changed ones around it, L*: by those above, at the left, at the right and
    /// below, in this order.
    fn pushes_on(&self, sides: Around<'_>, law: &Law) -> [f64; 64] {
        let [above, left, own, right, below] = sides.0;
        let own: [f64; 64] = self.pushes_of(own, |at| at, law);
        let [above, below]: [[f64; 8]; 2] =
            [self.pushes_of(above, |at| at + 56, law), self.pushes_of(below, |at| at, law)];
        let [left, right]: [[f64; 8]; 2] =
            [self.pushes_of(left, |at| 8 * at + 7, law), self.pushes_of(right, |at| 8 * at, law)];
        let mut pushes_l = [0.0; 64];
        pushes_l[..8].copy_from_slice(&above);
        pushes_l[8..].copy_from_slice(&own[..56]);
        for (row, sum) in pushes_l.as_chunks_mut::<8>().0.iter_mut().enumerate() {
            sum[0] += left[row];
            (1..8).for_each(|column| sum[column] += own[8 * row + column - 1]);
            (0..7).for_each(|column| sum[column] += own[8 * row + column + 1]);
            sum[7] += right[row];
        }
        (0..56).for_each(|at| pushes_l[at] += own[at + 8]);
        (0..8).for_each(|at| pushes_l[at + 56] += below[at]);
        pushes_l
    }

    /// How far some pixels of a changed tile push their neighbours, L*; 0 where they did not change. `place` gives the bit of
    /// each.
    fn pushes_of<const N: usize>(
        &self,
        changed: Option<&Changed>,
        place: impl Fn(usize) -> usize,
        law: &Law,
    ) -> [f64; N] {
        let Some(Changed { tile, before, .. }) = changed else { return [0.0; N] };
        let after = &self.levels[*tile as usize];
        // A pixel that did not change pushes by nothing.
        std::array::from_fn(|at| law.push(before[place(at)], after[place(at)]))
    }
}
