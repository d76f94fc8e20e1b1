//! `outside-temperature`: the plan's temperature is outside the panel's or the mode's range.

use super::{Rule, Setup};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Compares the plan's temperature with the display, and with every mode that the plan uses.
#[derive(Clone)]
pub(super) struct OutsideTemperature<'p> {
    plan: &'p Plan,
    told_modes: Vec<usize>,
    told_panel: bool,
}

impl<'p> OutsideTemperature<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, told_modes: Vec::new(), told_panel: false }
    }

    fn look_at_panel(&mut self, sink: &mut Sink) {
        let now = self.plan.temperature_c;
        let Some([lowest, highest]) = self.plan.display.temperature_c else { return };
        if self.told_panel || (lowest..=highest).contains(&now) {
            return;
        }
        self.told_panel = true;
        let observation = Observation {
            message: format!(
                "the plan plays at {now} C, the panel `{}` may be updated from {lowest} to {highest} C",
                self.plan.display.name
            ),
            help: "do not update the panel at this temperature; review the plan at one that it allows".into(),
            figures: vec![("temperature_c", now), ("lowest_c", lowest), ("highest_c", highest)],
            ..Observation::default()
        };
        sink.report(Where::of_plan("/temperature_c"), observation);
    }
}

impl Rule for OutsideTemperature<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.look_at_panel(sink);
        if self.told_panel {
            // One cause, one finding: no mode is made for where the panel itself is not.
            return;
        }
        for (index, update) in step.updates.iter().enumerate() {
            let mode = &self.plan.display.modes[update.mode];
            let Some(lowest) = mode.too_cold_at(self.plan.temperature_c) else { continue };
            if self.told_modes.contains(&update.mode) {
                continue;
            }
            self.told_modes.push(update.mode);
            let observation = Observation {
                update: Some(index),
                message: format!(
                    "the plan plays at {} C, the mode `{}` has no waveform below {lowest} C; its coldest entry is taken",
                    self.plan.temperature_c, mode.name
                ),
                help: "use a mode whose table reaches this temperature, or do not update the panel in the cold".into(),
                figures: vec![("temperature_c", self.plan.temperature_c), ("lowest_c", lowest)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }
}
