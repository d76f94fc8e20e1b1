//! `shade-not-on-panel`: filled areas whose shade lies far from every level of the panel.

use std::collections::{BTreeMap, BTreeSet};

use super::{Rule, Setup, shapes, words};
use crate::{
    change::Mask,
    finding::{Sight, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, ScreenId},
};

/// Looks at every distinct screen once.
pub(super) struct ShadeNotOnPanel<'p> {
    plan: &'p Plan,
    area_mm2: f64,
    /// How far each shade is from the nearest level, where it is more than the limit.
    off_by: [Option<u8>; 256],
    seen: BTreeSet<ScreenId>,
}

impl<'p> ShadeNotOnPanel<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let ink = &setup.plan.display.ink;
        let limit = setup.limit("grey");
        let distance = |shade: u8| ink.all().iter().map(|level| ink.shade(level).abs_diff(shade)).min().unwrap_or(0);
        let off_by = std::array::from_fn(|shade| Some(distance(shade as u8)).filter(|off| f64::from(*off) > limit));
        Self { area_mm2: setup.limit("area_mm2"), plan: setup.plan, off_by, seen: BTreeSet::new() }
    }

    fn off_pixels(&self, step: &PlayedStep<'_>) -> Mask {
        let mut tiles = Vec::new();
        for y in 0..step.memory.size().height {
            for (x, shade) in step.memory.row(y).iter().enumerate() {
                if self.off_by[usize::from(*shade)].is_some() {
                    tiles.push(step.grid().locate(x as u32, y));
                }
            }
        }
        shapes::filled(&Mask::from_unsorted(tiles), step.grid(), |x, y| step.memory.shade(x, y))
    }
}

impl Rule for ShadeNotOnPanel<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(screen) = step.planned.screen else { return };
        if self.off_by.iter().all(Option::is_none) || !self.seen.insert(screen) {
            return;
        }
        let pixels = self.off_pixels(step);
        let display = &self.plan.display;
        let mut by_shade: BTreeMap<u8, Vec<(u32, u64)>> = BTreeMap::new();
        pixels.for_each_pixel(step.grid(), |x, y| {
            by_shade.entry(step.memory.shade(x, y)).or_default().push(step.grid().locate(x, y));
        });
        let masks = by_shade.into_iter().map(|(shade, tiles)| (shade, Mask::from_unsorted(tiles)));
        let large: Vec<(u8, Mask)> =
            masks.filter(|(_, mask)| display.area_mm2(mask.count()) >= self.area_mm2).collect();
        let worst = large.iter().filter_map(|(shade, _)| self.off_by[usize::from(*shade)]).max();
        let Some(worst) = worst else { return };
        let all = large.iter().fold(Mask::new(), |all, (_, mask)| all.or(mask));
        let names: Vec<String> = large
            .iter()
            .map(|(shade, _)| format!("{shade} (off by {})", self.off_by[usize::from(*shade)].unwrap_or(0)))
            .collect();
        let levels: Vec<String> = display.ink.all().iter().map(|level| display.ink.shade(level).to_string()).collect();
        let sight = Sight {
            rect: all.bounds(step.grid()),
            message: format!(
                "{} are filled with shades that the panel does not have: {}",
                words::area(all.count(), display),
                words::listed(&names, 4)
            ),
            help: format!(
                "draw the areas in the panel's own shades ({}), or as an ordered pattern of them",
                words::listed(&levels, 16)
            ),
            figures: vec![
                ("px", all.count() as f64),
                ("mm2", display.area_mm2(all.count())),
                ("grey", f64::from(worst)),
            ],
            ..Sight::default()
        };
        sink.report(Where::of(step, StepField::Screen), sight);
    }
}
