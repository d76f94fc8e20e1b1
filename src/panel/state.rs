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
    spread::{Ranked, Spread},
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
    memory_levels_in: Chunked<LevelSet>,
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
    pub(super) spreads: Vec<Spread>,
    pub(super) charge: Option<Charge>,
    /// Tiles whose look changed since the last look at them.
    pub(super) touched: Vec<u32>,
}

/// How levels look: what every copy of a panel shares.
#[derive(Debug)]
pub(super) struct Looks {
    pub(super) tones: Tones,
    pub(super) swing_kinds: SwingKinds,
}

impl PanelState {
    /// A clean panel that shows a picture.
    pub(crate) fn new(picture: &Picture, ink: &Ink, is_unknown: bool) -> Self {
        let grid = TileGrid::new(picture.size());
        let tiles = grid.tiles();
        let unknown = if is_unknown { whole_tiles(&grid) } else { Chunked::new(tiles, 0) };
        let looks = Looks { tones: Tones::new(ink), swing_kinds: SwingKinds::new(ink) };
        let levels = tiles_of(picture, &grid, &ink.level_table());
        let levels_in: Vec<LevelSet> =
            levels.iter().enumerate().map(|(tile, levels)| present(levels, grid.whole(tile as u32))).collect();
        let spreads = clean_spreads(&levels, &levels_in, &grid, &looks.tones, ink.levels());
        let (levels, levels_in) = (Chunked::from_values(&levels), Chunked::from_values(&levels_in));
        Self {
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
        }
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

    /// The pixels whose net impulse is beyond the limit, and the largest of them, volt-seconds.
    pub fn overcharged(&self) -> (Mask, f64) {
        self.charge.as_ref().map_or((Mask::new(), 0.0), Charge::over)
    }

    /// The net impulse of a pixel, volt-seconds; nothing where it is not kept.
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

    /// The pixels of a tile whose residue came last from driven neighbours: they were not driven since.
    pub fn rims(&self, tile: u32) -> u64 {
        self.rims[tile as usize]
    }

    /// How many of some pixels of a tile are unknown.
    pub(super) fn unknown_of(&self, tile: u32, pixels: u64) -> u64 {
        if self.unknown_px == 0 { 0 } else { u64::from((self.unknown[tile as usize] & pixels).count_ones()) }
    }

    /// How many pixels of a cover are unknown.
    pub(super) fn unknown_within(&self, cover: &TileCover<'_>) -> u64 {
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
        self.unlike_tiles.extend(changed);
        self.unlike_tiles.sort_unstable();
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
        for tile in 0..self.grid.tiles() as u32 {
            match self.residue.various(tile) {
                None => take(self.residue.get(tile, 0).bits()),
                Some(values) => {
                    // No residue has these bits: they stand for what is no number.
                    take(u64::MAX);
                    for value in values {
                        take(value.bits());
                    }
                }
            }
        }
        true
    }

    /// The medians of what shows of the residues of these levels, L*; 0 where no pixel has a level. Where a bin does not tell,
    /// all pixels are looked at once.
    pub(super) fn medians(&mut self, levels: LevelSet) -> Vec<(Level, f64)> {
        let ranks: Vec<(Level, [Ranked; 2])> = levels.iter().map(|level| (level, self.middle_of(level))).collect();
        let unsure = ranks.iter().flat_map(|(level, both)| both.iter().map(move |ranked| (*level, *ranked)));
        let wanted: Vec<(Level, usize)> = unsure
            .filter_map(|(level, ranked)| match ranked {
                Ranked::Exactly(_) => None,
                Ranked::Within(bin, _) => Some((level, bin)),
            })
            .collect();
        let mut values = if wanted.is_empty() { Vec::new() } else { self.shown_in_bins(&wanted) };
        let mut exactly = |level: Level, ranked: Ranked| match ranked {
            Ranked::Exactly(value) => value,
            Ranked::Within(bin, rank) => {
                let of_bin = wanted.iter().position(|of| *of == (level, bin)).map(|at| values[at].as_mut_slice());
                self.spreads[usize::from(level)].know_exactly(bin, rank, of_bin.unwrap_or_default())
            }
        };
        ranks
            .into_iter()
            .map(|(level, [lower, upper])| (level, f64::midpoint(exactly(level, lower), exactly(level, upper))))
            .collect()
    }

    /// Where the middle of a level lies: the two values around it, or twice the one in it.
    fn middle_of(&self, level: Level) -> [Ranked; 2] {
        let spread = &self.spreads[usize::from(level)];
        match spread.total() {
            0 => [Ranked::Exactly(0.0); 2],
            total => [(total - 1) / 2, total / 2].map(|rank| spread.ranked(rank)),
        }
    }

    /// What shows of the residues in some bins of some levels: a list for the first place of each among those wanted.
    fn shown_in_bins(&self, wanted: &[(Level, usize)]) -> Vec<Vec<f64>> {
        let mut found = vec![Vec::new(); wanted.len()];
        let mut places = vec![[usize::MAX; 2]; self.spreads.len()];
        for (at, (level, bin)) in wanted.iter().enumerate() {
            let of_level = &mut places[usize::from(*level)];
            let is_first = wanted[..at].iter().all(|of| of != &(*level, *bin));
            if is_first {
                of_level[usize::from(of_level[0] != usize::MAX)] = at;
            }
        }
        // Most pixels lie elsewhere, which their residue tells before it is cut to what the panel can show.
        let near = self.residues_near(wanted);
        let all = wanted.iter().fold(LevelSet::default(), |all, (level, _)| all.with(*level));
        for tile in (0..self.grid.tiles() as u32).filter(|tile| self.levels_in[*tile as usize].0 & all.0 != 0) {
            let levels = &self.levels[tile as usize];
            let uniform;
            let residues = if let Some(residues) = self.residue.various(tile) {
                residues
            } else {
                uniform = self.residue.values(tile);
                &uniform
            };
            let mut close = 0_u64;
            for (bit, (level, residue)) in levels.iter().zip(residues).enumerate() {
                let (from, to) = near[usize::from(*level)];
                close |= u64::from(residue.lightness() >= from && residue.lightness() <= to) << bit;
            }
            for bit in bits(close & self.grid.whole(tile)) {
                let level = levels[bit as usize];
                let shown = self.tones().shown(level, residues[bit as usize]);
                let bin = self.spreads[usize::from(level)].bin_of(shown);
                let places = places[usize::from(level)].into_iter().filter(|place| *place != usize::MAX);
                if let Some(place) = places.into_iter().find(|place| wanted[*place].1 == bin) {
                    found[place].push(shown);
                }
            }
        }
        found
    }

    /// For each level from where to where the hidden residue of pixels can lie that show something in the wanted bins, L*.
    fn residues_near(&self, wanted: &[(Level, usize)]) -> Vec<(f64, f64)> {
        let mut near = vec![(f64::INFINITY, f64::NEG_INFINITY); self.spreads.len()];
        for (level, bin) in wanted {
            let (from, to) = self.spreads[usize::from(*level)].range_of(*bin);
            let (darkest, lightest) = self.tones().shown_range(*level);
            // What lies beyond the panel's own range shows at its end.
            let from = if from <= darkest { f64::NEG_INFINITY } else { from };
            let to = if to >= lightest { f64::INFINITY } else { to };
            let known = &mut near[usize::from(*level)];
            *known = (known.0.min(from), known.1.max(to));
        }
        near
    }

    /// Tiles that changed since the last call, rising, each once.
    pub(super) fn take_touched(&mut self) -> Vec<u32> {
        let mut touched = std::mem::take(&mut self.touched);
        touched.sort_unstable();
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

/// The spreads of a panel without residue.
fn clean_spreads(
    levels: &[TileLevels],
    levels_in: &[LevelSet],
    grid: &TileGrid,
    tones: &Tones,
    count: usize,
) -> Vec<Spread> {
    let mut px_by_level = vec![0_i64; count];
    for (tile, (levels, present)) in levels.iter().zip(levels_in).enumerate() {
        let whole = grid.whole(tile as u32);
        for level in present.iter() {
            let pixels = whole & !differing_pixels(&[level; 64], levels);
            px_by_level[usize::from(level)] += i64::from(pixels.count_ones());
        }
    }
    let spread = |(level, pixels): (usize, i64)| {
        let mut spread = Spread::new(tones.shown_range(level as Level));
        if pixels > 0 {
            spread.change(0.0, pixels);
        }
        spread
    };
    px_by_level.into_iter().enumerate().map(spread).collect()
}

/// All pixels of every tile.
fn whole_tiles(grid: &TileGrid) -> Chunked<u64> {
    Chunked::from_values(&(0..grid.tiles() as u32).map(|tile| grid.whole(tile)).collect::<Vec<u64>>())
}

/// The levels of the pixels in `whole`.
pub(super) fn present(levels: &TileLevels, whole: u64) -> LevelSet {
    if whole == u64::MAX {
        // Most tiles have two levels at most, black one of them: those are told many pixels at a time.
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
