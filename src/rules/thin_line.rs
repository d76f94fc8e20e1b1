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

/// A pixel counts as ink where it is darker than white by this share, in 8-bit counts.
const INK: u8 = 255 - 64;
/// Fewer lost pixels in one place are no line.
const FEWEST_PX: u64 = 6;

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

    /// The ink that turns white, with nothing black beside it and too thin to be an area.
    fn lost(&self, step: &PlayedStep<'_>) -> Mask {
        let picture = step.memory;
        let size = picture.size();
        let mut tiles = Vec::new();
        for y in 0..size.height {
            for x in 0..size.width {
                let is_pale = picture.drawn_grey(x, y) <= INK && self.turns_white(picture, x, y);
                if is_pale && self.is_lost(picture, size, x, y) {
                    tiles.push(step.grid().locate(x, y));
                }
            }
        }
        // What lies in a block of ink is an area, however pale.
        let pale = Mask::from_unsorted(tiles);
        let areas = shapes::filled(&pale, step.grid(), |x, y| u8::from(picture.drawn_grey(x, y) <= INK));
        pale.without(&areas)
    }

    fn turns_white(&self, picture: &Picture, x: u32, y: u32) -> bool {
        self.table[usize::from(picture.shade(x, y))] == self.plan.display.ink.white()
    }

    fn is_lost(&self, picture: &Picture, size: Size, x: u32, y: u32) -> bool {
        let columns = x.saturating_sub(1)..=(x + 1).min(size.width - 1);
        let rows = y.saturating_sub(1)..=(y + 1).min(size.height - 1);
        let mut coverage_by_row = 0.0_f64;
        let mut coverage_by_column = [0.0_f64; 3];
        for row in rows {
            let mut in_row = 0.0;
            for (at, column) in columns.clone().enumerate() {
                if !self.turns_white(picture, column, row) {
                    return false;
                }
                let coverage = f64::from(255 - picture.drawn_grey(column, row)) / 255.0;
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
        let lost = self.lost(step);
        let places = regions(&lost, step.grid());
        let places: Vec<_> = places.into_iter().filter(|place| place.pixels >= FEWEST_PX).collect();
        let Some(rect) = places.iter().map(|place| place.rect).reduce(crate::geometry::Rect::around) else { return };
        let pixels: u64 = places.iter().map(|place| place.pixels).sum();
        let observation = Observation {
            rect: Some(rect),
            message: format!(
                "{} of thin lines turn white when the screen is reduced to {}: the lines break or vanish at {}",
                wording::counted(pixels, "pixel", "pixels"),
                self.levels,
                wording::counted(places.len() as u64, "point", "points")
            ),
            help: format!(
                "draw lines and stems at least {} px wide, on whole pixels, in solid black",
                self.thinnest_px.ceil()
            ),
            figures: vec![("px", pixels as f64), ("places", places.len() as f64)],
            ..Observation::default()
        };
        sink.report(Where::of(step, StepField::Screen), observation);
    }
}
