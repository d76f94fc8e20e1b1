//! `link-bound`: the transfer of an update takes longer than its drive.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Compares the transfer with the drive.
#[derive(Clone)]
pub(super) struct LinkBound<'p> {
    plan: &'p Plan,
}

impl<'p> LinkBound<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }

    fn observation(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Observation {
        let margin = Margin::of_too_little(
            Figure::Durations,
            update.duration_ms,
            update.times.transfer_ms,
            &self.plan.display.certainty,
        );
        // A time that the plan itself gives is no estimate.
        let is_given = step.planned.step.listed_updates().get(index).is_some_and(|asked| asked.drive_ms.is_some());
        let share = 100.0 * update.changed_px as f64 / update.sent_px as f64;
        let help = if self.plan.display.windows.is_some() && update.changed_px < update.sent_px {
            format!(
                "send a smaller window, because only {share:.0} % of what is sent changes; or send fewer bits per \
                     pixel"
            )
        } else {
            "send fewer bits per pixel, or use a faster link".to_owned()
        };
        Observation {
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!(
                "sending {} px takes {} ms, but driving them with `{}` takes only {} ms: the link decides when they \
                appear",
                update.sent_px,
                wording::ms(update.times.transfer_ms),
                self.plan.display.modes[update.mode].name,
                wording::ms(update.duration_ms)
            ),
            help,
            margin: margin.filter(|_| !is_given),
            figures: vec![
                ("transfer_ms", update.times.transfer_ms),
                ("drive_ms", update.duration_ms),
                ("px", update.sent_px as f64),
                ("changed_percent", share),
            ],
            ..Observation::default()
        }
    }
}

impl Rule for LinkBound<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, update) in step.updates.iter().enumerate() {
            if !update.sent.is_empty() && update.times.transfer_ms > update.duration_ms {
                sink.report(Where::of(step, StepField::Mode(index)), self.observation(step, index, update));
            }
        }
    }
}
