//! `needless-flash`: an update flashes although another mode would carry it without, or flashes far more than changes.

use super::{Rule, Setup, due::Due, remedy, wording};
use crate::{
    change::proposed_window,
    display::Mode,
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, WindowAsk},
};

/// Looks at every flashing update that no cleaning made due.
#[derive(Clone)]
pub(super) struct NeedlessFlash<'p> {
    plan: &'p Plan,
    times: f64,
    due: Due,
    /// A cleaning that comes so long after the last touch is one in a pause, ms.
    quiet_ms: f64,
    /// When a person asked for something last, ms.
    asked_ms: f64,
}

impl<'p> NeedlessFlash<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            times: setup.limits.needless_flash.times.value,
            due: Due::new(setup.plan),
            quiet_ms: setup.limits.cleaning_interrupts.quiet_ms.value,
            plan: setup.plan,
            asked_ms: f64::NEG_INFINITY,
        }
    }

    fn observation(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let display = &self.plan.display;
        let mode = &display.modes[update.mode];
        if mode.flashes == 0 || update.sent.is_empty() || update.changed_px == 0 {
            return None;
        }
        let carries = |mode: &usize| self.carries(&display.modes[*mode], step, update);
        let carrying: Vec<usize> = (0..display.modes.len()).filter(carries).collect();
        if let Some(quiet) = carrying.first().map(|quiet| &display.modes[*quiet]) {
            return Some(Observation {
                message: format!(
                    "`{}` flashes {}, though `{}` brings the {} that change without a flash and without a visible ghost",
                    mode.name,
                    wording::area(update.sent_px, display),
                    quiet.name,
                    wording::area(update.changed_px, display)
                ),
                help: format!("use `{}` here, and clean in a pause", quiet.name),
                corrections: Correction::modes(step, index, carrying),
                key: "mode".into(),
                ..Observation::default()
            });
        }
        let times = update.sent_px as f64 / update.changed_px as f64;
        // The box around what changes is what a window could be at the best.
        let bounds = step.changed.bounds(step.grid())?;
        let window = proposed_window(bounds, display, self.plan.rotation)?;
        let saves = window.pixels() as f64 * self.times < update.sent_px as f64;
        (mode.windowed && times > self.times && saves).then(|| Observation {
            message: format!(
                "`{}` flashes {}, {} times what changes",
                mode.name,
                wording::area(update.sent_px, display),
                wording::figure(times)
            ),
            help: format!("give it the window {}: then only that flashes", wording::rect(window)),
            corrections: vec![Correction::of(
                step,
                ChangeOf::Window { update: index, window: WindowAsk::Boxes(vec![window.to_window()]) },
            )],
            key: "window".into(),
            ..Observation::default()
        })
    }

    /// Whether a mode without flashes brings what changes to its level, and leaves nothing to be seen.
    fn carries(&self, mode: &Mode, step: &PlayedStep<'_>, update: &PlayedUpdate) -> bool {
        let now_c = step.planned.temperature_c;
        let windows = mode.windowed || update.sent_px == step.memory.size().pixels();
        if mode.flashes > 0
            || !windows
            || !update.changes_from.is_within(mode.from)
            || !update.changes_to.is_within(mode.to)
            || mode.full_swing_ms.is_some_and(|whole| mode.duration_at(now_c) < whole)
        {
            return false;
        }
        let levels = update.changes_from.union(update.changes_to);
        remedy::law_of(mode, self.plan, now_c).most_after(levels, update.most_residue_l) < step.ghost_limits.limit_l
    }
}

impl Rule for NeedlessFlash<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let request_ms = step.updates_request_ms();
        let by_person = step.planned.step.cause.is_person();
        let in_pause = !by_person && request_ms - self.asked_ms >= self.quiet_ms && step.introduced.is_empty();
        if by_person {
            self.asked_ms = request_ms;
        }
        if !self.due.is_due(step, self.plan) && !in_pause {
            for (index, update) in step.updates.iter().enumerate() {
                let Some(observation) = self.observation(step, index, update) else { continue };
                let observation = Observation {
                    update: Some(index),
                    rect: update.sent_bounds(),
                    figures: vec![
                        ("flashing_px", update.sent_px as f64),
                        ("changed_px", update.changed_px as f64),
                        ("limit_times", self.times),
                    ],
                    ..observation
                };
                sink.report(Where::of(step, StepField::Mode(index)), observation);
            }
        }
        self.due.after(step, self.plan);
    }
}
