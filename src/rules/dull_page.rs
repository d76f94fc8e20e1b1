//! `dull-page`: black or white of the whole page has drifted, so that no place stands out and all of it looks grey.

use super::{Rule, Setup, wording};
use crate::{
    display::Level,
    finding::{Observation, ResidueModes, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the medians of black and white.
#[derive(Clone)]
pub(super) struct DullPage<'p> {
    plan: &'p Plan,
    limit_l: f64,
    /// For black and for white.
    open: [Option<(Where, f64)>; 2],
    modes: ResidueModes,
}

impl<'p> DullPage<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (limit_l, modes) = (setup.limits.dull_page.limit_l.value, ResidueModes::default());
        Self { limit_l, plan: setup.plan, open: [None, None], modes }
    }

    fn close(&mut self, end: usize, sink: &mut Sink) {
        let Some((place, worst_l)) = self.open[end].take() else { return };
        let ink = &self.plan.display.ink;
        let observation = Observation {
            message: format!(
                "{} of the whole page has drifted by {} L*, {}: no single ghost, but a grey page",
                wording::quoted_level(self.levels()[end], ink),
                wording::figure(worst_l.abs()),
                if worst_l < 0.0 { "darker" } else { "lighter" }
            ),
            help: wording::cleaning_help(&self.plan.display, |modes| {
                format!("clean the whole panel with {modes}, best in a pause")
            }),
            figures: vec![("drift_l", worst_l), ("limit_l", self.limit_l)],
            margin: self.modes.margin(worst_l.abs(), self.limit_l, &self.plan.display),
            key: end.to_string(),
            ..Observation::default()
        };
        sink.report(place, observation);
    }

    fn levels(&self) -> [Level; 2] {
        let ink = &self.plan.display.ink;
        [ink.black(), ink.white()]
    }
}

impl Rule for DullPage<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step);
        for (end, level) in self.levels().into_iter().enumerate() {
            let drift_l = step.medians[usize::from(level)];
            if drift_l.abs() < self.limit_l {
                self.close(end, sink);
            } else {
                let place = || (Where::of(step, StepField::Updates), drift_l);
                let (place, worst_l) = self.open[end].get_or_insert_with(place);
                place.last_step = step.planned.index;
                if drift_l.abs() > worst_l.abs() {
                    *worst_l = drift_l;
                }
            }
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        (0..2).for_each(|end| self.close(end, sink));
    }
}
