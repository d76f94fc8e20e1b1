//! The state of every pixel of the panel, and what driving does to it (`docs/model.md`, driving a pixel).
//!
//! Tiles that agree in all their pixels are held and driven as one: a step costs what it changes, not what the panel has.

use std::collections::BTreeMap;

use super::{
    chunks::Chunked,
    field::TileField,
    flashes::{SwingKinds, Swung, Turn},
    spread::{Spread, SpreadChanges},
};
use crate::{
    change::{Difference, Mask, TileCover, TileGrid, TileLevels, bits, differing_pixels, levels_of_tile},
    display::{Display, Impulse, Ink, Level, LevelSet, Mode, Residue, ink::InkKind},
    geometry::Rect,
    screen::Picture,
};

/// The pixels of the panel: levels, residue, updates since cleaning, and which are unknown. Copies share what they have in
/// common.
#[derive(Clone, Debug)]
pub struct PanelState {
    grid: TileGrid,
    tones: Tones,
    levels: Chunked<TileLevels>,
    /// The levels of the picture in memory.
    memory: Chunked<TileLevels>,
    /// The levels that stand in each tile.
    levels_in: Chunked<LevelSet>,
    /// The levels that stand in each tile of the picture in memory.
    memory_levels_in: Chunked<LevelSet>,
    residue: TileField<f64>,
    counts: TileField<u32>,
    unknown: Chunked<u64>,
    unknown_px: u64,
    /// The pixels whose level differs from memory.
    unlike: Chunked<u64>,
    /// The tiles that have such pixels, rising.
    unlike_tiles: Vec<u32>,
    /// How many pixels have each count; the last number is not 0.
    px_by_count: Vec<u64>,
    spreads: Vec<Spread>,
    changes: SpreadChanges,
    swings: Swings,
    swing_kinds: SwingKinds,
    charge: Option<Charge>,
    /// Tiles whose look changed since the eye saw them.
    touched: Vec<u32>,
}

/// How light the levels look, L*, and the range that the panel can show at all.
#[derive(Clone, Debug)]
struct Tones {
    lightness: Vec<f64>,
    darkest: f64,
    lightest: f64,
}

impl Tones {
    fn new(ink: &Ink) -> Self {
        let (darkest, lightest) = ink.range_l();
        let lightness = (0..ink.levels() as Level).map(|level| ink.lightness(level)).collect();
        Self { lightness, darkest, lightest }
    }

    fn of(&self, level: Level) -> f64 {
        self.lightness[usize::from(level)]
    }

    /// How much lighter than its level a pixel with that residue looks, within the panel's own range.
    fn shown(&self, level: Level, residue: f64) -> f64 {
        let own = self.of(level);
        (own + residue).clamp(self.darkest, self.lightest) - own
    }
}

/// The net impulse of every pixel, volt-seconds; kept only where a mode gives impulses and there is a limit.
#[derive(Clone, Debug)]
struct Charge {
    limit_vs: f64,
    net_vs: TileField<f64>,
    /// The pixels beyond the limit by tile, and the largest net impulse among them.
    over: BTreeMap<u32, (u64, f64)>,
}

/// What an update with a mode does to a pixel, worked out once for each level.
#[derive(Clone, Debug)]
pub(crate) struct Action {
    /// Where a target level ends: the level reached, and whether that is the target itself; nothing where skipped.
    ends: Vec<(Option<Level>, bool)>,
    from: LevelSet,
    changed_only: bool,
    cleans: bool,
    share: f64,
    keeps: f64,
    lighter: f64,
    darker: f64,
    wrong_start: f64,
    counts_every_update: bool,
    /// Whether every level can be started from and ended at.
    unrestricted: bool,
    impulse: Option<Impulse>,
    /// How far L* of white and L* of black are apart.
    contrast_l: f64,
    /// Whether driving a pixel towards the level that it has is worth telling: direct drive does it for nothing.
    tells_redriven: bool,
    /// Whether its drives are told as swings; those of a mode that flashes are part of its flashes.
    tells_swings: bool,
}

/// What a drive did.
#[derive(Clone, Debug, Default)]
pub(crate) struct Driven {
    pub(crate) changed_px: u64,
    pub(crate) px: u64,
    /// Driven pixels outside the boxes that were asked for; counted only where `asked` was given.
    pub(crate) beside_px: u64,
    pub(crate) unknown_px: u64,
    pub(crate) out_of_reach: Mask,
    pub(crate) wrong_start: Mask,
    /// Whether the residue of some pixel became less.
    pub(crate) takes_residue: bool,
    /// The levels of pixels that change, before and after.
    pub(crate) changes_from: LevelSet,
    pub(crate) changes_to: LevelSet,
    /// The largest residue, either way, of a pixel that changes, before it is driven, L*.
    pub(crate) most_residue_l: f64,
    /// The pixels that swung so far that a viewer may see half a flash.
    pub(crate) swung: Swung,
    /// Segments' pixels driven towards the level that they have; kept only where the mode does not clean.
    pub(crate) redriven: Mask,
}

/// Where a drive brings the pixels.
#[derive(Clone, Copy, Debug)]
enum Towards {
    /// To the picture in memory.
    Memory,
    /// To one level: controller-drawn ink.
    Level(Level),
}

impl Action {
    /// The action of a mode that leaves such residue and whose drive goes `share` (0 to 1) of the way.
    pub(crate) fn new(mode: &Mode, residue: &Residue, display: &Display, share: f64) -> Self {
        let ink = &display.ink;
        let ends = (0..ink.levels() as Level)
            .map(|level| match (mode.to.contains(level), mode.skips_out_of_reach) {
                (true, _) => (Some(level), true),
                (false, true) => (None, false),
                (false, false) => (ink.nearest(level, mode.to), false),
            })
            .collect();
        Self {
            ends,
            from: mode.from,
            changed_only: mode.changed_only,
            #[expect(clippy::float_cmp, reason = "a whole drive is exactly 1")]
            cleans: mode.cleans && share == 1.0,
            share,
            keeps: residue.keeps,
            lighter: residue.lighter,
            darker: residue.darker,
            wrong_start: residue.wrong_start,
            counts_every_update: display.limits.counts_every_update,
            unrestricted: mode.from == ink.all() && mode.to == ink.all(),
            impulse: mode.impulse,
            // Segments may be lighter where they are on.
            contrast_l: (ink.lightness(ink.white()) - ink.lightness(ink.black())).abs(),
            tells_redriven: !mode.cleans && matches!(ink.kind(), InkKind::Segments(_)),
            tells_swings: mode.flashes == 0,
        }
    }

    /// Residue after a swing by `difference` = L*(n) - L*(t) from residue `before`.
    fn residue(&self, before: f64, difference: f64, wrong_start: bool) -> f64 {
        let share_left = if difference < 0.0 {
            self.lighter
        } else if difference > 0.0 {
            self.darker
        } else {
            0.0
        };
        let swung =
            self.share * (self.keeps * before + share_left * difference) + (1.0 - self.share) * (difference + before);
        if wrong_start && difference != 0.0 { swung + self.wrong_start.copysign(difference) } else { swung }
    }

    /// Net impulse, volt-seconds, of a swing by `difference` = L*(n) - L*(t).
    fn impulse(&self, difference: f64) -> f64 {
        let Some(impulse) = self.impulse else { return 0.0 };
        let whole = if difference < 0.0 {
            impulse.lighter
        } else if difference > 0.0 {
            impulse.darker
        } else {
            return impulse.same;
        };
        whole * difference.abs() / self.contrast_l
    }
}

impl PanelState {
    /// A clean panel that shows a picture.
    pub(crate) fn new(picture: &Picture, ink: &Ink, unknown: bool) -> Self {
        let grid = TileGrid::new(picture.size());
        let table = ink.level_table();
        let tiles = grid.tiles();
        let blank = picture.is_uniform().then(|| [table[usize::from(picture.shade(0, 0))]; 64]);
        let levels: Vec<TileLevels> = (0..tiles as u32)
            .map(|tile| match blank {
                Some(levels) if grid.whole(tile) == u64::MAX => levels,
                _ => levels_of_tile(picture, &grid, &table, tile),
            })
            .collect();
        let levels_in: Vec<LevelSet> =
            levels.iter().enumerate().map(|(tile, levels)| present(levels, grid.whole(tile as u32))).collect();
        let mut spreads = vec![Spread::default(); ink.levels()];
        let mut px_by_level = vec![0_i64; ink.levels()];
        for (tile, levels) in levels.iter().enumerate() {
            let whole = grid.whole(tile as u32);
            if blank.is_some() {
                px_by_level[usize::from(levels[0])] += i64::from(whole.count_ones());
                continue;
            }
            for bit in bits(whole) {
                px_by_level[usize::from(levels[bit as usize])] += 1;
            }
        }
        for (spread, px) in spreads.iter_mut().zip(px_by_level) {
            spread.change(0.0, px);
        }
        let (levels, levels_in) = (Chunked::from_values(&levels), Chunked::from_values(&levels_in));
        Self {
            tones: Tones::new(ink),
            memory: levels.clone(),
            levels,
            memory_levels_in: levels_in.clone(),
            levels_in,
            residue: TileField::new(tiles, 0.0),
            counts: TileField::new(tiles, 0),
            unknown: if unknown { whole_tiles(&grid) } else { Chunked::new(tiles, 0) },
            unknown_px: if unknown { grid.size().pixels() } else { 0 },
            unlike: Chunked::new(tiles, 0),
            unlike_tiles: Vec::new(),
            px_by_count: vec![grid.size().pixels()],
            spreads,
            changes: SpreadChanges::new(),
            swings: Swings::new(),
            swing_kinds: SwingKinds::new(ink),
            charge: None,
            touched: Vec::new(),
            grid,
        }
    }

    /// Whether every pixel of two panels has the same level, residue and count, and is as much known.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        let tiles = || 0..self.grid.tiles() as u32;
        self.levels == other.levels
            && self.unknown == other.unknown
            && tiles()
                .all(|tile| self.residue.values(tile).map(f64::to_bits) == other.residue.values(tile).map(f64::to_bits))
            && tiles().all(|tile| self.counts.values(tile) == other.counts.values(tile))
    }

    /// Keeps the net impulse of every pixel, to tell which go beyond a limit (volt-seconds).
    pub(crate) fn watch_charge(&mut self, limit_vs: f64) {
        let net_vs = TileField::new(self.grid.tiles(), 0.0);
        self.charge = Some(Charge { limit_vs, net_vs, over: BTreeMap::new() });
    }

    /// The pixels whose net impulse is beyond the limit, and the largest of them, volt-seconds.
    pub fn overcharged(&self) -> (Mask, f64) {
        let Some(charge) = self.charge.as_ref().filter(|charge| !charge.over.is_empty()) else {
            return (Mask::new(), 0.0);
        };
        let most_vs = charge.over.values().map(|(_, most_vs)| *most_vs).fold(0.0, f64::max);
        (Mask::from_sorted(charge.over.iter().map(|(tile, (over, _))| (*tile, *over))), most_vs)
    }

    /// The net impulse of a pixel, volt-seconds; nothing where it is not kept.
    pub fn net_impulse(&self, x: u32, y: u32) -> Option<f64> {
        let (tile, bit) = self.grid.locate(x, y);
        self.charge.as_ref().map(|charge| charge.net_vs.get(tile, bit.trailing_zeros()))
    }

    /// The tiles of the panel.
    pub fn grid(&self) -> &TileGrid {
        &self.grid
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

    /// The hidden residue of a pixel, L*: how much lighter than its level it would be without the panel's limits.
    pub fn residue(&self, x: u32, y: u32) -> f64 {
        let (tile, bit) = self.grid.locate(x, y);
        self.residue.get(tile, bit.trailing_zeros())
    }

    /// The largest number of updates since the last cleaning of any pixel.
    pub fn most_since_cleaning(&self) -> u32 {
        self.px_by_count.len().saturating_sub(1) as u32
    }

    /// The pixels with more updates since their last cleaning than `limit`.
    pub fn counted_above(&self, limit: u32) -> Mask {
        let mut mask = Mask::new();
        if self.most_since_cleaning() <= limit {
            return mask;
        }
        for tile in 0..self.grid.tiles() as u32 {
            match self.counts.uniform(tile) {
                Some(count) if count > limit => mask.push(tile, self.grid.whole(tile)),
                Some(_) => {}
                None => {
                    let above =
                        (0..64).fold(0, |above, bit| above | u64::from(self.counts.get(tile, bit) > limit) << bit);
                    mask.push(tile, above & self.grid.whole(tile));
                }
            }
        }
        mask
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

    /// Makes every pixel unknown.
    pub(crate) fn forget(&mut self) {
        self.unknown = whole_tiles(&self.grid);
        self.unknown_px = self.grid.size().pixels();
    }

    /// Takes note of what changed in memory.
    pub(crate) fn memory_changed(&mut self, introduced: &Difference) {
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
    fn list_unlike(&mut self, changed: Vec<u32>) {
        self.unlike_tiles.extend(changed);
        self.unlike_tiles.sort_unstable();
        self.unlike_tiles.dedup();
        let unlike = &self.unlike;
        self.unlike_tiles.retain(|tile| unlike[*tile as usize] != 0);
    }

    /// Drives the pixels of a cover towards memory. `asked`, where given, are the boxes beside which driven pixels are
    /// counted.
    pub(crate) fn drive(&mut self, cover: &TileCover<'_>, action: &Action, asked: Option<&[Rect]>) -> Driven {
        let mut driven = Driven::default();
        let mut newly_unlike = Vec::new();
        self.make_room();
        if action.changed_only {
            driven.unknown_px = self.unknown_within(cover);
        }
        if action.changed_only && !action.counts_every_update {
            // Only pixels that differ are driven: nothing but their tiles is looked at.
            for tile in self.unlike_tiles.clone() {
                let covered = cover.of_tile(tile);
                if covered != 0 {
                    self.drive_tile(tile, covered, Towards::Memory, action, asked, &mut driven);
                }
            }
        } else {
            cover.for_each_tile(|tile, covered| {
                let was_like = self.unlike[tile as usize] == 0;
                self.drive_tile(tile, covered, Towards::Memory, action, asked, &mut driven);
                if was_like && self.unlike[tile as usize] != 0 {
                    newly_unlike.push(tile);
                }
            });
        }
        self.swings.settle(&self.tones, &mut self.changes, &mut self.spreads);
        self.list_unlike(newly_unlike);
        driven
    }

    /// Draws controller ink over a mask of pixels.
    pub(crate) fn draw(&mut self, pixels: &Mask, level: Level, action: &Action) -> Driven {
        let mut driven = Driven::default();
        self.make_room();
        for (tile, covered) in pixels.tiles() {
            driven.unknown_px += u64::from((self.unknown[*tile as usize] & covered).count_ones());
            self.drive_tile(*tile, *covered, Towards::Level(level), action, None, &mut driven);
        }
        self.swings.settle(&self.tones, &mut self.changes, &mut self.spreads);
        self.list_unlike(pixels.tiles().iter().map(|(tile, _)| *tile).collect());
        driven
    }

    fn make_room(&mut self) {
        self.swings.make_room();
        self.changes.make_room();
    }

    /// Hands all that later steps rest on to `take`, where the panel is as a cleaning leaves it: it shows what is in memory,
    /// every pixel is known, and no update was counted since. What is in memory itself is left to the caller.
    pub(crate) fn tell_cleaned(&self, take: &mut dyn FnMut(u64)) -> bool {
        let is_cleaned = self.most_since_cleaning() == 0 && self.unknown_px == 0 && self.is_like_memory();
        if !is_cleaned || self.charge.is_some() {
            return false;
        }
        for tile in 0..self.grid.tiles() as u32 {
            match self.residue.various(tile) {
                None => take(self.residue.get(tile, 0).to_bits()),
                Some(values) => {
                    // No residue has these bits: they stand for what is no number.
                    take(u64::MAX);
                    for value in values {
                        take(value.to_bits());
                    }
                }
            }
        }
        true
    }

    /// The pixels of a cover whose level is a saturated red.
    pub(crate) fn red_within(&self, cover: &TileCover<'_>) -> Mask {
        let reds = self.swing_kinds.reds();
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

    fn unknown_within(&self, cover: &TileCover<'_>) -> u64 {
        let mut unknown = 0;
        if self.unknown_px > 0 {
            cover.for_each_tile(|tile, covered| {
                unknown += u64::from((self.unknown[tile as usize] & covered).count_ones());
            });
        }
        unknown
    }

    fn drive_tile(
        &mut self,
        tile: u32,
        covered: u64,
        towards: Towards,
        action: &Action,
        asked: Option<&[Rect]>,
        driven: &mut Driven,
    ) {
        let at = tile as usize;
        let unlike = self.unlike[at] & covered;
        driven.changed_px += u64::from(unlike.count_ones());
        let candidates = match towards {
            Towards::Memory if unlike == 0 && self.drive_still_tile(tile, covered, action, asked, driven) => return,
            Towards::Memory if action.changed_only => unlike,
            Towards::Level(level) if action.changed_only => covered & differing_pixels(&[level; 64], &self.levels[at]),
            Towards::Memory | Towards::Level(_) => covered,
        };
        // Before it is driven: what is like memory already.
        let like =
            if action.tells_redriven { candidates & !differing_pixels(&self.levels[at], &self.memory[at]) } else { 0 };
        let driven_pixels = self.drive_pixels(tile, candidates, towards, action, driven);
        driven.redriven.push(tile, like & driven_pixels);
        driven.px += u64::from(driven_pixels.count_ones());
        driven.beside_px += u64::from((driven_pixels & !self.asked_cover(tile, asked)).count_ones());
        let counted = if action.counts_every_update { covered } else { driven_pixels };
        self.count_pixels(tile, counted, driven_pixels, action);
        if driven_pixels != 0 && action.cleans {
            self.make_known(tile, driven_pixels);
        }
    }

    fn asked_cover(&self, tile: u32, asked: Option<&[Rect]>) -> u64 {
        asked.map_or(u64::MAX, |boxes| boxes.iter().fold(0, |cover, rect| cover | self.grid.cover(tile, *rect)))
    }

    /// Drives a tile that is as memory wants it and has no residue, where that is the same for all its pixels; gives
    /// whether it could.
    fn drive_still_tile(
        &mut self,
        tile: u32,
        covered: u64,
        action: &Action,
        asked: Option<&[Rect]>,
        driven: &mut Driven,
    ) -> bool {
        if action.changed_only {
            // Nothing differs: at most the count moves.
            if action.counts_every_update {
                self.count_pixels(tile, covered, 0, action);
            }
            return true;
        }
        let charges = self.charge.is_some() && action.impulse.is_some();
        if !action.unrestricted || action.tells_redriven || charges || self.residue.uniform(tile) != Some(0.0) {
            return false;
        }
        driven.px += u64::from(covered.count_ones());
        driven.beside_px += u64::from((covered & !self.asked_cover(tile, asked)).count_ones());
        self.count_pixels(tile, covered, covered, action);
        if action.cleans {
            self.make_known(tile, covered);
        }
        true
    }

    fn make_known(&mut self, tile: u32, pixels: u64) {
        let unknown = &mut self.unknown[tile as usize];
        self.unknown_px -= u64::from((*unknown & pixels).count_ones());
        *unknown &= !pixels;
    }

    /// Moves level and residue of those candidates that are driven, and gives them.
    fn drive_pixels(
        &mut self,
        tile: u32,
        candidates: u64,
        towards: Towards,
        action: &Action,
        driven: &mut Driven,
    ) -> u64 {
        let Self { tones, levels, memory, residue, swings, swing_kinds, spreads, changes, charge, .. } = self;
        let (levels, memory) = (&mut levels[tile as usize], &memory[tile as usize]);
        let mut values = residue.values(tile);
        let mut net_vs = charge.as_ref().filter(|_| action.impulse.is_some()).map(|charge| charge.net_vs.values(tile));
        let (mut driven_pixels, mut out_of_reach, mut wrong_start, mut moved) = (0_u64, 0_u64, 0_u64, 0_u64);
        let mut turned = [0_u64; Turn::ALL.len()];
        // Where all have one residue, pixels of the same way are few kinds, and each kind is moved at once.
        let by_kind = net_vs.is_none() && residue.uniform(tile).is_some();
        // A clean pixel that stays what it is moves nothing, whatever drives it.
        let still = match towards {
            Towards::Memory if action.unrestricted && net_vs.is_none() => {
                candidates & !differing_pixels(levels, memory) & clean_pixels(&values)
            }
            Towards::Memory | Towards::Level(_) => 0,
        };
        driven_pixels |= still;
        let mut left = candidates & !still;
        let mut kinds = 0;
        while left != 0 {
            let bit = left.trailing_zeros();
            let at = bit as usize;
            let (level, before) = (levels[at], values[at]);
            let target = match towards {
                Towards::Memory => memory[at],
                Towards::Level(level) => level,
            };
            let alike = if by_kind && kinds < MOST_KINDS {
                let of_target = match towards {
                    Towards::Memory => !differing_pixels(&[target; 64], memory),
                    Towards::Level(_) => u64::MAX,
                };
                left & of_target & !differing_pixels(&[level; 64], levels)
            } else {
                1 << bit
            };
            left &= !alike;
            kinds += 1;
            let place = &mut swings.places[Swings::place_of(level, target, before)];
            let swing = match place {
                Some(swing) if swing.is_of(level, target, before) => swing,
                place => {
                    if let Some(other) = place {
                        other.settle(tones, changes, spreads);
                    }
                    let swing = place.insert(Swing::new(level, target, before, action, tones));
                    driven.takes_residue |= swing.takes_residue;
                    driven.meet(swing);
                    swing
                }
            };
            let alike_if = |is: bool| if is { alike } else { 0 };
            out_of_reach |= alike_if(swing.is_out_of_reach);
            driven_pixels |= alike_if(swing.is_driven);
            wrong_start |= alike_if(swing.is_wrong_start);
            moved |= alike_if(swing.moves);
            swing.pixels += i64::from(alike_if(swing.moves).count_ones());
            if action.tells_swings && level != swing.end {
                swing_kinds.mark(level, swing.end, alike, &mut turned);
            }
            for bit in bits(alike) {
                levels[bit as usize] = swing.end;
                values[bit as usize] = swing.after;
            }
            if let Some(net_vs) = &mut net_vs {
                net_vs[at] += swing.impulse_vs;
            }
        }
        if out_of_reach != 0 {
            driven.out_of_reach.push(tile, out_of_reach);
        }
        if wrong_start != 0 {
            driven.wrong_start.push(tile, wrong_start);
        }
        driven.swung.push(tile, turned);
        if moved != 0 {
            let whole = self.grid.whole(tile);
            self.unlike[tile as usize] = differing_pixels(levels, memory);
            self.levels_in[tile as usize] = present(levels, whole);
            self.residue.set(tile, &values, whole);
            self.touched.push(tile);
        }
        if let (Some(charge), Some(net_vs)) = (&mut self.charge, net_vs) {
            charge.set(tile, &net_vs, self.grid.whole(tile));
        }
        driven_pixels
    }

    /// Moves the counts: `driven` pixels of a cleaning go to 0, the others of `counted` go up by one.
    fn count_pixels(&mut self, tile: u32, counted: u64, driven: u64, action: &Action) {
        let cleaned = if action.cleans { driven } else { 0 };
        if counted == 0 {
            return;
        }
        let whole = self.grid.whole(tile);
        if let Some(count) = self.counts.uniform(tile)
            && counted == whole
            && (cleaned == 0 || cleaned == whole)
        {
            let next = if cleaned == 0 { count + 1 } else { 0 };
            move_count(&mut self.px_by_count, count, next, u64::from(whole.count_ones()));
            self.counts.set_uniform(tile, next);
            return;
        }
        let counts = self.counts.edit(tile);
        // Neighbours mostly have the same count: they are moved together.
        let (mut from, mut to, mut pixels) = (0, 0, 0);
        for bit in bits(counted) {
            let count = &mut counts[bit as usize];
            let next = if cleaned >> bit & 1 == 1 { 0 } else { *count + 1 };
            if (*count, next) != (from, to) {
                move_count(&mut self.px_by_count, from, to, pixels);
                (from, to, pixels) = (*count, next, 0);
            }
            pixels += 1;
            *count = next;
        }
        move_count(&mut self.px_by_count, from, to, pixels);
        if cleaned != 0 {
            self.counts.settle(tile, whole);
        }
    }

    /// The pixels of the panel.
    pub(crate) fn pixels(&self) -> u64 {
        self.grid.size().pixels()
    }

    pub(crate) fn spreads_mut(&mut self) -> &mut [Spread] {
        &mut self.spreads
    }

    pub(crate) fn levels_in(&self, tile: u32) -> LevelSet {
        self.levels_in[tile as usize]
    }

    /// Tiles that changed since the last call, rising, each once.
    pub(crate) fn take_touched(&mut self) -> Vec<u32> {
        let mut touched = std::mem::take(&mut self.touched);
        touched.sort_unstable();
        touched.dedup();
        touched
    }

    /// No pixel of a tile has more residue than this, either way; for tiles whose pixels do not agree.
    pub(crate) fn most_residue(&self, tile: u32) -> f64 {
        self.residue.various(tile).map_or(0.0, |values| values.iter().fold(0.0, |most, value| most.max(value.abs())))
    }

    /// The residue of a tile, where all its pixels have the same.
    pub(crate) fn uniform_residue(&self, tile: u32) -> Option<f64> {
        self.residue.uniform(tile)
    }

    /// How much lighter than its level a pixel looks, within the panel's own range, L*.
    pub fn shown_residue(&self, tile: u32, bit: u32) -> f64 {
        self.shown_of(self.levels[tile as usize][bit as usize], self.residue.get(tile, bit))
    }

    pub(crate) fn shown_of(&self, level: Level, residue: f64) -> f64 {
        self.tones.shown(level, residue)
    }
}

impl Driven {
    /// Takes note of a kind of pixel that is driven.
    fn meet(&mut self, swing: &Swing) {
        if swing.level != swing.target {
            self.changes_from = self.changes_from.with(swing.level);
            self.changes_to = self.changes_to.with(swing.target);
            self.most_residue_l = self.most_residue_l.max(f64::from_bits(swing.before).abs());
        }
    }
}

impl Charge {
    fn set(&mut self, tile: u32, net_vs: &[f64; 64], whole: u64) {
        self.net_vs.set(tile, net_vs, whole);
        let over = bits(whole).filter(|bit| net_vs[*bit as usize].abs() > self.limit_vs);
        let (over, most_vs) =
            over.fold((0, 0.0_f64), |(over, most_vs), bit| (over | 1 << bit, most_vs.max(net_vs[bit as usize].abs())));
        if over == 0 {
            self.over.remove(&tile);
        } else {
            self.over.insert(tile, (over, most_vs));
        }
    }
}

/// What a drive does to the pixels of one level, target and residue.
#[derive(Clone, Copy, Debug, Default)]
struct Swing {
    level: Level,
    target: Level,
    before: u64,
    end: Level,
    after: f64,
    is_out_of_reach: bool,
    is_driven: bool,
    is_wrong_start: bool,
    /// Whether level or residue become others.
    moves: bool,
    takes_residue: bool,
    impulse_vs: f64,
    /// How many pixels it moves.
    pixels: i64,
}

impl Swing {
    fn new(level: Level, target: Level, before: f64, action: &Action, tones: &Tones) -> Self {
        let (end, reached) = action.ends[usize::from(target)];
        let still = Self {
            level,
            target,
            before: before.to_bits(),
            end: level,
            after: before,
            is_out_of_reach: !reached,
            ..Self::default()
        };
        let Some(end) = end.filter(|end| !(action.changed_only && *end == level)) else { return still };
        let is_wrong_start = !action.from.contains(level);
        let difference = tones.of(level) - tones.of(end);
        let after = action.residue(before, difference, is_wrong_start);
        Self {
            end,
            after,
            is_driven: true,
            is_wrong_start,
            moves: level != end || before.to_bits() != after.to_bits(),
            takes_residue: after.abs() < before.abs(),
            impulse_vs: action.impulse(difference),
            ..still
        }
    }

    fn is_of(&self, level: Level, target: Level, before: f64) -> bool {
        (self.level, self.target, self.before) == (level, target, before.to_bits())
    }

    /// Brings its pixels from one place of the spreads to another.
    fn settle(&mut self, tones: &Tones, changes: &mut SpreadChanges, spreads: &mut [Spread]) {
        if self.pixels > 0 {
            changes.note(self.level, tones.shown(self.level, f64::from_bits(self.before)), -self.pixels, spreads);
            changes.note(self.end, tones.shown(self.end, self.after), self.pixels, spreads);
            self.pixels = 0;
        }
    }
}

/// The swings of one drive: few are different, so each is worked out once and found again by its place.
#[derive(Debug)]
struct Swings {
    places: Vec<Option<Swing>>,
}

impl Clone for Swings {
    /// Between drives there is nothing to be copied.
    fn clone(&self) -> Self {
        Self { places: Vec::new() }
    }
}

/// A tile with more kinds of pixels than this is driven pixel by pixel.
const MOST_KINDS: u32 = 8;
const SWING_PLACES: usize = 512;

impl Swings {
    fn new() -> Self {
        Self { places: Vec::new() }
    }

    fn make_room(&mut self) {
        self.places.resize(SWING_PLACES, None);
    }

    fn place_of(level: Level, target: Level, before: f64) -> usize {
        let key = before.to_bits() ^ u64::from(level) << 8 ^ u64::from(target);
        (key.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 55) as usize % SWING_PLACES
    }

    /// Forgets all swings and brings their pixels to the spreads.
    fn settle(&mut self, tones: &Tones, changes: &mut SpreadChanges, spreads: &mut [Spread]) {
        for mut swing in self.places.iter_mut().filter_map(Option::take) {
            swing.settle(tones, changes, spreads);
        }
        changes.settle(spreads);
    }
}

/// Moves pixels from one count to another.
fn move_count(px_by_count: &mut Vec<u64>, from: u32, to: u32, pixels: u64) {
    if from == to || pixels == 0 {
        return;
    }
    let (from, to) = (from as usize, to as usize);
    if px_by_count.len() <= to {
        px_by_count.resize(to + 1, 0);
    }
    px_by_count[to] += pixels;
    px_by_count[from] -= pixels;
    while px_by_count.last() == Some(&0) {
        px_by_count.pop();
    }
}

/// All pixels of every tile.
fn whole_tiles(grid: &TileGrid) -> Chunked<u64> {
    Chunked::from_values(&(0..grid.tiles() as u32).map(|tile| grid.whole(tile)).collect::<Vec<u64>>())
}

/// The pixels without residue.
fn clean_pixels(residue: &[f64; 64]) -> u64 {
    residue.iter().enumerate().fold(0, |clean, (bit, value)| clean | u64::from(value.to_bits() == 0) << bit)
}

/// The levels of the pixels in `whole`.
fn present(levels: &TileLevels, whole: u64) -> LevelSet {
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
