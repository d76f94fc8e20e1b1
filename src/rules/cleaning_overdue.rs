//! `cleaning-overdue`: the whole panel goes longer without a cleaning than the display allows.

use super::{
    Rule, Setup,
    due::{HOUR_MS, whole_cleaning_ms},
    wording,
};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the time since the whole panel was cleaned.
#[derive(Clone)]
pub(super) struct CleaningOverdue<'p> {
    plan: &'p Plan,
    limit_ms: Option<f64>,
    cleaned_ms: f64,
    open: Option<(Where, f64)>,
}

impl<'p> CleaningOverdue<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limit_ms = setup.limits.get("hours").map(|hours| hours * HOUR_MS);
        Self { limit_ms, plan: setup.plan, cleaned_ms: 0.0, open: None }
    }

    fn close(&mut self, limit_ms: f64, sink: &mut Sink) {
        let Some((place, longest_ms)) = self.open.take() else { return };
        let observation = Observation {
            message: format!(
                "the whole panel goes {} without a cleaning; the display asks for one every {}",
                wording::span(longest_ms),
                wording::span(limit_ms)
            ),
            help: wording::cleaning_help(&self.plan.display, |modes| {
                format!("add a step at a quiet hour that cleans all of it with {modes}")
            }),
            figures: vec![("hours", longest_ms / HOUR_MS), ("limit_hours", limit_ms / HOUR_MS)],
            ..Observation::default()
        };
        sink.report(place, observation);
    }
}

impl Rule for CleaningOverdue<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(limit_ms) = self.limit_ms else { return };
        let since_ms = step.updates_request_ms() - self.cleaned_ms;
        if since_ms > limit_ms {
            let (place, longest_ms) = self.open.get_or_insert_with(|| (Where::of(step, StepField::Updates), since_ms));
            place.last_step = step.planned.index;
            *longest_ms = since_ms;
        }
        if let Some(cleaned_ms) = whole_cleaning_ms(step, self.plan) {
            self.cleaned_ms = cleaned_ms;
            self.close(limit_ms, sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        if let Some(limit_ms) = self.limit_ms {
            self.close(limit_ms, sink);
        }
    }
}
