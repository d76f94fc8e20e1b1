//! `greys-too-close`: touching filled areas whose levels look nearly the same on this panel.

use super::{Rule, Setup, shapes, words};
use crate::{
    change::Mask,
    display::Level,
    finding::{Sight, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at the edges of what each step changes in memory.
pub(super) struct GreysTooClose<'p> {
    plan: &'p Plan,
    limit_l: f64,
    table: [Level; 256],
}

impl<'p> GreysTooClose<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { limit_l: setup.limit("l"), table: setup.plan.display.ink.level_table(), plan: setup.plan }
    }

    fn apart(&self, one: Level, other: Level) -> f64 {
        (self.plan.display.ink.lightness(one) - self.plan.display.ink.lightness(other)).abs()
    }
}

impl Rule for GreysTooClose<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let ink = &self.plan.display.ink;
        if step.introduced.is_empty()
            || (1..ink.levels() as Level).all(|level| self.apart(level - 1, level) >= self.limit_l)
        {
            return;
        }
        let size = step.memory.size();
        let level = |x: u32, y: u32| self.table[usize::from(step.memory.shade(x, y))];
        let mut edge = Vec::new();
        let mut closest: Option<(f64, Level, Level)> = None;
        step.introduced.for_each_pixel(step.grid(), |x, y| {
            let own = level(x, y);
            let right = (x + 1 < size.width).then(|| (x + 1, y));
            let below = (y + 1 < size.height).then(|| (x, y + 1));
            let (left, above) = (x.checked_sub(1).map(|x| (x, y)), y.checked_sub(1).map(|y| (x, y)));
            for (other_x, other_y) in [right, below, left, above].into_iter().flatten() {
                let other = level(other_x, other_y);
                if own == other || self.apart(own, other) >= self.limit_l {
                    continue;
                }
                let both = shapes::is_filled(x, y, step.grid(), &level)
                    && shapes::is_filled(other_x, other_y, step.grid(), &level);
                if both {
                    edge.extend([step.grid().locate(x, y), step.grid().locate(other_x, other_y)]);
                    let apart = self.apart(own, other);
                    if closest.is_none_or(|(known, _, _)| apart < known) {
                        closest = Some((apart, own.min(other), own.max(other)));
                    }
                }
            }
        });
        let Some((apart, darker, lighter)) = closest else { return };
        let edge = Mask::from_unsorted(edge);
        let sight = Sight {
            rect: edge.bounds(step.grid()),
            message: format!(
                "{} and {} touch, {} L* apart on this panel: their edge of {} px will hardly be seen",
                ink.name(darker),
                ink.name(lighter),
                words::figure(apart),
                edge.count()
            ),
            help: format!(
                "choose levels at least {} L* apart, or draw a line between the areas",
                words::figure(self.limit_l)
            ),
            figures: vec![("l", apart), ("px", edge.count() as f64)],
            ..Sight::default()
        };
        sink.report(Where::of(step, StepField::Screen), sight);
    }
}
