//! `thin-line`: a line or stem whose soft pixels break or vanish when they are brought to black and white.

use std::collections::BTreeSet;

use super::{Rule, Setup, shapes, words};
use crate::{
    change::{Mask, regions},
    finding::{Sight, Sink, StepField, Where},
    geometry::Size,
    panel::PlayedStep,
    plan::{Plan, ScreenId},
    screen::Picture,
};

/// Looks at every distinct screen once, on two-level ink.
pub(super) struct ThinLine<'p> {
    plan: &'p Plan,
    thinnest_px: f64,
    seen: BTreeSet<ScreenId>,
}

/// A pixel counts as ink where it is darker than white by this share, in 8-bit counts.
const INK: u8 = 255 - 64;
/// Fewer lost pixels in one place are no line.
const FEWEST_PX: u64 = 6;

impl<'p> ThinLine<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { thinnest_px: setup.limit("px"), plan: setup.plan, seen: BTreeSet::new() }
    }

    /// The ink that turns white, with nothing black beside it and too thin to be an area.
    fn lost(&self, step: &PlayedStep<'_>) -> Mask {
        let picture = step.memory;
        let size = picture.size();
        let mut tiles = Vec::new();
        for y in 0..size.height {
            for (x, shade) in picture.row(y).iter().enumerate() {
                if (128..=INK).contains(shade) && self.is_lost(picture, size, x as u32, y) {
                    tiles.push(step.grid().locate(x as u32, y));
                }
            }
        }
        // What lies in a block of ink is an area, however pale.
        let pale = Mask::from_unsorted(tiles);
        let areas = shapes::filled(&pale, step.grid(), |x, y| u8::from(picture.shade(x, y) <= INK));
        pale.without(&areas)
    }

    fn is_lost(&self, picture: &Picture, size: Size, x: u32, y: u32) -> bool {
        let columns = x.saturating_sub(1)..=(x + 1).min(size.width - 1);
        let rows = y.saturating_sub(1)..=(y + 1).min(size.height - 1);
        let mut coverage_by_row = 0.0_f64;
        let mut coverage_by_column = [0.0_f64; 3];
        for row in rows {
            let mut in_row = 0.0;
            for (at, column) in columns.clone().enumerate() {
                let shade = picture.shade(column, row);
                if shade < 128 {
                    return false;
                }
                let coverage = f64::from(255 - shade) / 255.0;
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
        if self.plan.display.ink.levels() != 2 || !self.seen.insert(screen) {
            return;
        }
        let lost = self.lost(step);
        let places = regions(&lost, step.grid());
        let places: Vec<_> = places.into_iter().filter(|place| place.pixels >= FEWEST_PX).collect();
        let Some(rect) = places.iter().map(|place| place.rect).reduce(crate::geometry::Rect::around) else { return };
        let pixels: u64 = places.iter().map(|place| place.pixels).sum();
        let sight = Sight {
            rect: Some(rect),
            message: format!(
                "{} of thin lines turn white when the screen is brought to black and white: they break or vanish in {}",
                words::counted(pixels, "pixel", "pixels"),
                words::counted(places.len() as u64, "place", "places")
            ),
            help: format!(
                "draw lines and stems at least {} px wide, on whole pixels, in solid black",
                self.thinnest_px.ceil()
            ),
            figures: vec![("px", pixels as f64), ("places", places.len() as f64)],
            ..Sight::default()
        };
        sink.report(Where::of(step, StepField::Screen), sight);
    }
}
