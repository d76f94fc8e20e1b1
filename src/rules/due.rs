//! Whether a cleaning is due: by what was on the glass before a step.

use crate::{
    panel::PlayedStep,
    plan::{LimitValue, Origin, Plan, RuleLimits},
};

/// What was known before the step that is looked at.
#[derive(Clone)]
pub(super) struct Due {
    most: u32,
    ghosts: bool,
    unknown: bool,
    /// Whether the plan has cleaned anything yet: its first cleaning, after power-up, is always due.
    cleaned: bool,
    cleaned_ms: f64,
}

/// A cleaning is due within this share of a limit.
const SHARE: f64 = 0.8;
pub(super) const HOUR_MS: f64 = 3_600_000.0;

impl Due {
    pub(super) fn new(plan: &Plan) -> Self {
        let unknown = plan.begins == crate::plan::Begins::Unknown;
        Self { most: 0, ghosts: false, unknown, cleaned: false, cleaned_ms: 0.0 }
    }

    /// Whose limit makes a cleaning due, in words: the display's own, where nobody gives one.
    pub(super) fn whose(limits: &RuleLimits) -> &'static str {
        let limit = limits.too_many_since_cleaning.updates.or(limits.cleaning_overdue.hours);
        limit.map_or(Origin::Display, |limit| limit.origin).whose()
    }

    /// Whether a cleaning in this step was due when the step was asked for.
    pub(super) fn is_due(&self, step: &PlayedStep<'_>, plan: &Plan) -> bool {
        let limits = &plan.limits;
        let near = |value: f64, limit: Option<LimitValue>| limit.is_some_and(|limit| value >= SHARE * limit.value);
        let hours = (step.updates_request_ms() - self.cleaned_ms) / HOUR_MS;
        self.ghosts
            || self.unknown
            || !self.cleaned
            || near(f64::from(self.most), limits.too_many_since_cleaning.updates)
            || near(hours, limits.cleaning_overdue.hours)
    }

    /// Takes the state at the end of a step.
    pub(super) fn after(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        self.most = step.glass.most_since_cleaning();
        self.ghosts = !step.ghosts.is_empty();
        self.unknown = step.glass.unknown_px() > 0;
        let modes = &plan.display.modes;
        self.cleaned |= step.updates.iter().any(|update| modes[update.mode].cleans && !update.sent.is_empty());
        self.cleaned_ms =
            whole_cleaning_ms(step, plan).map_or(self.cleaned_ms, |ended_ms| ended_ms.max(self.cleaned_ms));
    }
}

/// When the last cleaning of the whole panel in a step ended, ms.
pub(super) fn whole_cleaning_ms(step: &PlayedStep<'_>, plan: &Plan) -> Option<f64> {
    let whole = step.memory.size().pixels();
    let cleanings = step
        .updates
        .iter()
        .filter(|update| plan.display.modes[update.mode].cleans && update.share >= 1.0 && update.sent_px == whole);
    cleanings.map(|update| update.times.finish_ms).reduce(f64::max)
}
