//! `too-soon`: an update begins sooner after the one before than the panel allows.

use super::{Rule, Setup, words};
use crate::{
    finding::{Sight, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at the time from the begin of one update to the begin of the next.
pub(super) struct TooSoon<'p> {
    plan: &'p Plan,
    least_ms: Option<f64>,
    last_start_ms: Option<f64>,
}

impl<'p> TooSoon<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { least_ms: setup.limits.get("ms").copied(), last_start_ms: None, plan: setup.plan }
    }
}

impl Rule for TooSoon<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(least_ms) = self.least_ms else { return };
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
            let apart_ms = self.last_start_ms.map(|last| update.times.start_ms - last);
            self.last_start_ms = Some(update.times.start_ms);
            let Some(apart_ms) = apart_ms.filter(|apart| *apart < least_ms) else { continue };
            let sight = Sight {
                update: Some(index),
                rect: update.sent.iter().copied().reduce(Rect::around),
                message: format!(
                    "this update begins {} after the one before; the panel wants {} between two",
                    words::span(apart_ms),
                    words::span(least_ms)
                ),
                help: format!(
                    "put both into one update, or wait {} longer: `{}` may be worn or damaged by updates so close together",
                    words::span(least_ms - apart_ms),
                    self.plan.display.name
                ),
                figures: vec![("apart_ms", apart_ms), ("limit_ms", least_ms)],
                ..Sight::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), sight);
        }
    }
}
