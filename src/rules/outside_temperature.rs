//! `outside-temperature`: the temperature at which a step is played is outside the panel's or a mode's range.

use super::{Rule, Setup};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Compares the temperature with the display, and with every mode that is used at it: the plan's own, and each that a step
/// says.
#[derive(Clone)]
pub(super) struct OutsideTemperature<'p> {
    plan: &'p Plan,
    /// The modes that were reported, each with the temperature that was too cold for it.
    told_modes: Vec<(usize, f64)>,
    /// Where the temperature that holds now was said, if a step said it.
    said: Option<Where>,
    /// The temperature that the panel is not made for, and where that is reported, while it holds.
    outside: Option<(f64, Where)>,
}

impl<'p> OutsideTemperature<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, told_modes: Vec::new(), said: None, outside: None }
    }

    /// Takes note of the step that says the temperature, where one does.
    fn note(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if step.planned.step.temperature_c.is_some() && !self.plan.temperature_is_held {
            self.close(sink);
            self.said = Some(Where::of(step, StepField::Temperature));
        }
    }

    /// Whether the panel may not be updated at the temperature of a step. A step that says so may leave the panel alone.
    fn is_outside(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) -> bool {
        let now = step.planned.temperature_c;
        let Some(range @ [lowest, highest]) = self.plan.display.temperature_c else { return false };
        if (lowest..=highest).contains(&now) {
            return false;
        }
        let drives = !step.strokes.is_empty() || step.updates.iter().any(|update| !update.sent.is_empty());
        match (&mut self.outside, &self.said) {
            (Some((_, place)), Some(_)) if drives => place.last_step = step.planned.index,
            (None, Some(said)) if drives => {
                self.outside = Some((now, Where { last_step: step.planned.index, ..said.clone() }));
            }
            (None, None) => {
                let place = Where::of_plan("/temperature_c");
                sink.report(place.clone(), self.observation(now, range));
                self.outside = Some((now, place));
            }
            _ => {}
        }
        true
    }

    /// Tells of the temperature of a step that ends here; the plan's own was reported at once.
    fn close(&mut self, sink: &mut Sink) {
        if let (Some((now, place)), Some(_), Some(range)) =
            (self.outside.take(), &self.said, self.plan.display.temperature_c)
        {
            sink.report(place, self.observation(now, range));
        }
    }

    fn observation(&self, now: f64, [lowest, highest]: [f64; 2]) -> Observation {
        let (when, help) = match self.said {
            None => (
                format!("the plan plays at {now} C"),
                "let the firmware leave the panel alone at this temperature, and review the plan at one that the panel allows",
            ),
            Some(_) => (
                format!("from this step on it is {now} C"),
                "keep the last picture until the temperature is in that range again: the glass keeps it without power",
            ),
        };
        let panel = &self.plan.display.name;
        Observation {
            message: format!("{when}, but the panel `{panel}` may only be updated from {lowest} to {highest} C"),
            help: help.into(),
            figures: vec![("temperature_c", now), ("lowest_c", lowest), ("highest_c", highest)],
            ..Observation::default()
        }
    }

    fn look_at_modes(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now = step.planned.temperature_c;
        for (index, update) in step.updates.iter().enumerate() {
            let mode = &self.plan.display.modes[update.mode];
            let Some(lowest) = mode.too_cold_at(now) else { continue };
            if self.told_modes.contains(&(update.mode, now)) {
                continue;
            }
            self.told_modes.push((update.mode, now));
            let plays = if self.said.is_some() { "this step is played" } else { "the plan plays" };
            let observation = Observation {
                update: Some(index),
                message: format!(
                    "{plays} at {now} C, but the mode `{}` has no waveform below {lowest} C; the model uses its \
                    coldest entry",
                    mode.name
                ),
                help: "use a mode whose table reaches this temperature, or do not update the panel in the cold".into(),
                figures: vec![("temperature_c", now), ("lowest_c", lowest)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }
}

impl Rule for OutsideTemperature<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.note(step, sink);
        // One cause, one finding: no mode is made for where the panel itself is not.
        if !self.is_outside(step, sink) {
            self.look_at_modes(step, sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
