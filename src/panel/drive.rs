//! What an update does to the pixels that it drives (`docs/model.md`, driving a pixel).
//!
//! What happens to a pixel is computed once for every pair of levels; residue itself is the law's. Tiles that agree are
//! driven as one, so that a step costs what it changes, not what the panel has.

use super::{
    law::{Law, Residue, Swing},
    neighbours::Neighbourhood,
    spread::{Spreads, place_of},
    state::{PanelState, present},
    swings::{Swung, Turn},
};
use crate::{
    change::{Mask, TileCover, TileLevels, bits, differing_pixels},
    display::{Display, Impulse, Ink, Level, LevelSet, Mode, ink::InkKind},
    geometry::Rect,
};

/// What drives of one mode do to any pixel.
#[derive(Debug)]
pub(super) struct Drive {
    law: Law,
    levels: usize,
    /// By the level of a pixel and the level that it is to get.
    ways: Vec<Way>,
    changed_only: bool,
    cleans: bool,
    counts_every_update: bool,
    has_impulse: bool,
    /// Whether it leaves something beside what it drives.
    pushes: bool,
    /// Whether a clean pixel that keeps its level stays as it is.
    keeps_clean: bool,
    /// Whether driving a pixel towards the level that it has is worth telling: direct drive does it for nothing.
    tells_redriven: bool,
}

/// How a mode is driven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driving {
    /// The share of the way that the drive goes, 0 to 1.
    pub share: f64,
    /// For direct drive, the time driven over the mode's duration: impulse and energy go with it. 1 for any other.
    pub stretch: f64,
    /// Degrees C.
    pub temperature_c: f64,
}

impl Driving {
    /// How a mode is driven for that long at a temperature.
    pub fn new(mode: &Mode, duration_ms: f64, temperature_c: f64) -> Self {
        let share = mode.full_swing_ms.map_or(1.0, |whole| (duration_ms / whole).min(1.0));
        let own_ms = mode.duration_at(temperature_c);
        // A mode that takes no time has none to be compared with.
        let goes_with_time = mode.full_swing_ms.is_some() && own_ms > 0.0;
        let stretch = if goes_with_time { duration_ms / own_ms } else { 1.0 };
        Self { share, stretch, temperature_c }
    }
}

/// What happens to a pixel of one level that is to get another.
#[derive(Clone, Copy, Debug)]
struct Way {
    end: Level,
    /// What is worth telling of it.
    flags: u8,
    swing: Swing,
    impulse_vs: f64,
}

impl Way {
    /// The residue of a pixel that goes so.
    #[inline]
    fn after(&self, before: Residue) -> Residue {
        if self.flags & IS_DRIVEN == 0 { before } else { self.swing.after(before) }
    }
}

/// What a drive did.
#[derive(Debug, Default)]
pub(super) struct Driven {
    pub(super) changed_px: u64,
    pub(super) px: u64,
    /// Driven pixels outside the boxes that were asked for; counted only where `asked` was given.
    pub(super) beside_px: u64,
    pub(super) unknown_px: u64,
    pub(super) out_of_reach: Mask,
    pub(super) wrong_start: Mask,
    /// Whether some pixel has another level than before.
    pub(super) moves_levels: bool,
    /// Whether the residue of some pixel became less.
    pub(super) takes_residue: bool,
    /// The levels of pixels that change, before and after.
    pub(super) changes_from: LevelSet,
    pub(super) changes_to: LevelSet,
    /// The largest residue, either way, of a pixel that changes, before it is driven, L*.
    pub(super) most_residue_l: f64,
    /// The pixels that swung so far that a viewer may see half a flash.
    pub(super) swung: Swung,
    /// Segments' pixels driven towards the level that they have; kept only where the mode does not clean.
    pub(super) redriven: Mask,
    /// What was driven, and what stood there before; kept only where the mode leaves something beside that.
    pub(super) neighbourhood: Neighbourhood,
    fates: Fates,
}

/// The flags of a way, one bit each; the bits from the lowest on stand for the turns of its look.
const IS_DRIVEN: u8 = 1 << 4;
const IS_OUT_OF_REACH: u8 = 1 << 5;
const IS_WRONG_START: u8 = 1 << 6;

/// Where a drive brings the pixels.
#[derive(Clone, Copy, Debug)]
enum Towards {
    /// To the picture in memory.
    Memory,
    /// To one level: controller-drawn ink.
    Level(Level),
}

/// A tile with more ways than this is driven pixel by pixel.
const MOST_WAYS: u32 = 8;

impl Drive {
    /// Drives of a mode, so driven.
    pub(super) fn new(mode: &Mode, display: &Display, driving: Driving, state: &PanelState) -> Self {
        let ink = &display.ink;
        let Driving { share, stretch, temperature_c } = driving;
        let law = Law::new(mode, ink, temperature_c, share);
        let levels = 0..ink.levels() as Level;
        let pairs = levels.clone().flat_map(|level| levels.clone().map(move |target| (level, target)));
        let ways: Vec<Way> =
            pairs.map(|(level, target)| way(mode, display, &law, stretch, state, (level, target))).collect();
        let unrestricted = mode.from == ink.all() && mode.to == ink.all();
        let stays_clean = |level| law.swing(level, level, false).after(Residue::NONE) == Residue::NONE;
        Self {
            levels: ink.levels(),
            ways,
            changed_only: mode.changed_only,
            #[expect(clippy::float_cmp, reason = "a whole drive is exactly 1")]
            cleans: mode.cleans && share == 1.0,
            counts_every_update: display.limits.counts_every_update,
            has_impulse: mode.impulse.is_some(),
            pushes: mode.beside.is_some(),
            keeps_clean: unrestricted && levels.clone().all(stays_clean),
            tells_redriven: !mode.cleans && matches!(ink.kind(), InkKind::Segments(_)),
            law,
        }
    }
}

/// Where a mode brings a pixel of one level that is to get another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Aim {
    /// The level that it is driven to; `None` if it is not driven.
    pub(crate) end: Option<Level>,
    /// Whether the mode cannot bring it to the level that it is to get.
    pub(crate) is_out_of_reach: bool,
    /// Whether it is driven from a level that the mode cannot start from.
    pub(crate) is_wrong_start: bool,
}

impl Aim {
    /// Where a mode brings a pixel of that level that is to get the level of the target.
    pub(crate) fn new(mode: &Mode, ink: &Ink, level: Level, target: Level) -> Self {
        if mode.changed_only && level == target {
            return Self { end: None, is_out_of_reach: false, is_wrong_start: false };
        }
        let reached = mode.to.contains(target);
        let end = match (reached, mode.skips_out_of_reach) {
            (true, _) => Some(target),
            (false, true) => None,
            (false, false) => ink.nearest(target, mode.to),
        };
        let end = end.filter(|end| !(mode.changed_only && *end == level));
        Self { end, is_out_of_reach: !reached, is_wrong_start: end.is_some() && !mode.from.contains(level) }
    }
}

fn way(
    mode: &Mode,
    display: &Display,
    law: &Law,
    stretch: f64,
    state: &PanelState,
    (level, target): (Level, Level),
) -> Way {
    let Aim { end, is_out_of_reach, is_wrong_start } = Aim::new(mode, &display.ink, level, target);
    let reaches = end.unwrap_or(level);
    let swings = mode.flashes == 0 && level != reaches;
    Way {
        end: reaches,
        flags: flag(IS_DRIVEN, end.is_some())
            | flag(IS_OUT_OF_REACH, is_out_of_reach)
            | flag(IS_WRONG_START, is_wrong_start)
            // Swings of a mode that flashes are part of its flashes.
            | if swings { state.looks.swing_kinds.turns(level, reaches) } else { 0 },
        swing: law.swing(level, reaches, is_wrong_start),
        impulse_vs: if end.is_some() { impulse_vs(mode, law, display, level, reaches) * stretch } else { 0.0 },
    }
}

const fn flag(bit: u8, is: bool) -> u8 {
    if is { bit } else { 0 }
}

/// Net impulse, volt-seconds, of a swing from one level to another.
fn impulse_vs(mode: &Mode, law: &Law, display: &Display, from: Level, to: Level) -> f64 {
    let Some(Impulse { lighter, darker, same }) = mode.impulse else { return 0.0 };
    let difference = law.tones().of(from) - law.tones().of(to);
    let whole = if difference < 0.0 {
        lighter
    } else if difference > 0.0 {
        darker
    } else {
        return same;
    };
    // Segments may be lighter where they are on.
    let ink = &display.ink;
    let contrast_l = (ink.lightness(ink.white()) - ink.lightness(ink.black())).abs();
    whole * difference.abs() / contrast_l
}

impl PanelState {
    /// Drives the pixels of a cover towards memory. `asked`, where given, are the boxes beside which driven pixels are
    /// counted.
    pub(super) fn drive(&mut self, cover: &TileCover<'_>, drive: &Drive, asked: Option<&[Rect]>) -> Driven {
        let mut driven = Driven { fates: Fates::new(cover.pixels()), ..Driven::default() };
        self.forget_spreads_before(cover, drive);
        let mut newly_unlike = Vec::new();
        if drive.changed_only {
            driven.unknown_px = self.unknown_within(cover);
        }
        if drive.changed_only && !drive.counts_every_update {
            // Only pixels that differ are driven: nothing but their tiles is looked at.
            for tile in self.unlike_in_rows_of(cover).to_vec() {
                let covered = cover.of_tile(tile);
                if covered != 0 {
                    self.drive_tile(tile, covered, Towards::Memory, drive, asked, &mut driven);
                }
            }
        } else {
            cover.for_each_tile(|tile, covered| {
                let was_like = self.unlike[tile as usize] == 0;
                self.drive_tile(tile, covered, Towards::Memory, drive, asked, &mut driven);
                if was_like && self.unlike[tile as usize] != 0 {
                    newly_unlike.push(tile);
                }
            });
        }
        driven.fates.settle(&mut self.spreads);
        self.list_unlike(newly_unlike);
        self.push_neighbours(&driven.neighbourhood, &drive.law);
        driven
    }

    /// Lets go of the spreads where a drive moves so much of the panel that it takes less time to make them again afterwards.
    fn forget_spreads_before(&mut self, cover: &TileCover<'_>, drive: &Drive) {
        let driven = if drive.changed_only {
            let changed = |tile: &u32| u64::from((self.unlike[*tile as usize] & cover.of_tile(*tile)).count_ones());
            self.unlike_in_rows_of(cover).iter().map(changed).sum()
        } else {
            cover.pixels()
        };
        // Making them again goes through all bins as well, of which a small panel has more than pixels.
        if driven >= (self.grid.size().pixels() / 4).max(self.spreads.bins() as u64 / 4) {
            self.spreads.forget();
        }
    }

    /// Draws controller ink over a mask of pixels.
    pub(super) fn draw(&mut self, pixels: &Mask, level: Level, drive: &Drive) -> Driven {
        let mut driven = Driven { fates: Fates::new(pixels.count()), ..Driven::default() };
        for (tile, covered) in pixels.tiles() {
            driven.unknown_px += self.unknown_of(*tile, *covered);
            self.drive_tile(*tile, *covered, Towards::Level(level), drive, None, &mut driven);
        }
        driven.fates.settle(&mut self.spreads);
        self.list_unlike(pixels.tiles().iter().map(|(tile, _)| *tile).collect());
        self.push_neighbours(&driven.neighbourhood, &drive.law);
        driven
    }

    fn drive_tile(
        &mut self,
        tile: u32,
        covered: u64,
        towards: Towards,
        drive: &Drive,
        asked: Option<&[Rect]>,
        driven: &mut Driven,
    ) {
        let at = tile as usize;
        let unlike = self.unlike[at] & covered;
        driven.changed_px += u64::from(unlike.count_ones());
        let candidates = match towards {
            Towards::Memory if unlike == 0 && self.drive_still_tile(tile, covered, drive, asked, driven) => return,
            Towards::Memory if drive.changed_only => unlike,
            Towards::Level(level) if drive.changed_only => covered & !of_level(level, &self.levels[at]),
            Towards::Memory | Towards::Level(_) => covered,
        };
        // Before it is driven: what is like memory already.
        let like = if drive.tells_redriven { candidates & !self.unlike[at] } else { 0 };
        let pixels = self.drive_pixels(tile, candidates, towards, drive, driven);
        driven.redriven.push(tile, like & pixels);
        self.count_driven(tile, covered, pixels, drive, asked, driven);
    }

    /// Drives a tile that is as memory wants it and has no residue, where that is the same for all its pixels; gives
    /// whether it could.
    fn drive_still_tile(
        &mut self,
        tile: u32,
        covered: u64,
        drive: &Drive,
        asked: Option<&[Rect]>,
        driven: &mut Driven,
    ) -> bool {
        if drive.changed_only {
            // Nothing differs: at most the count moves.
            if drive.counts_every_update {
                self.counts.count(tile, covered, self.grid.whole(tile));
            }
            return true;
        }
        let charges = self.charge.is_some() && drive.has_impulse;
        let is_still = drive.keeps_clean && !drive.tells_redriven && !charges;
        if !is_still || self.residue.uniform(tile) != Some(Residue::NONE) {
            return false;
        }
        self.count_driven(tile, covered, covered, drive, asked, driven);
        true
    }

    /// Counts the driven pixels of a tile, and moves their counts since the last cleaning.
    fn count_driven(
        &mut self,
        tile: u32,
        covered: u64,
        pixels: u64,
        drive: &Drive,
        asked: Option<&[Rect]>,
        driven: &mut Driven,
    ) {
        driven.px += u64::from(pixels.count_ones());
        if drive.pushes {
            driven.neighbourhood.driven(tile, pixels);
        }
        if let Some(boxes) = asked {
            let asked = boxes.iter().fold(0, |cover, rect| cover | self.grid.cover(tile, *rect));
            driven.beside_px += u64::from((pixels & !asked).count_ones());
        }
        let counted = if drive.counts_every_update { covered } else { pixels };
        let whole = self.grid.whole(tile);
        if drive.cleans {
            self.counts.clean(tile, counted, pixels, whole);
            self.make_known(tile, pixels);
        } else {
            self.counts.count(tile, counted, whole);
        }
    }

    /// Moves level and residue of those candidates that are driven, and gives them.
    fn drive_pixels(
        &mut self,
        tile: u32,
        candidates: u64,
        towards: Towards,
        drive: &Drive,
        driven: &mut Driven,
    ) -> u64 {
        let at = tile as usize;
        let memory = self.memory[at];
        let targets = match towards {
            Towards::Memory => memory,
            Towards::Level(level) => [level; 64],
        };
        let charged = self.charge.as_ref().filter(|_| drive.has_impulse).map(|charge| charge.values(tile));
        let mut pixels = TilePixels {
            levels: self.levels[at],
            targets,
            residues: self.residue.values(tile),
            net_vs: charged,
            done: Done::default(),
        };
        let mut left = candidates;
        if self.residue.uniform(tile).is_some() && pixels.net_vs.is_none() {
            left = pixels.drive_alike(left, drive, driven, &mut self.spreads);
        } else if drive.keeps_clean && pixels.net_vs.is_none() {
            let still = left & !differing_pixels(&pixels.levels, &pixels.targets) & clean_pixels(&pixels.residues);
            pixels.done.driven = still;
            left &= !still;
        }
        pixels.drive_apart(left, drive, driven, &mut self.spreads);
        let TilePixels { levels, residues, net_vs, done, .. } = &pixels;
        driven.out_of_reach.push(tile, done.out_of_reach);
        driven.wrong_start.push(tile, done.wrong_start);
        driven.swung.push(tile, done.turned);
        let whole = self.grid.whole(tile);
        if drive.pushes {
            driven.neighbourhood.changed(tile, &self.levels[at], differing_pixels(levels, &self.levels[at]));
        }
        if done.moved != 0 {
            self.levels[at] = *levels;
            self.unlike[at] = differing_pixels(levels, &memory);
            self.levels_in[at] = if self.unlike[at] == 0 { self.memory_levels_in[at] } else { present(levels, whole) };
            if self.rims[at] & done.driven != 0 {
                self.rims[at] &= !done.driven;
            }
            self.residue.set(tile, residues, whole);
            self.touched.push(tile);
        }
        if let (Some(charge), Some(net_vs)) = (&mut self.charge, net_vs) {
            charge.set(tile, net_vs, whole);
        }
        done.driven
    }
}

/// The pixels of a tile while it is driven.
struct TilePixels {
    levels: TileLevels,
    targets: TileLevels,
    residues: [Residue; 64],
    net_vs: Option<[f64; 64]>,
    done: Done,
}

/// What was done to the pixels of a tile.
#[derive(Default)]
struct Done {
    driven: u64,
    moved: u64,
    out_of_reach: u64,
    wrong_start: u64,
    turned: [u64; Turn::ALL.len()],
}

impl Done {
    /// Takes note of what happens to pixels that go the same way.
    fn take(&mut self, flags: u8, pixels: u64) {
        let where_it = |bit: u8| if flags & bit != 0 { pixels } else { 0 };
        self.add(where_it);
    }

    /// Takes note of what happens to every pixel of a tile, by its flags.
    fn take_all(&mut self, flags: &[u8; 64]) {
        let any = flags.iter().fold(0, |any, flags| any | flags);
        if flags.iter().all(|flags| *flags == any) {
            return self.take(any, u64::MAX);
        }
        let pixels_with = |bit: u8| {
            if any & bit == 0 {
                return 0;
            }
            differing_pixels(&flags.map(|flags| flags & bit), &[0; 64])
        };
        self.add(pixels_with);
    }

    fn add(&mut self, pixels_with: impl Fn(u8) -> u64) {
        self.driven |= pixels_with(IS_DRIVEN);
        self.out_of_reach |= pixels_with(IS_OUT_OF_REACH);
        self.wrong_start |= pixels_with(IS_WRONG_START);
        for (turn, turned) in self.turned.iter_mut().enumerate() {
            *turned |= pixels_with(1 << turn);
        }
    }
}

impl TilePixels {
    /// Drives pixels of a tile that has one residue, kind by kind, as long as there are few; gives those that are left.
    fn drive_alike(&mut self, pixels: u64, drive: &Drive, driven: &mut Driven, spreads: &mut Spreads) -> u64 {
        let mut left = pixels;
        let before = self.residues[0];
        for _ in 0..MOST_WAYS {
            if left == 0 {
                break;
            }
            let at = left.trailing_zeros() as usize;
            let (level, target) = (self.levels[at], self.targets[at]);
            let alike = left & of_level(level, &self.levels) & of_level(target, &self.targets);
            left &= !alike;
            let fate = driven.fate((level, target, before), alike.count_ones(), drive, spreads);
            self.done.take(fate.flags, alike);
            if level == fate.end && fate.after == before {
                continue;
            }
            self.done.moved |= alike;
            for bit in bits(alike) {
                self.levels[bit as usize] = fate.end;
                self.residues[bit as usize] = fate.after;
            }
        }
        left
    }

    /// Drives pixels each by itself: first what happens to every one, then the tile as a whole.
    fn drive_apart(&mut self, pixels: u64, drive: &Drive, driven: &mut Driven, spreads: &mut Spreads) {
        if pixels == 0 {
            return;
        }
        if let Some(net_vs) = &mut self.net_vs {
            // A pixel that is not driven has an impulse of 0.
            for bit in bits(pixels) {
                let at = bit as usize & 63;
                net_vs[at] += drive.way(self.levels[at], self.targets[at]).impulse_vs;
            }
        }
        let mut flags = [0; 64];
        if spreads.are_known() {
            self.drive_few(pixels, &mut flags, drive, driven, spreads);
        } else {
            self.drive_many(pixels, &mut flags, drive, driven);
        }
        self.done.take_all(&flags);
    }

    /// Drives pixels of which many are alike, here or in other tiles: each kind is computed once.
    fn drive_few(
        &mut self,
        pixels: u64,
        flags: &mut [u8; 64],
        drive: &Drive,
        driven: &mut Driven,
        spreads: &mut Spreads,
    ) {
        for bit in bits(pixels) {
            let at = bit as usize & 63;
            let kind = (self.levels[at], self.targets[at], self.residues[at]);
            let fate = driven.fate(kind, 1, drive, spreads);
            self.done.moved |= u64::from(fate.end != kind.0 || fate.after != kind.2) << at;
            (flags[at], self.levels[at], self.residues[at]) = (fate.flags, fate.end, fate.after);
        }
    }

    /// Drives so many pixels that it takes less time to compute each one than to tell which are alike.
    fn drive_many(&mut self, pixels: u64, flags: &mut [u8; 64], drive: &Drive, driven: &mut Driven) {
        for bit in bits(pixels) {
            let at = bit as usize & 63;
            let (level, target, before) = (self.levels[at], self.targets[at], self.residues[at]);
            let way = drive.way(level, target);
            let after = way.after(before);
            driven.note((level, target, before), (way.end, after));
            self.done.moved |= u64::from(way.end != level || after != before) << at;
            (flags[at], self.levels[at], self.residues[at]) = (way.flags, way.end, after);
        }
    }
}

impl Drive {
    #[inline]
    fn way(&self, level: Level, target: Level) -> &Way {
        &self.ways[usize::from(level) * self.levels + usize::from(target)]
    }
}

/// What happens to the pixels that an update met: most are like some of those just before, and what happens to them is worked
/// out once. Their moves reach the spreads together.
#[derive(Debug, Default)]
struct Fates {
    places: Vec<Fate>,
}

/// What happens to pixels of one level, target and residue.
#[derive(Clone, Copy, Debug, Default)]
struct Fate {
    level: Level,
    target: Level,
    end: Level,
    flags: u8,
    before: Residue,
    after: Residue,
    /// How many pixels went so and have not reached the spreads yet.
    pixels: u32,
    is_known: bool,
}

/// As many are remembered at the most: a power of two.
const FATES: u64 = 512;

impl Fates {
    /// Room for what happens to so many pixels, most of which are like others.
    fn new(pixels: u64) -> Self {
        Self { places: vec![Fate::default(); (pixels / 8).clamp(8, FATES).next_power_of_two() as usize] }
    }

    fn place_of(&self, level: Level, target: Level, before: Residue) -> usize {
        let key = before.bits() ^ u64::from(level) << 8 ^ u64::from(target);
        place_of(key, self.places.len())
    }

    /// Brings all moves to the spreads.
    fn settle(&mut self, spreads: &mut Spreads) {
        self.places.iter_mut().for_each(|fate| fate.settle(spreads));
    }
}

impl Fate {
    fn settle(&mut self, spreads: &mut Spreads) {
        let pixels = u64::from(std::mem::take(&mut self.pixels));
        if pixels > 0 && (self.level != self.end || self.before != self.after) {
            spreads.moved((self.level, self.before), (self.end, self.after), pixels);
        }
    }
}

impl Driven {
    /// What happens to so many pixels of a level and residue that are to get another level.
    #[inline]
    fn fate(
        &mut self,
        (level, target, before): (Level, Level, Residue),
        pixels: u32,
        drive: &Drive,
        spreads: &mut Spreads,
    ) -> Fate {
        let at = self.fates.place_of(level, target, before);
        let fate = &self.fates.places[at];
        if !fate.is_known || (fate.level, fate.target, fate.before) != (level, target, before) {
            self.learn(at, (level, target, before), drive, spreads);
        }
        let fate = &mut self.fates.places[at];
        fate.pixels += pixels;
        *fate
    }

    /// Works out what happens to a kind of pixel that was not met lately.
    fn learn(
        &mut self,
        at: usize,
        (level, target, before): (Level, Level, Residue),
        drive: &Drive,
        spreads: &mut Spreads,
    ) {
        let way = drive.way(level, target);
        let after = way.after(before);
        self.note((level, target, before), (way.end, after));
        let place = &mut self.fates.places[at];
        place.settle(spreads);
        *place = Fate { level, target, end: way.end, flags: way.flags, before, after, pixels: 0, is_known: true };
    }

    /// Takes note of what happens to a kind of pixel.
    #[inline]
    fn note(&mut self, (level, target, before): (Level, Level, Residue), (end, after): (Level, Residue)) {
        self.moves_levels |= end != level;
        self.takes_residue |= is_less(after, before);
        if level != target {
            self.changes_from = self.changes_from.with(level);
            self.changes_to = self.changes_to.with(target);
            self.most_residue_l = self.most_residue_l.max(before.lightness().abs());
        }
    }
}

/// Whether a residue is nearer to none than another.
#[inline]
fn is_less(one: Residue, other: Residue) -> bool {
    one.lightness().abs() < other.lightness().abs()
}

/// The pixels of a tile that have a level.
#[inline]
fn of_level(level: Level, levels: &TileLevels) -> u64 {
    !differing_pixels(&[level; 64], levels)
}

/// The pixels without residue.
fn clean_pixels(residues: &[Residue; 64]) -> u64 {
    let is_clean = |residue: &Residue| *residue == Residue::NONE;
    residues.iter().enumerate().fold(0, |clean, (bit, residue)| clean | u64::from(is_clean(residue)) << bit)
}
