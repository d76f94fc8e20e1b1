//! `greys-too-close`: touching filled areas whose levels look nearly the same on this panel.

use super::{Rule, Setup, shapes, transition_cache::TransitionCache, wording};
use crate::{
    change::Mask,
    display::{Level, LevelSet},
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at the edges of what each step changes in memory.
#[derive(Clone)]
pub(super) struct GreysTooClose<'p> {
    plan: &'p Plan,
    limit_l: f64,
    /// For each level the others that lie too close to it.
    close_to: Vec<LevelSet>,
    turns: TransitionCache,
}

impl<'p> GreysTooClose<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (ink, limit_l) = (&setup.plan.display.ink, setup.limits.greys_too_close.l.value);
        let close = |level: Level| {
            ink.all().iter().filter(|other| *other != level && ink.apart(level, *other) < limit_l).collect()
        };
        Self {
            limit_l,
            close_to: ink.all().iter().map(close).collect(),
            turns: TransitionCache::default(),
            plan: setup.plan,
        }
    }

    /// Whether a tile and its neighbours hold levels that lie too close to each other: mostly they do not.
    fn may_touch(&self, tile: u32, step: &PlayedStep<'_>) -> bool {
        let (columns, tiles) = (step.grid().columns(), step.grid().tiles() as u32);
        let own = step.glass.memory_levels_in(tile);
        let beside = [tile.checked_sub(1), Some(tile + 1), tile.checked_sub(columns), Some(tile + columns)];
        let beside = beside.into_iter().flatten().filter(|tile| *tile < tiles);
        let around = beside.fold(own.0, |set, tile| set | step.glass.memory_levels_in(tile).0);
        own.iter().any(|level| self.close_to[usize::from(level)].0 & around != 0)
    }

    fn look(&self, step: &PlayedStep<'_>) -> Option<Observation> {
        let ink = &self.plan.display.ink;
        let tiles = step.introduced.tiles().iter().filter(|(tile, _)| self.may_touch(*tile, step));
        let introduced = Mask::from_sorted(tiles.copied());
        let size = step.memory.size();
        let level = |x: u32, y: u32| step.glass.memory_level(x, y);
        let mut edge = Vec::new();
        let mut closest: Option<(f64, Level, Level)> = None;
        introduced.for_each_pixel(step.grid(), |x, y| {
            let own = level(x, y);
            let right = (x + 1 < size.width).then(|| (x + 1, y));
            let below = (y + 1 < size.height).then(|| (x, y + 1));
            let (left, above) = (x.checked_sub(1).map(|x| (x, y)), y.checked_sub(1).map(|y| (x, y)));
            for (other_x, other_y) in [right, below, left, above].into_iter().flatten() {
                let other = level(other_x, other_y);
                if !self.close_to[usize::from(own)].contains(other) {
                    continue;
                }
                let both = shapes::is_filled(x, y, step.grid(), &level)
                    && shapes::is_filled(other_x, other_y, step.grid(), &level);
                if both {
                    edge.extend([step.grid().locate(x, y), step.grid().locate(other_x, other_y)]);
                    let apart = ink.apart(own, other);
                    if closest.is_none_or(|(known, _, _)| apart < known) {
                        closest = Some((apart, own.min(other), own.max(other)));
                    }
                }
            }
        });
        let (apart, darker, lighter) = closest?;
        let edge = Mask::from_unsorted(edge);
        Some(Observation {
            rect: edge.bounds(step.grid()),
            message: format!(
                "{} and {} touch, {} apart on this panel: their edge of {} px will hardly be seen",
                ink.name(darker),
                ink.name(lighter),
                wording::apart(apart, ink),
                edge.count()
            ),
            help: format!(
                "choose levels at least {} apart, or draw a line between the areas",
                wording::apart(self.limit_l, ink)
            ),
            figures: vec![("l", apart), ("px", edge.count() as f64)],
            ..Observation::default()
        })
    }
}

impl Rule for GreysTooClose<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if let Some(observation) = self.turns.observation(step, || self.look(step)) {
            sink.report(Where::of(step, StepField::Screen), observation);
        }
    }
}
