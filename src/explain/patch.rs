//! A piece of the panel, as it was at some moment: what it should show, what it shows, and how far that is off.

use crate::{
    change::{Mask, TileCover, regions},
    display::Level,
    geometry::{Rect, Size},
    panel::PlayedStep,
    plan::Plan,
};

/// The pixels of a place, row by row; of a very large place every second or third pixel of a row, and every such row.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// Where on the screen.
    pub place: Rect,
    /// From one pixel to the next: 1 for every pixel.
    pub every: u32,
    /// The levels in memory.
    pub meant: Vec<Level>,
    /// The levels on the glass.
    pub seen: Vec<Level>,
    /// How much lighter each pixel looks than its level, L*.
    pub off_l: Vec<f32>,
}

impl Patch {
    /// A place of which nothing is known.
    pub(super) fn empty(place: Rect) -> Self {
        Self { place, every: every(place), meant: Vec::new(), seen: Vec::new(), off_l: Vec::new() }
    }

    pub(super) fn of(step: &PlayedStep<'_>, place: Rect) -> Self {
        let mut patch = Self::empty(place);
        for (x, y) in pixels_by(patch.every, place, step.memory.size()) {
            let (tile, bit) = step.grid().locate(x, y);
            patch.meant.push(step.glass.memory_level(x, y));
            patch.seen.push(step.glass.level(x, y));
            patch.off_l.push(step.glass.shown_residue(tile, bit.trailing_zeros()) as f32);
        }
        patch
    }

    /// The place before the first step, as the plan says what is on the glass.
    pub(super) fn before(step: &PlayedStep<'_>, place: Rect, plan: &Plan) -> Self {
        let (table, size) = (plan.display.ink.level_table(), step.previous.size());
        let shade = |(x, y): (u32, u32)| step.previous.shades()[(y * size.width + x) as usize];
        let patch = Self::empty(place);
        let levels: Vec<Level> = pixels_by(patch.every, place, size).map(|at| table[usize::from(shade(at))]).collect();
        Self { off_l: vec![0.0; levels.len()], seen: levels.clone(), meant: levels, ..patch }
    }

    /// How many pixels it has in a row, and how many rows.
    pub fn size(&self) -> Size {
        Size { width: self.place.width.div_ceil(self.every), height: self.place.height.div_ceil(self.every) }
    }
}

/// More pixels of a place than this are never kept: a picture of it is smaller anyway.
const MOST_PX: u64 = 4_000_000;

fn every(place: Rect) -> u32 {
    let is_enough = |every: &u32| place.pixels() / u64::from(every * every) <= MOST_PX;
    (1..64).find(is_enough).unwrap_or(64)
}

/// A place with a margin, so that one sees where it lies.
pub(super) fn with_margin(place: Rect, size: Size) -> Rect {
    const LEAST_PX: u32 = 20;
    const SHARE: u32 = 8;
    let [wide, high] = [place.width, place.height].map(|side| (side / SHARE).max(LEAST_PX));
    let (x, y) = (place.x.saturating_sub(wide), place.y.saturating_sub(high));
    let right = (place.x + place.width + wide).min(size.width);
    let bottom = (place.y + place.height + high).min(size.height);
    Rect { x, y, width: right - x, height: bottom - y }
}

fn pixels(place: Rect, size: Size) -> impl Iterator<Item = (u32, u32)> {
    pixels_by(1, place, size)
}

fn pixels_by(every: u32, place: Rect, size: Size) -> impl Iterator<Item = (u32, u32)> {
    let rows = (place.y..(place.y + place.height).min(size.height)).step_by(every as usize);
    let right = (place.x + place.width).min(size.width);
    rows.flat_map(move |y| (place.x..right).step_by(every as usize).map(move |x| (x, y)))
}

/// A pixel that is off.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Strongest {
    /// Its column and row on the screen.
    pub(super) at: (u32, u32),
    /// How much lighter it looks than the rest of its level, L*.
    pub(super) off_l: f64,
    /// How much lighter it looks than its level should, L*.
    pub(super) pixel_l: f64,
    /// How often it was driven since it was cleaned.
    pub(super) updates: u32,
}

/// The pixel of a place that is off most.
pub(super) fn strongest(step: &PlayedStep<'_>, place: Rect, plan: &Plan) -> Strongest {
    let off = pixels(place, plan.screen_size()).map(|at| off_at(step, at));
    let stronger = |one: &Strongest, other: &Strongest| one.off_l.abs().total_cmp(&other.off_l.abs());
    off.max_by(stronger).unwrap_or_default()
}

fn off_at(step: &PlayedStep<'_>, (x, y): (u32, u32)) -> Strongest {
    let median = step.medians.get(usize::from(step.glass.level(x, y))).copied().unwrap_or(0.0);
    let (tile, bit) = step.grid().locate(x, y);
    let pixel_l = step.glass.shown_residue(tile, bit.trailing_zeros());
    Strongest { at: (x, y), off_l: pixel_l - median, pixel_l, updates: step.glass.count(x, y) }
}

/// The largest group of pixels that are off by at least half as much as the one that is off most, and how much that is, L*.
pub(super) fn most_off(step: &PlayedStep<'_>) -> Option<(Rect, f64)> {
    let size = step.memory.size();
    let off = |at: (u32, u32)| off_at(step, at).off_l.abs();
    let most_l = pixels(size.whole(), size).map(off).fold(0.0, f64::max);
    let strong = pixels(size.whole(), size).filter(|at| most_l > 0.0 && off(*at) >= most_l / 2.0);
    let mask = Mask::from_unsorted(strong.map(|(x, y)| step.grid().locate(x, y)).collect());
    let largest = regions(&mask, step.grid()).into_iter().max_by_key(|region| region.pixels)?;
    Some((largest.rect, most_l))
}

/// The largest net impulse of a pixel of a place, either way, volt-seconds; `None` if it is not counted.
pub(super) fn most_charge(step: &PlayedStep<'_>, place: Rect) -> Option<f64> {
    pixels(place, step.memory.size())
        .filter_map(|(x, y)| step.glass.net_impulse(x, y))
        .max_by(|one, other| one.abs().total_cmp(&other.abs()))
}

/// How often the pixels of a place were driven since they were cleaned, at most.
pub(super) fn most_updates(step: &PlayedStep<'_>, place: Rect) -> u32 {
    pixels(place, step.memory.size()).map(|(x, y)| step.glass.count(x, y)).max().unwrap_or(0)
}

/// The pixels of a place of which the controller does not know what they show.
pub(super) fn unknown_px(step: &PlayedStep<'_>, place: Rect) -> u64 {
    step.glass.unknown_within(&TileCover::new(*step.grid(), &[place]))
}
