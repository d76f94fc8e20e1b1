//! Whether a flash is due: by what was on the glass before a step, and by every limit that asks for a cleaning.

use super::charge_builds_up::Charged;
use crate::{
    change::{TileCover, proposed_window},
    display::Mode,
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{LimitValue, Plan, RuleLimits},
};

/// What was known before the step that is looked at.
#[derive(Clone)]
pub(super) struct Due {
    most: u32,
    /// The smallest windows that hold a ghost each.
    ghosts: Vec<Rect>,
    /// Whether something is nearly off enough to be a ghost.
    is_near_a_ghost: bool,
    /// Whether black or white of the whole page has drifted.
    is_dull: bool,
    unknown: bool,
    /// The pixels that have nearly as much net impulse as the display allows.
    charged: Charged,
    /// Whether the plan has cleaned anything yet: its first cleaning, after power-up, is always due.
    cleaned: bool,
    cleaned_ms: f64,
    /// How much larger than a ghost a flash may be that removes it.
    times: f64,
}

/// A cleaning is due from this share of a limit on.
const SHARE: f64 = 0.8;
pub(super) const HOUR_MS: f64 = 3_600_000.0;

impl Due {
    pub(super) fn new(plan: &Plan) -> Self {
        Self {
            most: 0,
            ghosts: Vec::new(),
            is_near_a_ghost: false,
            is_dull: false,
            unknown: plan.begins == crate::plan::Begins::Unknown,
            charged: Charged::default(),
            cleaned: false,
            cleaned_ms: 0.0,
            times: plan.limits.needless_flash.times.value,
        }
    }

    /// Whether the flash of an update was due when its step was asked for.
    pub(super) fn is_due(&self, step: &PlayedStep<'_>, update: &PlayedUpdate, plan: &Plan) -> bool {
        let mode = &plan.display.modes[update.mode];
        self.unknown
            || !self.cleaned
            || self.is_dull
            || mode.cleans && self.limit_asks(step.updates_request_ms(), &plan.limits)
            || self.ghosts_ask(step, update, mode, plan)
            || self.charge_asks(step, update, mode)
    }

    /// Whether an update drives a place that has much net impulse with a mode that takes it back, or adds none.
    fn charge_asks(&self, step: &PlayedStep<'_>, update: &PlayedUpdate, mode: &Mode) -> bool {
        mode.impulse.is_some_and(|impulse| self.charged.asks_for(impulse, &update.sent, step.grid()))
    }

    /// Whether an update cleans before a ghost is seen that is near: it is not due, and yet no flash without a reason.
    pub(super) fn prevents_a_ghost(&self, update: &PlayedUpdate, plan: &Plan) -> bool {
        self.is_near_a_ghost && plan.display.modes[update.mode].cleans
    }

    /// Whether a limit in force, whoever gives it, asks for a cleaning at a time, ms.
    fn limit_asks(&self, now_ms: f64, limits: &RuleLimits) -> bool {
        let near = |value: f64, limit: Option<LimitValue>| limit.is_some_and(|limit| value >= SHARE * limit.value);
        let hours = (now_ms - self.cleaned_ms) / HOUR_MS;
        near(f64::from(self.most), limits.too_many_since_cleaning.updates) || near(hours, limits.cleaning_overdue.hours)
    }

    /// Whether an update flashes where ghosts are, and not far beyond: a ghost asks for its own place, not for the panel. Where
    /// there are no windows it can have only the panel.
    fn ghosts_ask(&self, step: &PlayedStep<'_>, update: &PlayedUpdate, mode: &Mode, plan: &Plan) -> bool {
        if !mode.windowed || plan.display.windows.is_none() {
            return !self.ghosts.is_empty();
        }
        let own = self.ghosts_under(update);
        let own_px = TileCover::new(*step.grid(), &own).pixels();
        update.sent_px as f64 <= self.times * own_px as f64
    }

    fn ghosts_under(&self, update: &PlayedUpdate) -> Vec<Rect> {
        let is_under = |ghost: &&Rect| update.sent.iter().any(|sent| sent.overlaps(**ghost));
        self.ghosts.iter().filter(is_under).copied().collect()
    }

    /// The box around the windows of the ghosts that an update flashes; `None` if there is none.
    pub(super) fn ghosts_around(&self, update: &PlayedUpdate) -> Option<Rect> {
        self.ghosts_under(update).into_iter().reduce(Rect::around)
    }

    /// Takes the state at the end of a step.
    pub(super) fn after(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        let (display, ink) = (&plan.display, &plan.display.ink);
        self.most = step.glass.most_since_cleaning();
        if !step.drives_nothing() {
            self.charged.see(step);
        }
        self.ghosts.clear();
        let window = |rect: Rect| proposed_window(rect, display, plan.rotation).unwrap_or(rect);
        self.ghosts.extend(step.ghosts.iter().map(|ghost| window(ghost.rect)));
        self.is_near_a_ghost = step.residue_l >= SHARE * step.ghost_limits.limit_l;
        let drift_l = [ink.black(), ink.white()].map(|level| step.medians[usize::from(level)].abs());
        self.is_dull = drift_l.into_iter().any(|drift_l| drift_l >= plan.limits.dull_page.limit_l.value);
        self.unknown = step.glass.unknown_px() > 0;
        let modes = &display.modes;
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
