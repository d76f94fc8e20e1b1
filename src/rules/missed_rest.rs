//! `missed-rest`: a pause that begins with a visible ghost on the glass, and no cleaning in it.

use super::{
    Rule, Setup,
    remedy::{self, NO_REMOVAL, Removal},
    wording,
};
use crate::{
    finding::{Asks, Margin, Observation, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
};

/// Waits for the next step that shows something new, or drives something.
#[derive(Clone)]
pub(super) struct MissedRest<'p> {
    plan: &'p Plan,
    pause_ms: f64,
    /// How long after a person's doing a flash disturbs nobody, ms.
    quiet_ms: f64,
    modes: ResidueModes,
    resting: Option<Resting>,
}

/// A ghost on the glass when all updates have ended.
#[derive(Clone)]
struct Resting {
    place: Where,
    from_ms: f64,
    rect: Rect,
    worst_l: f64,
    limit_l: f64,
    /// How sure that is, by the modes used until then.
    margin: Option<Margin>,
    removal: Option<Removal>,
}

impl<'p> MissedRest<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let quiet_ms = setup.limits.cleaning_interrupts.quiet_ms.value;
        let modes = ResidueModes::default();
        Self { pause_ms: setup.limits.missed_rest.pause_ms.value, quiet_ms, plan: setup.plan, modes, resting: None }
    }

    fn help(&self, removal: Removal, after_step: u64) -> String {
        let quiet_ms = wording::ms(self.quiet_ms);
        let after = self.plan.kind().step(after_step);
        format!("{}: send it {quiet_ms} ms after {after}", removal.words(self.plan, 1))
    }

    fn tell(&mut self, now_ms: f64, sink: &mut Sink) {
        let Some(resting) = self.resting.take() else { return };
        let pause_ms = now_ms - resting.from_ms;
        if pause_ms < self.pause_ms {
            return;
        }
        let after_step = resting.place.step;
        let observation = Observation {
            rect: Some(resting.rect),
            message: format!(
                "nothing happens for {} while a ghost of {} L* is on the glass: a cleaning flash would \
                disturb least in this pause",
                wording::span(pause_ms),
                wording::figure(resting.worst_l)
            ),
            help: resting.removal.map_or_else(|| NO_REMOVAL.to_owned(), |removal| self.help(removal, after_step)),
            asks: resting.removal.map(|removal| Asks::Cleaning(removal.cleaning(after_step, self.plan))),
            figures: vec![
                ("pause_ms", pause_ms),
                ("limit_ms", self.pause_ms),
                ("worst_l", resting.worst_l),
                ("limit_l", resting.limit_l),
            ],
            margin: resting.margin,
            ..Observation::default()
        };
        sink.report(resting.place, observation);
    }
}

impl Rule for MissedRest<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step, &self.plan.display);
        let cleans =
            step.updates.iter().any(|update| !update.sent.is_empty() && self.plan.display.modes[update.mode].cleans);
        if step.introduced.is_empty() && cleans {
            // A cleaning in the pause.
            self.resting = None;
        } else if !(step.introduced.is_empty() && step.pen_line.is_empty() && step.drives_nothing()) {
            self.tell(step.planned.request_ms, sink);
        }
        let worst = step.ghosts.iter().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l));
        let Some(worst) = worst else {
            self.resting = None;
            return;
        };
        if self.resting.is_none() {
            let end_ms = step.updates.iter().map(|update| update.times.finish_ms);
            let limit_l = step.ghost_limits.limit_l;
            self.resting = Some(Resting {
                place: Where::of(step, StepField::Updates),
                from_ms: end_ms.fold(step.updates_request_ms(), f64::max),
                rect: worst.rect,
                worst_l: worst.worst_l,
                limit_l,
                margin: self.modes.margin(worst.worst_l, limit_l, &self.plan.display),
                removal: remedy::removal(worst, worst.rect, step, self.plan),
            });
        }
    }
}
