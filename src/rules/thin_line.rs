//! `thin-line`: a line or stem whose soft pixels break or vanish when they are brought to black and white, or to the
//! colours of a palette.

use std::collections::BTreeSet;

use super::{Rule, Setup, shapes, wording};
use crate::{
    change::{Mask, regions},
    display::{Level, ink::InkKind},
    finding::{Observation, Sink, StepField, Where},
    geometry::Size,
    panel::PlayedStep,
    plan::{Plan, ScreenId},
    screen::Picture,
};

/// Looks at every distinct screen once, on two-level and palette ink.
#[derive(Clone)]
pub(super) struct ThinLine<'p> {
    plan: &'p Plan,
    thinnest_px: f64,
    /// The level of each shade.
    table: [Level; 256],
    /// What the panel's levels are called together.
    levels: &'static str,
    seen: BTreeSet<ScreenId>,
}

/// A pixel belongs to a line where it differs from the ground by this much, in 8-bit counts.
const LEAST_INK: u8 = 64;
/// Fewer lost pixels in one place are no line.
const FEWEST_PX: u64 = 6;

/// What lines lie on: white paper, or a black area.
struct Ground {
    level: Level,
    is_white: bool,
}

impl Ground {
    /// How far a drawn grey is from it, in 8-bit counts.
    fn ink(&self, grey: u8) -> u8 {
        if self.is_white { 255 - grey } else { grey }
    }
}

impl<'p> ThinLine<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let ink = &setup.plan.display.ink;
        Self {
            thinnest_px: setup.limits.thin_line.px.value,
            table: ink.level_table(),
            levels: if ink.colours().is_some() { "the panel's colours" } else { "black and white" },
            plan: setup.plan,
            seen: BTreeSet::new(),
        }
    }

    /// What becomes like its ground, with nothing else beside it and too thin to be an area, for each of the grounds.
    fn lost(&self, step: &PlayedStep<'_>, grounds: &[Ground; 2]) -> [Mask; 2] {
        let picture = step.memory;
        let size = picture.size();
        let is_ink = |ground: &Ground, x, y| ground.ink(picture.drawn_grey(x, y)) >= LEAST_INK;
        let mut tiles = [Vec::new(), Vec::new()];
        for y in 0..size.height {
            for x in 0..size.width {
                let level = self.level(picture, x, y);
                for (ground, tiles) in grounds.iter().zip(&mut tiles) {
                    if ground.level == level && is_ink(ground, x, y) && self.is_lost(picture, size, [x, y], ground) {
                        tiles.push(step.grid().locate(x, y));
                    }
                }
            }
        }
        // What lies in a block of ink is an area, however faint.
        let lines = |tiles: Vec<(u32, u64)>, ground: &Ground| {
            let faint = Mask::from_unsorted(tiles);
            let areas = shapes::filled(&faint, step.grid(), |x, y| u8::from(is_ink(ground, x, y)));
            faint.without(&areas)
        };
        let ([one, other], [in_one, in_other]) = (grounds, tiles);
        [lines(in_one, one), lines(in_other, other)]
    }

    fn level(&self, picture: &Picture, x: u32, y: u32) -> Level {
        self.table[usize::from(picture.shade(x, y))]
    }

    fn is_lost(&self, picture: &Picture, size: Size, [x, y]: [u32; 2], ground: &Ground) -> bool {
        let columns = x.saturating_sub(1)..=(x + 1).min(size.width - 1);
        let rows = y.saturating_sub(1)..=(y + 1).min(size.height - 1);
        let mut coverage_by_row = 0.0_f64;
        let mut coverage_by_column = [0.0_f64; 3];
        for row in rows {
            let mut in_row = 0.0;
            for (at, column) in columns.clone().enumerate() {
                if self.level(picture, column, row) != ground.level {
                    return false;
                }
                let coverage = f64::from(ground.ink(picture.drawn_grey(column, row))) / 255.0;
                in_row += coverage;
                coverage_by_column[at] += coverage;
            }
            coverage_by_row = coverage_by_row.max(in_row);
        }
        // Across a line the coverage adds up to its width; along it, to its length.
        let across = coverage_by_column.iter().copied().fold(0.0, f64::max).min(coverage_by_row);
        across < self.thinnest_px
    }
}

impl Rule for ThinLine<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(screen) = step.planned.screen else { return };
        let ink = &self.plan.display.ink;
        let has_hard_edges = match ink.kind() {
            InkKind::Grey => ink.levels() == 2,
            InkKind::Palette(_) => true,
            InkKind::Segments(_) => false,
        };
        if !has_hard_edges || !self.seen.insert(screen) {
            return;
        }
        let grounds = [(ink.white(), true), (ink.black(), false)].map(|(level, is_white)| Ground { level, is_white });
        let [into_white, into_black] = self.lost(step, &grounds).map(|lost| {
            let mut places = regions(&lost, step.grid());
            places.retain(|place| place.pixels >= FEWEST_PX);
            places
        });
        let places: Vec<_> = into_white.iter().chain(&into_black).collect();
        let Some(rect) = places.iter().map(|place| place.rect).reduce(crate::geometry::Rect::around) else { return };
        let pixels: u64 = places.iter().map(|place| place.pixels).sum();
        let [becomes, draw_in] = match (into_white.is_empty(), into_black.is_empty()) {
            (_, true) => ["white", "black"],
            (true, false) => ["black", "white"],
            (false, false) => ["white or black", "black on white, and white on black"],
        };
        let observation = Observation {
            rect: Some(rect),
            message: format!(
                "{} of thin lines turn {becomes} when the screen is reduced to {}: lines break or vanish in {}",
                wording::counted(pixels, "pixel", "pixels"),
                self.levels,
                wording::counted(places.len() as u64, "place", "places")
            ),
            help: format!(
                "draw lines and stems at least {} px wide, or exactly 1 px on whole pixels, in solid {draw_in}",
                self.thinnest_px.ceil()
            ),
            figures: vec![("px", pixels as f64), ("places", places.len() as f64)],
            ..Observation::default()
        };
        sink.report(Where::of(step, StepField::Screen), observation);
    }
}
