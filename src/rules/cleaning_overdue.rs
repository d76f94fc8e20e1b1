//! `cleaning-overdue`: the whole panel goes longer without a cleaning than the display allows.

use super::{Rule, Setup, words};
use crate::{
    finding::{Sight, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the time since the whole panel was cleaned.
pub(super) struct CleaningOverdue<'p> {
    plan: &'p Plan,
    limit_ms: Option<f64>,
    cleaned_ms: f64,
    open: Option<(Where, f64)>,
}

const HOUR_MS: f64 = 3_600_000.0;

impl<'p> CleaningOverdue<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limit_ms = setup.limits.get("hours").map(|hours| hours * HOUR_MS);
        Self { limit_ms, plan: setup.plan, cleaned_ms: 0.0, open: None }
    }

    fn close(&mut self, limit_ms: f64, sink: &mut Sink) {
        let Some((place, longest_ms)) = self.open.take() else { return };
        let modes = self.plan.display.modes.iter().filter(|mode| mode.cleans);
        let cleaning: Vec<String> = modes.map(|mode| format!("`{}`", mode.name)).collect();
        let sight = Sight {
            message: format!(
                "the whole panel goes {} without a cleaning; the display asks for one every {}",
                words::span(longest_ms),
                words::span(limit_ms)
            ),
            help: if cleaning.is_empty() {
                "this display has no cleaning mode: describe the one it has".into()
            } else {
                format!("add a step at a quiet hour that cleans all of it with {}", words::one_of(&cleaning))
            },
            figures: vec![("hours", longest_ms / HOUR_MS), ("limit_hours", limit_ms / HOUR_MS)],
            ..Sight::default()
        };
        sink.report(place, sight);
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
        let modes = &self.plan.display.modes;
        let whole = step.updates.iter().filter(|update| {
            modes[update.mode].cleans && update.share >= 1.0 && update.sent_px == step.memory.size().pixels()
        });
        if let Some(cleaned_ms) = whole.map(|update| update.times.finish_ms).reduce(f64::max) {
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
