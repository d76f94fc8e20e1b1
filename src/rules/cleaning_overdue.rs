//! `cleaning-overdue`: the whole panel goes longer without a cleaning than it may.

use super::{
    Rule, Setup,
    due::{HOUR_MS, whole_cleaning_ms},
    wording,
};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{LimitValue, Plan},
};

/// Follows the time since the whole panel was cleaned.
#[derive(Clone)]
pub(super) struct CleaningOverdue<'p> {
    plan: &'p Plan,
    hours: Option<LimitValue>,
    cleaned_ms: f64,
    open: Option<(Where, f64)>,
}

impl<'p> CleaningOverdue<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { hours: setup.limits.cleaning_overdue.hours, plan: setup.plan, cleaned_ms: 0.0, open: None }
    }

    fn close(&mut self, hours: LimitValue, sink: &mut Sink) {
        let Some((place, longest_ms)) = self.open.take() else { return };
        let limit = wording::span(hours.value * HOUR_MS);
        let observation = Observation {
            message: format!(
                "the whole panel goes {} without a cleaning; {}",
                wording::span(longest_ms),
                wording::passed(hours, &limit, "the display needs a cleaning every")
            ),
            help: wording::cleaning_help(&self.plan.display, |modes| {
                format!("add a step at a quiet hour that cleans the whole panel with {modes}")
            }),
            figures: vec![("hours", longest_ms / HOUR_MS), ("limit_hours", hours.value)],
            beyond: Some(longest_ms),
            ..Observation::default()
        };
        sink.report(place, observation);
    }
}

impl Rule for CleaningOverdue<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(hours) = self.hours else { return };
        let since_ms = step.updates_request_ms() - self.cleaned_ms;
        if since_ms > hours.value * HOUR_MS {
            let (place, longest_ms) = self.open.get_or_insert_with(|| (Where::of(step, StepField::Updates), since_ms));
            place.last_step = step.planned.index;
            *longest_ms = since_ms;
        }
        if let Some(cleaned_ms) = whole_cleaning_ms(step, self.plan) {
            self.cleaned_ms = cleaned_ms;
            self.close(hours, sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        if let Some(hours) = self.hours {
            self.close(hours, sink);
        }
    }
}
