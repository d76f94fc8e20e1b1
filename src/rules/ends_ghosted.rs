//! `ends-ghosted`: the plan's last picture, the one that stays, carries a ghost.

use super::{
    Rule, Setup,
    remedy::{self, NO_REMOVAL},
    wording,
};
use crate::{
    finding::{Asks, Observation, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at the last step.
#[derive(Clone)]
pub(super) struct EndsGhosted<'p> {
    plan: &'p Plan,
    limit_l: f64,
    area_mm2: f64,
    modes: ResidueModes,
}

impl<'p> EndsGhosted<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.ends_ghosted;
        let (limit_l, area_mm2) = (limits.limit_l.value, limits.area_mm2.value);
        Self { limit_l, area_mm2, plan: setup.plan, modes: ResidueModes::default() }
    }
}

impl Rule for EndsGhosted<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step, &self.plan.display);
        // Where the plan loops, each turn has a last picture.
        if !(step.planned.index + 1).is_multiple_of(self.plan.step_count) {
            return;
        }
        let display = &self.plan.display;
        let seen = step
            .ghosts
            .iter()
            .filter(|ghost| ghost.worst_l >= self.limit_l && display.area_mm2(ghost.pixels) >= self.area_mm2);
        let Some(worst) = seen.clone().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l)) else { return };
        let rect = seen.clone().map(|ghost| ghost.rect).fold(worst.rect, Rect::around);
        let pixels: u64 = seen.clone().map(|ghost| ghost.pixels).sum();
        let count = seen.count() as u64;
        let removal = remedy::removal(worst, rect, step, self.plan);
        let observation = Observation {
            rect: Some(rect),
            message: format!(
                "the last picture, which may stay for hours, still shows {} on {}; the strongest has {} L*",
                wording::counted(count, "ghost", "ghosts"),
                wording::area(pixels, display),
                wording::figure(worst.worst_l)
            ),
            help: removal.map_or_else(
                || NO_REMOVAL.to_owned(),
                |removal| format!("{}: send it after the last step", removal.words(self.plan, count)),
            ),
            asks: removal.map(|removal| Asks::Cleaning(removal.cleaning(step.planned.index, self.plan))),
            figures: vec![
                ("worst_l", worst.worst_l),
                ("limit_l", self.limit_l),
                ("px", pixels as f64),
                ("mm2", display.area_mm2(pixels)),
            ],
            margin: self.modes.margin(worst.worst_l, self.limit_l, display),
            ..Observation::default()
        };
        sink.report(Where::of(step, StepField::Updates), observation);
    }
}
