//! `dull-page`: black or white of the whole page has drifted, so that no place stands out and all of it looks grey.

use super::{Rule, Setup, wording};
use crate::{
    display::Level,
    finding::{Margin, Observation, ResidueModes, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the medians of black and white.
#[derive(Clone)]
pub(super) struct DullPage<'p> {
    plan: &'p Plan,
    limit_l: f64,
    /// For black and for white.
    open: [Option<Drift>; 2],
    modes: ResidueModes,
}

/// How far black or white has drifted since it passed the limit.
#[derive(Clone)]
struct Drift {
    place: Where,
    worst_l: f64,
    /// How sure that is, by the modes used until then.
    margin: Option<Margin>,
    /// The step where it is that far.
    worst_step: u64,
}

impl Drift {
    /// How far, in words: of the worst step, which is named where it is not the one where it begins.
    fn words(&self) -> String {
        let begins = self.worst_step == self.place.step;
        if begins { format!("{} L*", wording::figure(self.worst_l.abs())) } else { self.words_of_step() }
    }

    /// The same with the step.
    fn words_of_step(&self) -> String {
        format!("up to {} L* (at step {})", wording::figure(self.worst_l.abs()), self.worst_step)
    }
}

impl<'p> DullPage<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (limit_l, modes) = (setup.limits.dull_page.limit_l.value, ResidueModes::default());
        Self { limit_l, plan: setup.plan, open: [None, None], modes }
    }

    fn close(&mut self, end: usize, sink: &mut Sink) {
        let Some(drift) = self.open[end].take() else { return };
        let worst_l = drift.worst_l;
        let ink = &self.plan.display.ink;
        let message = |by: String| {
            format!(
                "on the whole page, {} has become {} by {by}: the whole page looks dull",
                wording::quoted_level(self.levels()[end], ink),
                if worst_l < 0.0 { "darker" } else { "lighter" }
            )
        };
        let observation = Observation {
            message: message(drift.words()),
            at_its_worst: Some(message(drift.words_of_step())),
            help: wording::cleaning_help(&self.plan.display, |modes| {
                format!("clean the whole panel with {modes}, best in a pause")
            }),
            figures: vec![("drift_l", worst_l), ("limit_l", self.limit_l)],
            margin: drift.margin,
            key: end.to_string(),
            ..Observation::default()
        };
        sink.report(drift.place, observation);
    }

    fn levels(&self) -> [Level; 2] {
        let ink = &self.plan.display.ink;
        [ink.black(), ink.white()]
    }
}

impl Rule for DullPage<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step, &self.plan.display);
        for (end, level) in self.levels().into_iter().enumerate() {
            let drift_l = step.medians[usize::from(level)];
            if drift_l.abs() < self.limit_l {
                self.close(end, sink);
            } else {
                let now = step.planned.index;
                let margin = self.modes.margin(drift_l.abs(), self.limit_l, &self.plan.display);
                let place = || Where::of(step, StepField::Updates);
                let begins = || Drift { place: place(), worst_l: drift_l, margin, worst_step: now };
                let drift = self.open[end].get_or_insert_with(begins);
                drift.place.last_step = now;
                if drift_l.abs() > drift.worst_l.abs() {
                    (drift.worst_l, drift.margin, drift.worst_step) = (drift_l, margin, now);
                }
            }
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        (0..2).for_each(|end| self.close(end, sink));
    }
}
