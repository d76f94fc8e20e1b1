//! The state of every pixel of the panel: what it shows, what is left in it, and what the controller knows of it.
//!
//! Holds and answers; what driving does to it stands in `drive`. Tiles that agree in all their pixels are held as one value.

use std::rc::Rc;

use super::{
    charge::Charge,
    chunks::Chunked,
    counts::Counts,
    field::TileField,
    law::{Residue, Tones},
    spread::Spreads,
    swings::SwingKinds,
};
use crate::{
    change::{Difference, Mask, TileCover, TileGrid, TileLevels, bits, differing_pixels, levels_of_tile},
    display::{Ink, Level, LevelSet},
    geometry::Rect,
    screen::Picture,
};

/// The pixels of the panel: levels, residue, updates since cleaning, and which are unknown. Copies are whole, and share what
/// they have in common.
#[derive(Clone, Debug)]
pub struct PanelState {
    pub(super) grid: TileGrid,
    pub(super) looks: Rc<Looks>,
    pub(super) levels: Chunked<TileLevels>,
    /// The levels of the picture in memory.
    pub(super) memory: Chunked<TileLevels>,
    /// The levels that stand in each tile.
    pub(super) levels_in: Chunked<LevelSet>,
    /// The levels that stand in each tile of the picture in memory.
    pub(super) memory_levels_in: Chunked<LevelSet>,
    pub(super) residue: TileField<Residue>,
    /// The pixels whose residue came last from driven neighbours: they were not driven since.
    pub(super) rims: Chunked<u64>,
    pub(super) counts: Counts,
    unknown: Chunked<u64>,
    /// The pixels that nobody has known since the plan began.
    never_known: Chunked<u64>,
    unknown_px: u64,
    /// The pixels whose level differs from memory.
    pub(super) unlike: Chunked<u64>,
    /// The tiles that have such pixels, rising.
    pub(super) unlike_tiles: Vec<u32>,
    /// How the residues that show are spread, level by level.
    pub(super) spreads: Spreads,
    pub(super) charge: Option<Charge>,
    /// Tiles whose look changed since the last look at them.
    pub(super) touched: Vec<u32>,
}

/// How levels look: what every copy of a panel shares.
#[derive(Debug)]
pub(super) struct Looks {
    pub(super) tones: Rc<Tones>,
    pub(super) swing_kinds: SwingKinds,
}

impl PanelState {
    /// A clean panel that shows a picture.
    pub(crate) fn new(picture: &Picture, ink: &Ink, is_unknown: bool) -> Self {
        let grid = TileGrid::new(picture.size());
        let tiles = grid.tiles();
        let unknown = if is_unknown { whole_tiles(&grid) } else { Chunked::new(tiles, 0) };
        let looks = Looks { tones: Rc::new(Tones::new(ink)), swing_kinds: SwingKinds::new(ink) };
        let levels = tiles_of(picture, &grid, &ink.level_table());
        let levels_in: Vec<LevelSet> =
            levels.iter().enumerate().map(|(tile, levels)| present(levels, grid.whole(tile as u32))).collect();
        let spreads = Spreads::new(looks.tones.clone(), ink.levels());
        let (levels, levels_in) = (Chunked::from_values(&levels), Chunked::from_values(&levels_in));
        let mut state = Self {
            looks: Rc::new(looks),
            memory: levels.clone(),
            levels,
            memory_levels_in: levels_in.clone(),
            levels_in,
            residue: TileField::new(tiles, Residue::NONE),
            counts: Counts::new(tiles),
            rims: Chunked::new(tiles, 0),
            never_known: unknown.clone(),
            unknown,
            unknown_px: if is_unknown { grid.size().pixels() } else { 0 },
            unlike: Chunked::new(tiles, 0),
            unlike_tiles: Vec::new(),
            spreads,
            charge: None,
            touched: Vec::new(),
            grid,
        };
        state.count_anew();
        state
    }

    /// Whether every pixel of two panels has the same level, residue and count, and is as much known.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        let tiles = || 0..self.grid.tiles() as u32;
        let residues = |state: &Self, tile| state.residue.values(tile).map(Residue::bits);
        self.levels == other.levels
            && self.unknown == other.unknown
            && tiles().all(|tile| residues(self, tile) == residues(other, tile))
            && tiles().all(|tile| self.counts.values(tile) == other.counts.values(tile))
    }

    /// Whether every pixel of two panels has the same level, count and rim, is as much known, and has nearly the same residue and
    /// net impulse: what is left of a residue after many equal turns comes as close to a figure as one likes, and reaches it late.
    pub(super) fn repeats(&self, other: &Self) -> bool {
        const NEARLY: f64 = 1e-6;
        let tiles = || 0..self.grid.tiles() as u32;
        let is_near =
            |one: &[f64; 64], other: &[f64; 64]| one.iter().zip(other).all(|(one, other)| (one - other).abs() < NEARLY);
        let residues = |state: &Self, tile| state.residue.values(tile).map(Residue::lightness);
        let has_same_charge = |tile| match (&self.charge, &other.charge) {
            (Some(charge), Some(other)) => is_near(&charge.values(tile), &other.values(tile)),
            _ => true,
        };
        self.levels == other.levels
            && self.unknown == other.unknown
            && self.rims == other.rims
            && tiles().all(|tile| self.counts.values(tile) == other.counts.values(tile))
            && tiles().all(|tile| is_near(&residues(self, tile), &residues(other, tile)) && has_same_charge(tile))
    }

    /// Keeps the net impulse of every pixel, to tell which go beyond a limit (volt-seconds).
    pub(crate) fn watch_charge(&mut self, limit_vs: f64) {
        self.charge = Some(Charge::new(self.grid.tiles(), limit_vs));
    }

    /// The pixels whose net impulse is beyond the limit, and the largest of them, either way, volt-seconds: above 0 where the
    /// pushes to white outweigh the others.
    pub fn overcharged(&self) -> (Mask, f64) {
        self.charged_beyond(1.0)
    }

    /// The same for a share of the limit, which is at least a half.
    pub fn charged_beyond(&self, share: f64) -> (Mask, f64) {
        self.charge.as_ref().map_or((Mask::new(), 0.0), |charge| charge.beyond(share))
    }

    /// The net impulse of a pixel, volt-seconds; `None` if it is not kept.
    pub fn net_impulse(&self, x: u32, y: u32) -> Option<f64> {
        let (tile, bit) = self.grid.locate(x, y);
        self.charge.as_ref().map(|charge| charge.get(tile, bit.trailing_zeros()))
    }

    /// The tiles of the panel.
    pub fn grid(&self) -> &TileGrid {
        &self.grid
    }

    /// How light the levels look.
    pub fn tones(&self) -> &Tones {
        &self.looks.tones
    }

    /// The nominal levels of a tile.
    pub fn levels(&self, tile: u32) -> &TileLevels {
        &self.levels[tile as usize]
    }

    /// The levels in memory of a tile.
    pub fn memory_levels(&self, tile: u32) -> &TileLevels {
        &self.memory[tile as usize]
    }

    /// Which levels stand in a tile of the picture in memory.
    pub fn memory_levels_in(&self, tile: u32) -> LevelSet {
        self.memory_levels_in[tile as usize]
    }

    /// The levels that stand in some boxes, on the glass and in memory.
    pub fn levels_within(&self, cover: &TileCover<'_>) -> [LevelSet; 2] {
        let mut found = [LevelSet::default(); 2];
        cover.for_each_tile(|tile, covered| {
            let at = tile as usize;
            let both = if covered == self.grid.whole(tile) {
                [self.levels_in[at], self.memory_levels_in[at]]
            } else {
                [&self.levels[at], &self.memory[at]].map(|levels| present(levels, covered))
            };
            found = [found[0].union(both[0]), found[1].union(both[1])];
        });
        found
    }

    /// The level in memory of a pixel.
    pub fn memory_level(&self, x: u32, y: u32) -> Level {
        let (tile, bit) = self.grid.locate(x, y);
        self.memory[tile as usize][bit.trailing_zeros() as usize]
    }

    /// The nominal level of a pixel.
    pub fn level(&self, x: u32, y: u32) -> Level {
        let (tile, bit) = self.grid.locate(x, y);
        self.levels[tile as usize][bit.trailing_zeros() as usize]
    }

    /// The hidden residue of a pixel.
    pub fn residue(&self, x: u32, y: u32) -> Residue {
        let (tile, bit) = self.grid.locate(x, y);
        self.residue.get(tile, bit.trailing_zeros())
    }

    /// How much lighter than its level a pixel looks, within the panel's own range, L*.
    pub fn shown_residue(&self, tile: u32, bit: u32) -> f64 {
        self.tones().shown(self.levels[tile as usize][bit as usize], self.residue.get(tile, bit))
    }

    /// The hidden residue of a tile, if all its pixels have the same one.
    pub fn even_residue(&self, tile: u32) -> Option<Residue> {
        self.residue.uniform(tile)
    }

    /// How much lighter than its level each pixel of a tile looks, L*.
    pub fn shown_residues(&self, tile: u32) -> [f64; 64] {
        let (levels, residues) = (&self.levels[tile as usize], self.residue.values(tile));
        std::array::from_fn(|bit| self.tones().shown(levels[bit], residues[bit]))
    }

    /// The largest number of updates since the last cleaning of any pixel.
    pub fn most_since_cleaning(&self) -> u32 {
        self.counts.most()
    }

    /// The pixels with more updates since their last cleaning than `limit`.
    pub fn counted_above(&self, limit: u32) -> Mask {
        self.counts.above(limit, &self.grid)
    }

    /// The updates since the last cleaning of a pixel.
    pub fn count(&self, x: u32, y: u32) -> u32 {
        let (tile, bit) = self.grid.locate(x, y);
        self.counts.get(tile, bit.trailing_zeros())
    }

    /// How many pixels the controller does not know.
    pub fn unknown_px(&self) -> u64 {
        self.unknown_px
    }

    /// The pixels whose level differs from memory.
    pub fn unlike_memory(&self) -> Mask {
        Mask::from_sorted(self.unlike_tiles.iter().map(|tile| (*tile, self.unlike[*tile as usize])))
    }

    /// The pixels of a mask whose level differs from memory.
    pub fn unlike_memory_of(&self, mask: &Mask) -> Mask {
        Mask::from_sorted(mask.tiles().iter().map(|(tile, pixels)| (*tile, pixels & self.unlike[*tile as usize])))
    }

    /// The tiles in the rows of a cover that have pixels whose level differs from memory.
    pub(super) fn unlike_in_rows_of(&self, cover: &TileCover<'_>) -> &[u32] {
        let rows = cover.rows();
        let from = self.unlike_tiles.partition_point(|tile| *tile < rows.start);
        let others = &self.unlike_tiles[from..];
        &others[..others.partition_point(|tile| *tile < rows.end)]
    }

    /// The box around the pixels whose level differs from memory.
    pub(crate) fn unlike_bounds(&self) -> Option<Rect> {
        self.unlike_memory().bounds(&self.grid)
    }

    /// Whether no pixel differs from memory.
    pub fn is_like_memory(&self) -> bool {
        self.unlike_tiles.is_empty()
    }

    /// The pixels of a cover whose level is a saturated red.
    pub(super) fn red_within(&self, cover: &TileCover<'_>) -> Mask {
        let reds = self.looks.swing_kinds.reds();
        let mut found = Mask::new();
        if reds == LevelSet::default() {
            return found;
        }
        cover.for_each_tile(|tile, covered| {
            let at = tile as usize;
            if self.levels_in[at].0 & reds.0 != 0 {
                let red = bits(covered).filter(|bit| reds.contains(self.levels[at][*bit as usize]));
                found.push(tile, red.fold(0, |mask, bit| mask | 1 << bit));
            }
        });
        found
    }

    /// Makes every pixel unknown.
    pub(super) fn forget(&mut self) {
        self.unknown = whole_tiles(&self.grid);
        self.unknown_px = self.grid.size().pixels();
    }

    /// Makes some pixels of a tile known.
    pub(super) fn make_known(&mut self, tile: u32, pixels: u64) {
        if self.unknown_px > 0 {
            let unknown = &mut self.unknown[tile as usize];
            self.unknown_px -= u64::from((*unknown & pixels).count_ones());
            *unknown &= !pixels;
            self.never_known[tile as usize] &= !pixels;
        }
    }

    /// Makes those pixels of a cover known that were known before the controller lost its memory: the host sends along what
    /// they show.
    pub(super) fn recall(&mut self, cover: &TileCover<'_>) {
        if self.unknown_px > 0 {
            cover.for_each_tile(|tile, covered| {
                let recalled = self.unknown[tile as usize] & covered & !self.never_known[tile as usize];
                self.make_known(tile, recalled);
            });
        }
    }

    /// How many pixels the controller never knew since the beginning; those that it forgot do not count.
    pub fn never_known_px(&self) -> u64 {
        if self.unknown_px == 0 {
            0
        } else {
            (0..self.grid().tiles()).map(|tile| u64::from(self.never_known[tile].count_ones())).sum()
        }
    }

    /// Whether the controller never knew some pixels of a cover: an update with the old picture does not help then.
    pub fn is_never_known(&self, cover: &TileCover<'_>) -> bool {
        let mut is_some = false;
        if self.unknown_px > 0 {
            cover.for_each_tile(|tile, covered| is_some |= self.never_known[tile as usize] & covered != 0);
        }
        is_some
    }

    /// The pixels of a tile whose residue came last from driven neighbours: they were not driven since.
    pub fn rims(&self, tile: u32) -> u64 {
        self.rims[tile as usize]
    }

    /// How many of some pixels of a tile are unknown.
    pub(super) fn unknown_of(&self, tile: u32, pixels: u64) -> u64 {
        if self.unknown_px == 0 { 0 } else { u64::from((self.unknown[tile as usize] & pixels).count_ones()) }
    }

    /// How many pixels of a cover are unknown.
    pub fn unknown_within(&self, cover: &TileCover<'_>) -> u64 {
        let mut unknown = 0;
        if self.unknown_px > 0 {
            cover.for_each_tile(|tile, covered| unknown += self.unknown_of(tile, covered));
        }
        unknown
    }

    /// Takes note of what changed in memory.
    pub(super) fn memory_changed(&mut self, introduced: &Difference) {
        let tiles: Vec<u32> = introduced.pixels.tiles().iter().map(|(tile, _)| *tile).collect();
        for (tile, levels) in tiles.iter().zip(&introduced.levels) {
            let at = *tile as usize;
            self.memory[at] = *levels;
            self.memory_levels_in[at] = present(levels, self.grid.whole(*tile));
            self.unlike[at] = differing_pixels(levels, &self.levels[at]);
        }
        self.list_unlike(tiles);
    }

    /// Brings the list of tiles up to date after changes in these ones.
    pub(super) fn list_unlike(&mut self, changed: Vec<u32>) {
        if changed.is_empty() && self.unlike_tiles.is_empty() {
            return;
        }
        self.unlike_tiles.extend(changed);
        #[expect(clippy::stable_sort_primitive, reason = "two rising lists, which a stable sort merges")]
        self.unlike_tiles.sort();
        self.unlike_tiles.dedup();
        let unlike = &self.unlike;
        self.unlike_tiles.retain(|tile| unlike[*tile as usize] != 0);
    }

    /// Hands all that later steps rest on to `take`, where the panel is as a cleaning leaves it: it shows what is in memory,
    /// every pixel is known, and no update was counted since. What is in memory itself is left to the caller.
    pub(super) fn tell_cleaned(&self, take: &mut dyn FnMut(u64)) -> bool {
        let is_cleaned = self.most_since_cleaning() == 0 && self.unknown_px == 0 && self.is_like_memory();
        if !is_cleaned || self.charge.is_some() {
            return false;
        }
        // Most of a cleaned panel is alike: so many tiles with one residue count as one.
        let mut alike: Option<(u64, u64)> = None;
        let end = |alike: Option<(u64, u64)>, take: &mut dyn FnMut(u64)| {
            if let Some((bits, tiles)) = alike {
                take(bits);
                take(tiles);
            }
        };
        for tile in 0..self.grid.tiles() as u32 {
            match (self.residue.various(tile), &mut alike) {
                (None, Some((bits, tiles))) if *bits == self.residue.get(tile, 0).bits() => *tiles += 1,
                (None, _) => {
                    end(alike.replace((self.residue.get(tile, 0).bits(), 1)), take);
                }
                (Some(values), _) => {
                    end(alike.take(), take);
                    // No residue has these bits: they stand for what is no number.
                    take(u64::MAX);
                    for value in values {
                        take(value.bits());
                    }
                }
            }
        }
        end(alike, take);
        true
    }

    /// Tiles that changed since the last call, rising, each once.
    pub(super) fn take_touched(&mut self) -> Vec<u32> {
        let mut touched = std::mem::take(&mut self.touched);
        #[expect(clippy::stable_sort_primitive, reason = "a few rising lists, which a stable sort merges")]
        touched.sort();
        touched.dedup();
        touched
    }
}

/// The levels of all tiles of a picture.
fn tiles_of(picture: &Picture, grid: &TileGrid, table: &[Level; 256]) -> Vec<TileLevels> {
    let blank = picture.is_uniform().then(|| [table[usize::from(picture.shade(0, 0))]; 64]);
    let levels = |tile| match blank {
        Some(levels) if grid.whole(tile) == u64::MAX => levels,
        _ => levels_of_tile(picture, grid, table, tile),
    };
    (0..grid.tiles() as u32).map(levels).collect()
}

/// All pixels of every tile.
fn whole_tiles(grid: &TileGrid) -> Chunked<u64> {
    Chunked::from_values(&(0..grid.tiles() as u32).map(|tile| grid.whole(tile)).collect::<Vec<u64>>())
}

/// The levels of the pixels in `whole`.
pub(super) fn present(levels: &TileLevels, whole: u64) -> LevelSet {
    if whole == u64::MAX {
        // Most tiles have two levels at most, black one of them: those are reported many pixels at a time.
        let highest = levels.iter().fold(0, |highest, level| highest.max(*level));
        let others = levels.iter().filter(|level| **level != 0 && **level != highest).count();
        if others == 0 {
            let has_black = levels.contains(&0);
            return LevelSet(1 << highest | u32::from(has_black));
        }
        return LevelSet(levels.iter().fold(0, |set, level| set | 1 << level));
    }
    bits(whole).map(|bit| levels[bit as usize]).collect()
}
