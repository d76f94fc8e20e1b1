//! `dither-shimmers`: specks of a dithered area that move although its tone stays.

use super::{Rule, Setup, transition_cache::TransitionCache, wording};
use crate::{
    change::{Mask, TileLevels, levels_of_tile, regions},
    display::Level,
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Compares the tone of every changed tile before and after.
#[derive(Clone)]
pub(super) struct DitherShimmers<'p> {
    plan: &'p Plan,
    tone_l: f64,
    share: f64,
    area_mm2: f64,
    table: [Level; 256],
    turns: TransitionCache,
}

/// A tile is dithered where at least this share of its pixels are specks: darker, or lighter, than the pixels on both
/// sides. Text and lines have few of them.
const BUSY: f64 = 0.25;

impl<'p> DitherShimmers<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            tone_l: setup.limits.dither_shimmers.tone_l.value,
            share: setup.limits.dither_shimmers.share.value,
            area_mm2: setup.limits.dither_shimmers.area_mm2.value,
            table: setup.plan.display.ink.level_table(),
            turns: TransitionCache::default(),
            plan: setup.plan,
        }
    }

    fn shimmers(&self, before: &TileLevels, after: &TileLevels, changed: u64) -> bool {
        f64::from(changed.count_ones()) >= self.share * 64.0
            && (self.tone(before) - self.tone(after)).abs() < self.tone_l
            && is_busy(before)
            && is_busy(after)
    }

    fn tone(&self, levels: &TileLevels) -> f64 {
        levels.iter().map(|level| self.plan.display.ink.lightness(*level)).sum::<f64>() / 64.0
    }

    fn look(&self, step: &PlayedStep<'_>) -> Option<Observation> {
        let tiles = step.introduced.tiles().iter().filter(|(tile, changed)| {
            // A tile cut by the panel's edge has no tone of its own, and most tiles change in a few pixels only.
            if f64::from(changed.count_ones()) < self.share * 64.0 || step.grid().whole(*tile) != u64::MAX {
                return false;
            }
            let before = levels_of_tile(step.previous, step.grid(), &self.table, *tile);
            self.shimmers(&before, step.glass.memory_levels(*tile), *changed)
        });
        let shimmering = Mask::from_sorted(tiles.map(|(tile, _)| (*tile, u64::MAX)));
        if shimmering.is_empty() {
            return None;
        }
        let display = &self.plan.display;
        let areas = regions(&shimmering, step.grid());
        let large: Vec<_> = areas.into_iter().filter(|area| display.area_mm2(area.pixels) >= self.area_mm2).collect();
        let largest = large.iter().max_by_key(|area| area.pixels)?;
        let specks = step.introduced.and(&shimmering).inside(&[largest.rect], step.grid()).count();
        Some(Observation {
            rect: Some(largest.rect),
            message: format!(
                "{specks} specks of a dithered area of {} move although its tone stays the same, so each of them is \
                driven again",
                wording::area(largest.pixels, display)
            ),
            help: "dither with an ordered pattern, which keeps its place, or dither the picture once and change only \
                   what is around it"
                .into(),
            figures: vec![
                ("specks_px", specks as f64),
                ("px", largest.pixels as f64),
                ("mm2", display.area_mm2(largest.pixels)),
            ],
            ..Observation::default()
        })
    }
}

fn is_busy(levels: &TileLevels) -> bool {
    let is_speck = |at: usize, step: usize| {
        let (before, own, after) = (levels[at - step], levels[at], levels[at + step]);
        (own > before && own > after) || (own < before && own < after)
    };
    let across = (0..64).filter(|at| (1..7).contains(&(at % 8)) && is_speck(*at, 1)).count();
    let down = (8..56).filter(|at| is_speck(*at, 8)).count();
    (across + down) as f64 >= BUSY * 96.0
}

impl Rule for DitherShimmers<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if let Some(observation) = self.turns.observation(step, || self.look(step)) {
            sink.report(Where::of(step, StepField::Screen), observation);
        }
    }
}
