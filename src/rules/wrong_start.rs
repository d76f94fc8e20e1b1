//! `wrong-start`: pixels driven from a level that the mode cannot start from.

use super::{Rule, Setup, remedy, wording};
use crate::{
    finding::{Correction, Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at every update on its own.
#[derive(Clone)]
pub(super) struct WrongStart<'p> {
    plan: &'p Plan,
}

impl<'p> WrongStart<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for WrongStart<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let display = &self.plan.display;
        let now_c = step.planned.temperature_c;
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.wrong_start.is_empty()) {
            let mode = &display.modes[update.mode];
            let pixels = update.wrong_start.count();
            let starts_anywhere = |mode: &usize| display.modes[*mode].from == display.ink.all();
            let starts: Vec<String> = display
                .modes
                .iter()
                .filter(|mode| mode.from == display.ink.all())
                .map(|mode| format!("`{}`", mode.name))
                .collect();
            let help = if starts.is_empty() {
                format!("bring the place to {} first", wording::levels(mode.from, display))
            } else {
                format!("use {} here, which starts from any level", wording::one_of(&starts))
            };
            let observation = Observation {
                update: Some(index),
                rect: update.wrong_start.bounds(step.grid()),
                message: format!(
                    "{} are driven with `{}` from a level it cannot start from (it starts from {}): about {} L* stays as a ghost",
                    wording::area(pixels, display),
                    mode.name,
                    wording::levels(mode.from, display),
                    wording::figure(mode.residue_at(now_c).wrong_start.abs())
                ),
                help,
                corrections: Correction::modes(step, index, remedy::modes_by_cost(self.plan, now_c, starts_anywhere)),
                figures: vec![("px", pixels as f64), ("mm2", display.area_mm2(pixels))],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }
}
