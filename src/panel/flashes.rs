//! Flashes over time: how large an area flashes too often within a second, as a viewer at a distance sees it
//! (`docs/model.md`, flashes).
//!
//! Works on the boxes of updates and on tiles that swung, and keeps what later updates can still share a second with. The
//! thresholds are published ones on a model; what comes out is no medical assessment.

use std::collections::{BTreeMap, VecDeque};

use super::{
    played::PlayedStep,
    swings::{FlashKind, is_general_swing},
};
use crate::{
    change::{Mask, TILE, TileCover, TileGrid},
    display::Mode,
    geometry::Rect,
    plan::Plan,
    units::pixel_area_mm2,
};

/// A second, ms: from a flash on, that one included, the next one after a second no longer.
pub(crate) const SECOND_MS: f64 = 1000.0;
/// What comes a second later is not within it. Times are sums, and the last bits of a sum decide nothing.
const WITHIN_MS: f64 = SECOND_MS - 1e-6;
/// A field of 10 degrees as parts of the viewing distance. Source: WCAG 2.2, technique G176.
const FIELD: [f64; 2] = [0.1745, 0.1309];
/// From where on flashes break the threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlashLimits {
    /// As many flashes within any second are still allowed.
    pub per_second: f64,
    /// The solid angle from which on more of them break the threshold, sr.
    pub sr: f64,
}

/// Flashes that break the threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FastFlashes {
    /// Which kind.
    pub kind: FlashKind,
    /// The update of the step with which they break it.
    pub update: usize,
    /// Whether that update breaks it alone.
    pub is_alone: bool,
    /// Whether swings of the content take part.
    pub has_content: bool,
    /// The most flashes of a pixel within a second; one swing is half a flash.
    pub flashes: f64,
    /// The box around all that flashes too often.
    pub rect: Rect,
    /// How many pixels of it one field of view holds at most.
    pub pixels: u64,
    /// Their solid angle, sr.
    pub sr: f64,
    /// The most flashes within a second that all pixels of an area of the threshold's size have.
    pub on_large_area: f64,
    /// How many pixels with so many flashes one field of view holds at most.
    pub large_px: u64,
    /// The solid angle of those, sr.
    pub large_sr: f64,
    /// How many flashes are still allowed, in whole halves.
    pub allowed: f64,
}

/// What a viewer has before the eye: the panel's tiles, the field of view in pixels, and how large a pixel looks.
#[derive(Clone, Debug)]
struct View {
    grid: TileGrid,
    /// The field's sides in pixels, unrounded.
    field: [f64; 2],
    sr_of_pixel: f64,
}

impl View {
    fn new(grid: TileGrid, pixels_per_inch: f64, distance_mm: f64) -> Self {
        let pixels_per_mm = pixels_per_inch / 25.4;
        Self {
            grid,
            field: FIELD.map(|part| part * distance_mm * pixels_per_mm),
            sr_of_pixel: pixel_area_mm2(pixels_per_inch) / (distance_mm * distance_mm),
        }
    }

    /// At least as many pixels of a mask as any field of view holds, whichever way up: exact where all of them fit into
    /// one; otherwise the field is widened to the tiles that it can touch, and holds no more than its own area.
    fn most_in_field(&self, mask: &Mask) -> u64 {
        let Some(bounds) = mask.bounds(&self.grid) else { return 0 };
        let [long, short] = self.field.map(|side| (side as u32).max(1));
        let fits = |width, height| bounds.width <= width && bounds.height <= height;
        if fits(long, short) || fits(short, long) {
            return mask.count();
        }
        let sums = TileSums::new(mask, bounds, &self.grid);
        let tiles = |side: u32| (side + TILE - 2) / TILE + 1;
        let held = |width: u32, height: u32| {
            let own = u64::from(width.min(bounds.width)) * u64::from(height.min(bounds.height));
            sums.most(tiles(width), tiles(height)).min(own)
        };
        held(long, short).max(held(short, long))
    }
}

/// Sums of pixels over rectangles of the tiles in a box.
struct TileSums {
    columns: u32,
    rows: u32,
    /// The pixels above and to the left of each corner.
    corners: Vec<u64>,
}

impl TileSums {
    fn new(mask: &Mask, bounds: Rect, grid: &TileGrid) -> Self {
        let (left, top) = (bounds.x / TILE, bounds.y / TILE);
        let (columns, rows) = (bounds.right().div_ceil(TILE) - left, bounds.bottom().div_ceil(TILE) - top);
        let wide = columns as usize + 1;
        let mut corners = vec![0; wide * (rows as usize + 1)];
        for (tile, pixels) in mask.tiles() {
            let (x, y) = (tile % grid.columns() - left, tile / grid.columns() - top);
            corners[(y as usize + 1) * wide + x as usize + 1] = u64::from(pixels.count_ones());
        }
        for at in wide..corners.len() {
            if !at.is_multiple_of(wide) {
                // The own tile first: the sums above and to the left hold the one across twice.
                corners[at] = corners[at] + corners[at - 1] + corners[at - wide] - corners[at - wide - 1];
            }
        }
        Self { columns, rows, corners }
    }

    fn most(&self, width: u32, height: u32) -> u64 {
        let (width, height) = (width.min(self.columns), height.min(self.rows));
        let corner = |x: u32, y: u32| self.corners[y as usize * (self.columns as usize + 1) + x as usize];
        let places = (0..=self.rows - height).flat_map(|y| (0..=self.columns - width).map(move |x| (x, y)));
        let sums = places
            .map(|(x, y)| corner(x + width, y + height) + corner(x, y) - corner(x + width, y) - corner(x, y + height));
        sums.max().unwrap_or(0)
    }
}

/// What an update shows of one kind of flashes.
#[derive(Clone, Debug)]
struct Source {
    /// When, ms, rising: each is a whole flash, or one swing of the content.
    at_ms: Vec<f64>,
    what: What,
    /// Pixels that take part, counted once.
    pixels: u64,
    /// Whether it breaks the threshold without any other.
    is_alone: bool,
}

#[derive(Clone, Debug)]
enum What {
    /// A mode's flashes on its boxes.
    Boxes(Vec<Rect>),
    /// A mode's flashes on some pixels.
    Pixels(Mask),
    /// One swing of the content: the pixels that go each of the two ways.
    Content([Mask; 2]),
}

/// A source and how many halves of flashes of it lie within a second.
type Part<'s> = (&'s Source, usize);

/// Follows the flashes of a plan, step by step.
#[derive(Clone, Debug)]
pub struct FlashWatch<'p> {
    plan: &'p Plan,
    limits: FlashLimits,
    view: View,
    /// Whether a mode's own flash, between black and white, is a general flash on this panel.
    modes_flash: bool,
    general: VecDeque<Source>,
    red: VecDeque<Source>,
}

impl<'p> FlashWatch<'p> {
    /// A watch that has seen nothing yet.
    pub fn new(plan: &'p Plan, limits: FlashLimits) -> Self {
        let ink = &plan.display.ink;
        let view = View::new(TileGrid::new(plan.screen_size()), plan.display.pixels_per_inch, plan.viewing_distance_mm);
        let modes_flash = is_general_swing(ink.relative_luminance(ink.black()), ink.relative_luminance(ink.white()));
        Self { plan, limits, view, modes_flash, general: VecDeque::new(), red: VecDeque::new() }
    }

    /// Takes a step; gives the thresholds that break with its updates.
    pub fn step(&mut self, step: &PlayedStep<'_>) -> Vec<FastFlashes> {
        let mut found = Vec::new();
        self.each_source(step, |watch, kind, index, fresh| {
            found.extend(watch.take(kind, fresh).into_iter().map(|found| FastFlashes { update: index, ..found }));
        });
        found
    }

    /// Does something with what each update of a step shows, after those have gone that no longer share a second with it.
    fn each_source(&mut self, step: &PlayedStep<'_>, mut work: impl FnMut(&mut Self, FlashKind, usize, Source)) {
        // No later update begins before its request.
        let oldest_ms = step.updates_request_ms() - SECOND_MS;
        for kind in [FlashKind::General, FlashKind::Red] {
            self.sources(kind).retain(|source| source.at_ms.last().is_some_and(|last| *last > oldest_ms));
            for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
                let (start_ms, duration_ms) = (update.times.start_ms, update.duration_ms);
                let mode = &self.plan.display.modes[update.mode];
                let flashes = mode.flashes;
                let what = match (flashes, kind) {
                    (0, _) => What::Content(update.swung.both_ways(kind).map(Clone::clone)),
                    (_, FlashKind::General) if self.modes_flash => What::Boxes(update.sent.clone()),
                    (_, FlashKind::General) => continue,
                    (_, FlashKind::Red) => What::Pixels(update.red.clone()),
                };
                let fresh = Source::new(moments_of(mode, start_ms, duration_ms), what, &self.view.grid);
                work(self, kind, index, fresh);
            }
        }
    }

    fn sources(&mut self, kind: FlashKind) -> &mut VecDeque<Source> {
        match kind {
            FlashKind::General => &mut self.general,
            FlashKind::Red => &mut self.red,
        }
    }

    fn take(&mut self, kind: FlashKind, mut fresh: Source) -> Vec<FastFlashes> {
        if fresh.pixels == 0 {
            return Vec::new();
        }
        let limits = self.limits;
        let view = self.view.clone();
        let alone = worst_of(&[], &fresh, limits, &view);
        fresh.is_alone = alone.is_some();
        let earlier = self.sources(kind);
        let together = if earlier.is_empty() {
            None
        } else {
            worst_of(&earlier.iter().collect::<Vec<_>>(), &fresh, limits, &view)
        };
        earlier.push_back(fresh);
        alone.into_iter().chain(together).map(|found| FastFlashes { kind, ..found }).collect()
    }
}

/// Measures how many flashes within a second a plan comes to on an area of the threshold's size, also where that many are
/// allowed.
#[derive(Clone, Debug)]
pub struct FlashPeak<'p> {
    watch: FlashWatch<'p>,
    most_halves: usize,
    /// Whether the whole panel is large enough.
    may_be_large: bool,
}

impl<'p> FlashPeak<'p> {
    /// A measure that has seen nothing yet.
    pub fn new(plan: &'p Plan, limits: FlashLimits) -> Self {
        let watch = FlashWatch::new(plan, limits);
        let may_be_large = plan.screen_size().pixels() as f64 * watch.view.sr_of_pixel >= limits.sr;
        Self { watch, most_halves: 0, may_be_large }
    }

    /// Takes a step.
    pub fn step(&mut self, step: &PlayedStep<'_>) {
        if !self.may_be_large {
            return;
        }
        let most_halves = &mut self.most_halves;
        self.watch.each_source(step, |watch, kind, _, fresh| {
            if fresh.pixels == 0 {
                return;
            }
            let (sr, view) = (watch.limits.sr, watch.view.clone());
            let earlier = watch.sources(kind);
            let seconds = seconds_of(&earlier.iter().collect::<Vec<_>>(), &fresh);
            *most_halves = most_on_large_area(&seconds, *most_halves, sr, &view);
            drop(seconds);
            earlier.push_back(fresh);
        });
    }

    /// The most flashes within a second so far; a swing of the content is half a flash.
    pub fn reached(&self) -> f64 {
        self.most_halves as f64 / 2.0
    }

    /// As many are allowed, in whole halves.
    pub fn allowed(&self) -> f64 {
        allowed_halves(self.watch.limits) as f64 / 2.0
    }
}

/// As many halves of flashes within a second are still allowed.
pub(crate) fn allowed_halves(limits: FlashLimits) -> usize {
    (2.0 * limits.per_second).floor() as usize
}

/// Areas of the threshold's size on a panel, for those who know how many halves of flashes each pixel can come to.
#[derive(Clone, Debug)]
pub(crate) struct LargeAreas {
    view: View,
    sr: f64,
}

impl LargeAreas {
    /// Those of a plan's panel.
    pub(crate) fn new(plan: &Plan, limits: FlashLimits) -> Self {
        let grid = TileGrid::new(plan.screen_size());
        Self { view: View::new(grid, plan.display.pixels_per_inch, plan.viewing_distance_mm), sr: limits.sr }
    }

    /// Whether so many pixels are enough, if they lie close together.
    pub(crate) fn may_be_large(&self, pixels: u64) -> bool {
        pixels as f64 * self.view.sr_of_pixel >= self.sr
    }

    /// The most halves that all pixels of a large area come to; `halves` gives those of a pixel, row by row.
    pub(crate) fn most_halves(&self, pixels: usize, halves: impl Fn(usize) -> u32) -> u32 {
        let mut counts: BTreeMap<u32, u64> = BTreeMap::new();
        for pixel in 0..pixels {
            *counts.entry(halves(pixel)).or_default() += 1;
        }
        let mut all = 0;
        let large = counts.into_iter().rev().find(|(most, pixels)| {
            all += pixels;
            *most == 0 || self.may_be_large(all) && self.may_be_large(self.in_one_field(|at| halves(at) >= *most))
        });
        large.map_or(0, |(most, _)| most)
    }

    /// At least as many of some pixels as any field of view holds.
    fn in_one_field(&self, is_one: impl Fn(usize) -> bool) -> u64 {
        let grid = &self.view.grid;
        let size = grid.size();
        let mut bits = vec![0_u64; grid.tiles()];
        let pixels = (0..size.height).flat_map(|y| (0..size.width).map(move |x| (x, y))).enumerate();
        for (x, y) in pixels.filter(|(at, _)| is_one(*at)).map(|(_, place)| place) {
            let (tile, bit) = grid.locate(x, y);
            bits[tile as usize] |= bit;
        }
        let tiles = bits.into_iter().enumerate().map(|(tile, bits)| (tile as u32, bits));
        self.view.most_in_field(&Mask::from_sorted(tiles))
    }
}

/// The most halves of flashes that a large area has in any of some seconds, no fewer than known already.
fn most_on_large_area(seconds: &[Vec<Part<'_>>], known: usize, limit_sr: f64, view: &View) -> usize {
    let mut most = known;
    for parts in seconds {
        let has_more = |halves| break_of(parts, halves, limit_sr, view).is_some();
        // An area that has more than some halves has more than any fewer: the steps double, and are halved again.
        let mut step = 1;
        while most < MOST_HALVES && has_more(most + step - 1) {
            most += step;
            step *= 2;
        }
        while step > 1 {
            step /= 2;
            if most < MOST_HALVES && has_more(most + step - 1) {
                most += step;
            }
        }
    }
    most.min(MOST_HALVES.max(known))
}

/// What lies in each second that holds something of `fresh`, which is the last.
fn seconds_of<'s>(earlier: &[&'s Source], fresh: &'s Source) -> Vec<Vec<Part<'s>>> {
    let (sources, moments_ms) = near(earlier, fresh);
    let mut reached = 0;
    let mut seconds = Vec::new();
    for from_ms in &moments_ms {
        // A second that reaches no further than the one before it holds nothing that that one does not.
        let reach = moments_ms.partition_point(|at_ms| *at_ms < from_ms + WITHIN_MS);
        if std::mem::replace(&mut reached, reach) != reach {
            seconds.push(parts_of(&sources, fresh, *from_ms));
        }
    }
    seconds.retain(|parts| !parts.is_empty());
    seconds
}

/// More halves of flashes of a pixel within a second than this, or more sources of flashes, are not distinguished: no panel
/// shows a hundred flashes in a second, and a plan may ask for any number of them at one moment.
const MOST_HALVES: usize = 200;
const MOST_SOURCES: usize = 256;

/// Sources that may share a second with `fresh`, and the moments of all of them, rising.
fn near<'s>(earlier: &[&'s Source], fresh: &Source) -> (Vec<&'s Source>, Vec<f64>) {
    let (Some(first_ms), Some(last_ms)) = (fresh.at_ms.first(), fresh.at_ms.last()) else {
        return (Vec::new(), Vec::new());
    };
    let near = |at_ms: &f64| *at_ms > first_ms - SECOND_MS && *at_ms < last_ms + SECOND_MS;
    let mut sources: Vec<&Source> = earlier.iter().copied().filter(|source| source.at_ms.iter().any(near)).collect();
    sources.drain(..sources.len().saturating_sub(MOST_SOURCES));
    let all = sources.iter().copied().chain([fresh]);
    let mut moments_ms: Vec<f64> = all.flat_map(|source| source.at_ms.iter().copied().filter(near)).collect();
    moments_ms.sort_by(f64::total_cmp);
    (sources, moments_ms)
}

/// When the flashes of an update are, or the one swing of one that has none.
pub(crate) fn moments_of(mode: &Mode, start_ms: f64, duration_ms: f64) -> Vec<f64> {
    if mode.flash_at.is_empty() {
        return moments(start_ms, duration_ms, mode.flashes.max(1));
    }
    mode.flash_at.iter().map(|share| start_ms + share * duration_ms).collect()
}

/// When so many flashes are that stand evenly in a duration.
fn moments(start_ms: f64, duration_ms: f64, flashes: u32) -> Vec<f64> {
    let every_ms = duration_ms / f64::from(flashes);
    (0..flashes).map(|index| start_ms + (f64::from(index) + 0.5) * every_ms).collect()
}

impl Source {
    fn new(at_ms: Vec<f64>, what: What, grid: &TileGrid) -> Self {
        let pixels = match &what {
            What::Boxes(boxes) => TileCover::new(*grid, boxes).pixels(),
            What::Pixels(mask) => mask.count(),
            What::Content(ways) => ways.iter().map(Mask::count).sum(),
        };
        Self { at_ms, what, pixels, is_alone: false }
    }

    /// Halves of flashes in one of its moments.
    fn halves(&self) -> usize {
        if matches!(self.what, What::Content(_)) { 1 } else { 2 }
    }

    /// Halves of flashes from a moment on, for a second.
    fn halves_from(&self, from_ms: f64) -> usize {
        self.halves() * self.at_ms.iter().filter(|at_ms| (from_ms..from_ms + WITHIN_MS).contains(*at_ms)).count()
    }

    /// Those of some pixels that take part.
    fn of(&self, pixels: &Mask, grid: &TileGrid) -> Mask {
        match &self.what {
            What::Boxes(boxes) => pixels.inside(boxes, grid),
            What::Pixels(mask) => pixels.and(mask),
            What::Content([one, other]) => pixels.and(&one.or(other)),
        }
    }

    fn list_tiles(&self, halves: usize, grid: &TileGrid, tiles: &mut Vec<(u32, usize)>) {
        match &self.what {
            What::Boxes(boxes) => TileCover::new(*grid, boxes).for_each_tile(|tile, _| tiles.push((tile, halves))),
            What::Pixels(mask) => tiles.extend(mask.tiles().iter().map(|(tile, _)| (*tile, halves))),
            What::Content(ways) => {
                tiles.extend(ways.iter().flat_map(Mask::tiles).map(|(tile, _)| (*tile, halves)));
            }
        }
    }
}

/// The largest break of the threshold in a second that holds something of `fresh`. A source that breaks it alone is reported
/// apart: among others it stands for less than the limit, so that they must add a whole flash.
fn worst_of(earlier: &[&Source], fresh: &Source, limits: FlashLimits, view: &View) -> Option<FastFlashes> {
    let (sources, moments_ms) = near(earlier, fresh);
    let least_parts = 1 + usize::from(!earlier.is_empty());
    let allowed = allowed_halves(limits);
    let mut worst: Option<FastFlashes> = None;
    let mut broken: Vec<Vec<Part<'_>>> = Vec::new();
    let mut reached = 0;
    for from_ms in &moments_ms {
        // A second that reaches no further than the one before it holds nothing that that one does not. Where no whole
        // flash is allowed it can be more even so: a swing that is reported, and stands for nothing, may hide others.
        let reach = moments_ms.partition_point(|at_ms| *at_ms < from_ms + WITHIN_MS);
        if std::mem::replace(&mut reached, reach) == reach && allowed > 1 {
            continue;
        }
        let parts = parts_of(&sources, fresh, *from_ms);
        if parts.len() < least_parts {
            continue;
        }
        let parts = told_apart(parts, allowed);
        let found = break_of(&parts, allowed, limits.sr, view);
        if let Some(found) = found.filter(|_| newest_adds(&parts, allowed, limits.sr, view)) {
            broken.push(parts);
            if worst.as_ref().is_none_or(|worst| found.sr > worst.sr) {
                worst = Some(found);
            }
        }
    }
    worst.map(|worst| {
        // The largest area and the most flashes may be in different seconds.
        let most = most_on_large_area(&broken, allowed, limits.sr, view);
        let of_second = |parts: &Vec<Part<'_>>| break_of(parts, most.saturating_sub(1), limits.sr, view);
        let large =
            broken.iter().filter_map(of_second).reduce(|one, other| if other.sr > one.sr { other } else { one });
        let large = large.unwrap_or(worst);
        FastFlashes { on_large_area: most as f64 / 2.0, large_px: large.pixels, large_sr: large.sr, ..worst }
    })
}

/// What lies in the second from a moment on, the fresh source last; `None` if nothing of that does.
fn parts_of<'s>(sources: &[&'s Source], fresh: &'s Source, from_ms: f64) -> Vec<Part<'s>> {
    if fresh.halves_from(from_ms) == 0 {
        return Vec::new();
    }
    let all = sources.iter().copied().chain([fresh]);
    all.map(|source| (source, source.halves_from(from_ms))).filter(|(_, halves)| *halves > 0).collect()
}

/// The same, with what breaks the threshold alone standing for less than the limit beside others.
fn told_apart(parts: Vec<Part<'_>>, allowed: usize) -> Vec<Part<'_>> {
    if parts.len() == 1 {
        return parts;
    }
    let weigh =
        |(source, halves): Part<'_>| if source.is_alone { halves.min(allowed.saturating_sub(1)) } else { halves };
    parts.into_iter().map(|part| (part.0, weigh(part))).collect()
}

/// Whether the last of some sources that break the threshold takes part in that: a few pixels that change while a large area
/// flashes too often anyway do not.
fn newest_adds(weighed: &[Part<'_>], allowed: usize, limit_sr: f64, view: &View) -> bool {
    let Some(((newest, _), others)) = weighed.split_last() else { return false };
    if break_of(others, allowed, limit_sr, view).is_none() {
        return true;
    }
    let (too_often, _) = too_often(weighed, allowed, view);
    view.most_in_field(&newest.of(&too_often, &view.grid)) as f64 * view.sr_of_pixel >= limit_sr
}

/// The break of the threshold by what lies within a second, if there is one.
fn break_of(weighed: &[Part<'_>], allowed: usize, limit_sr: f64, view: &View) -> Option<FastFlashes> {
    // No pixel has more than all of them together.
    if weighed.iter().map(|(_, halves)| halves).sum::<usize>() <= allowed {
        return None;
    }
    let pixel_halves: u64 = weighed.iter().map(|(source, halves)| source.pixels * *halves as u64).sum();
    // Most content is far too small: that is seen without looking at a tile.
    if (pixel_halves / (allowed as u64 + 1)) as f64 * view.sr_of_pixel < limit_sr - view.sr_of_pixel {
        return None;
    }
    let (mask, most) = too_often(weighed, allowed, view);
    let rect = mask.bounds(&view.grid)?;
    let pixels = view.most_in_field(&mask);
    let sr = pixels as f64 * view.sr_of_pixel;
    (sr >= limit_sr).then(|| FastFlashes {
        kind: FlashKind::General,
        update: 0,
        is_alone: weighed.len() == 1,
        has_content: weighed.iter().any(|(source, _)| matches!(source.what, What::Content(_))),
        flashes: most as f64 / 2.0,
        rect,
        pixels,
        sr,
        on_large_area: (allowed + 1) as f64 / 2.0,
        large_px: pixels,
        large_sr: sr,
        allowed: allowed as f64 / 2.0,
    })
}

/// The pixels with more halves of flashes than allowed, and the most halves of any.
fn too_often(parts: &[Part<'_>], allowed: usize, view: &View) -> (Mask, usize) {
    let mut tiles = Vec::new();
    for (source, halves) in parts {
        source.list_tiles(*halves, &view.grid, &mut tiles);
    }
    tiles.sort_unstable_by_key(|(tile, _)| *tile);
    let (mut mask, mut most) = (Mask::new(), 0);
    for same in tiles.chunk_by(|one, other| one.0 == other.0) {
        let halves: usize = same.iter().map(|(_, halves)| halves).sum();
        if halves > allowed {
            let tile = same[0].0;
            let counts = Counts::of_tile(tile, halves.min(MOST_HALVES.max(allowed + 1)), parts, &view.grid);
            mask.push(tile, counts.more_than(allowed));
            most = most.max(counts.most());
        }
    }
    (mask, most)
}

/// How many halves of flashes the pixels of a tile have.
struct Counts {
    /// The pixels with at least 1, 2, 3 ... halves.
    at_least: Vec<u64>,
}

impl Counts {
    /// Counts a tile's pixels; no pixel may have more than `most`.
    fn of_tile(tile: u32, most: usize, parts: &[Part<'_>], grid: &TileGrid) -> Self {
        let mut counts = Self { at_least: vec![0; most] };
        // The pixels whose last swing went each of the two ways.
        let mut last = [0_u64; 2];
        for (source, halves) in parts {
            match &source.what {
                What::Content(ways) => {
                    for (way, mask) in ways.iter().enumerate() {
                        let pixels = mask.pixels_of(tile);
                        // None where a swing that breaks the threshold alone stands for less than a half.
                        counts.add(pixels & !last[way], *halves);
                        last[way] |= pixels;
                        last[1 - way] &= !pixels;
                    }
                }
                What::Boxes(boxes) => counts.flash(TileCover::new(*grid, boxes).of_tile(tile), *halves, &mut last),
                What::Pixels(mask) => counts.flash(mask.pixels_of(tile), *halves, &mut last),
            }
        }
        counts
    }

    /// A mode's flashes; what the pixels did before them no longer matters.
    fn flash(&mut self, pixels: u64, halves: usize, last: &mut [u64; 2]) {
        self.add(pixels, halves);
        for way in last {
            *way &= !pixels;
        }
    }

    fn add(&mut self, pixels: u64, halves: usize) {
        for _ in 0..halves {
            let mut carried = pixels;
            for known in &mut self.at_least {
                let both = *known & carried;
                *known |= carried;
                carried = both;
                if carried == 0 {
                    break;
                }
            }
        }
    }

    fn more_than(&self, allowed: usize) -> u64 {
        self.at_least.get(allowed).copied().unwrap_or(0)
    }

    fn most(&self) -> usize {
        self.at_least.iter().take_while(|pixels| **pixels != 0).count()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;

    fn view(side: u32, pixels_per_inch: f64, distance_mm: f64) -> View {
        View::new(TileGrid::new(Size { width: side, height: side }), pixels_per_inch, distance_mm)
    }

    /// WCAG 2.2, technique G176: the field is the distance times 0.1745 by the distance times 0.1309, and a quarter of it is
    /// safe.
    #[test]
    fn safe_areas_are_a_quarter_of_the_field() {
        for (pixels_per_inch, distance_mm, safe_px) in
            [(227.0, 350.0, 55_872.0), (300.0, 350.0, 97_586.0), (130.0, 400.0, 23_934.0)]
        {
            let [long, short] = view(8, pixels_per_inch, distance_mm).field;
            let quarter: f64 = long * short / 4.0;
            assert!((quarter.round() - safe_px).abs() < 0.5, "{pixels_per_inch} at {distance_mm}: {quarter}");
        }
    }

    const WCAG: FlashLimits = FlashLimits { per_second: 3.0, sr: 0.006 };
    const ALL: Rect = Rect { x: 0, y: 0, width: 400, height: 400 };

    fn swing(at_ms: f64, lighter: bool, rect: Rect, view: &View) -> Source {
        let mut mask = Mask::new();
        TileCover::new(view.grid, &[rect]).for_each_tile(|tile, pixels| mask.push(tile, pixels));
        let ways = if lighter { [mask, Mask::new()] } else { [Mask::new(), mask] };
        Source::new(vec![at_ms], What::Content(ways), &view.grid)
    }

    fn flashes(at_ms: &[f64], rect: Rect, view: &View) -> Source {
        Source::new(at_ms.to_vec(), What::Boxes(vec![rect]), &view.grid)
    }

    /// The worst break by some sources, the last of which is fresh.
    fn worst(sources: &[Source], view: &View) -> Option<FastFlashes> {
        let (fresh, earlier) = sources.split_last().unwrap();
        worst_of(&earlier.iter().collect::<Vec<_>>(), fresh, WCAG, view)
    }

    fn transitions(count: u32, every_ms: f64, turns: bool, rect: Rect) -> Option<FastFlashes> {
        let view = view(400, 227.0, 350.0);
        let swing = |index: u32| swing(f64::from(index) * every_ms, !turns || index.is_multiple_of(2), rect, &view);
        worst(&(0..count).map(swing).collect::<Vec<_>>(), &view)
    }

    /// WCAG 2.2, technique G19: "no more than three flashes", six transitions, within any second.
    #[test]
    fn seven_transitions_within_a_second_fail_and_six_pass() {
        let found = transitions(7, 160.0, true, ALL).unwrap();
        assert_eq!((found.flashes, found.rect, found.pixels), (3.5, ALL, 160_000));
        assert!(found.has_content && !found.is_alone);
        assert_eq!(transitions(6, 160.0, true, ALL), None);
        // The seventh comes exactly a second after the first.
        assert_eq!(transitions(7, 1000.0 / 6.0, true, ALL), None);
        // Swings the same way are one.
        assert_eq!(transitions(7, 100.0, false, ALL), None);
    }

    /// 0.006 sr at 350 mm are 735 mm2, and 58,704.5 px of 227 to the inch.
    #[test]
    fn the_area_counts_from_the_limit_on() {
        let area = |height| Rect { x: 0, y: 0, width: 200, height };
        assert_eq!(transitions(7, 100.0, true, area(293)), None);
        let found = transitions(7, 100.0, true, area(294)).unwrap();
        assert_eq!(found.pixels, 58_800);
        assert!(found.sr >= 0.006);
    }

    #[test]
    fn what_breaks_it_alone_is_told_apart_from_what_breaks_it_together() {
        let view = view(400, 227.0, 350.0);
        let four = || flashes(&[45.0, 135.0, 225.0, 315.0], ALL, &view);
        let alone = worst(&[four()], &view).unwrap();
        assert!(alone.is_alone && !alone.has_content);
        assert!((alone.flashes - 4.0).abs() < 1e-9);
        assert_eq!(worst(&[flashes(&[45.0, 135.0, 225.0], ALL, &view)], &view), None);
        let alone = || Source { is_alone: true, ..four() };
        // One swing more adds nothing to tell; a whole flash does.
        assert_eq!(worst(&[alone(), swing(400.0, true, ALL, &view)], &view), None);
        assert!(worst(&[alone(), flashes(&[400.0], ALL, &view)], &view).is_some());
        // Three flashes and half a one, neither of which breaks it alone.
        assert!(worst(&[flashes(&[45.0, 135.0, 225.0], ALL, &view), swing(400.0, true, ALL, &view)], &view).is_some());
    }

    /// The field at 400 mm and 130 px to the inch is 357 x 267 px: two far corners never stand in it together.
    #[test]
    fn a_field_holds_only_what_lies_close_together() {
        let view = view(400, 130.0, 400.0);
        let corner = |x, y| Rect { x, y, width: 120, height: 120 };
        let four = |boxes: Vec<Rect>| Source::new(vec![0.0, 100.0, 200.0, 300.0], What::Boxes(boxes), &view.grid);
        // 0.006 sr are 25,147 px; a corner has 14,400.
        assert_eq!(worst(&[four(vec![corner(0, 0), corner(280, 280)])], &view), None);
        assert_eq!(worst(&[four(vec![corner(0, 0), corner(120, 0)])], &view).unwrap().pixels, 28_800);
    }

    const SMALL: u32 = 40;

    /// An update of the property test: begin, how many flashes (0: a swing), which way, and its box.
    type Drawn = (u32, u32, bool, (u32, u32, u32, u32));

    fn drawn_source((at, count, lighter, (x, y, width, height)): Drawn, view: &View) -> Source {
        let rect = Rect { x, y, width, height };
        let at_ms = f64::from(at);
        if count == 0 { swing(at_ms, lighter, rect, view) } else { flashes(&moments(at_ms, 300.0, count), rect, view) }
    }

    /// The most pixels in any field with more than six halves in any second that holds the last update: pixel by pixel.
    fn by_hand(updates: &[Drawn], field: [u32; 2]) -> u64 {
        let moments_of =
            |(at, count, ..): &Drawn| moments(f64::from(*at), if *count == 0 { 0.0 } else { 300.0 }, (*count).max(1));
        let starts: Vec<f64> = updates.iter().flat_map(moments_of).collect();
        let inside = |from: f64, at: &f64| *at >= from && *at < from + 1000.0;
        let halves = |x: u32, y: u32, from: f64| {
            let (mut sum, mut last) = (0, None);
            for update in updates {
                let (_, count, lighter, (left, top, width, height)) = *update;
                let covers = x >= left && x < left + width && y >= top && y < top + height;
                let times = moments_of(update).iter().filter(|at| inside(from, at)).count();
                if !covers || times == 0 {
                    continue;
                }
                if count > 0 {
                    sum += 2 * times;
                    last = None;
                } else if last.replace(lighter) != Some(lighter) {
                    sum += 1;
                }
            }
            sum
        };
        let mut most = 0;
        for from in starts {
            if !moments_of(updates.last().unwrap()).iter().any(|at| inside(from, at)) {
                continue;
            }
            let marked: Vec<(u32, u32)> = (0..SMALL * SMALL)
                .map(|at| (at % SMALL, at / SMALL))
                .filter(|(x, y)| halves(*x, *y, from) > 6)
                .collect();
            for [wide, high] in [field, [field[1], field[0]]] {
                for (x, y) in (0..SMALL * SMALL).map(|at| (at % SMALL, at / SMALL)) {
                    let held =
                        marked.iter().filter(|(px, py)| *px >= x && *px < x + wide && *py >= y && *py < y + high);
                    most = most.max(held.count() as u64);
                }
            }
        }
        most
    }

    proptest! {
        #![proptest_config(crate::kept_failures::with_cases(60))]
        #[test]
        fn the_largest_area_agrees_with_counting_pixel_by_pixel(
            updates in prop::collection::vec(
                (0_u32..900, 0_u32..5, prop::bool::ANY, (0_u32..20, 0_u32..20, 1_u32..20, 1_u32..20)), 2..9,
            ),
            distance_mm in prop::sample::select(vec![20.0, 60.0, 400.0]),
        ) {
            let view = view(SMALL, 254.0, distance_mm);
            let field = view.field.map(|side| side as u32);
            let sources: Vec<Source> = updates.iter().map(|drawn| drawn_source(*drawn, &view)).collect();
            let (fresh, earlier) = sources.split_last().unwrap();
            let limits = FlashLimits { per_second: 3.0, sr: 0.0 };
            let together = worst_of(&earlier.iter().collect::<Vec<_>>(), fresh, limits, &view);
            let alone = worst_of(&[], fresh, limits, &view);
            let found = together.into_iter().chain(alone).map(|found| found.pixels).max().unwrap_or(0);
            let exact = by_hand(&updates, field);
            prop_assert!(found >= exact, "never reported too small: {found} and {exact}");
            // Where everything fits into a field, nothing is rounded.
            if field[1] >= SMALL {
                prop_assert_eq!(found, exact);
            }
            prop_assert_eq!(found == 0, exact == 0);
        }
    }
}
