//! `redriven-segment`: a segment that is driven towards the state that it already has.

use super::{Rule, Setup, remedy, wording};
use crate::{
    finding::{Correction, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Looks at every update of a segmented panel.
#[derive(Clone)]
pub(super) struct RedrivenSegment<'p> {
    plan: &'p Plan,
}

impl<'p> RedrivenSegment<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }

    fn observation(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let (names, pixels) = wording::segments_of(&update.redriven, step, self.plan);
        if names.is_empty() {
            return None;
        }
        let modes = &self.plan.display.modes;
        let changing: Vec<String> =
            modes.iter().filter(|mode| mode.changed_only).map(|mode| format!("`{}`", mode.name)).collect();
        let help = if !changing.is_empty() {
            format!("use {}, which drives only the segments that change", wording::one_of(&changing))
        } else if self.plan.display.windows.is_some() {
            "limit the window to the segments that change".to_owned()
        } else {
            "every mode of this display drives all segments: update less often, or ask the panel maker for a mode that \
             drives only the segments that change"
                .to_owned()
        };
        Some(Observation {
            update: Some(index),
            rect: pixels.bounds(step.grid()),
            message: format!(
                "`{}` drives {} that {} in the right state already ({}): the ink is pushed in one direction more often than in \
                 the other, which wears it",
                modes[update.mode].name,
                wording::counted(names.len() as u64, "segment", "segments"),
                if names.len() == 1 { "is" } else { "are" },
                wording::listed(&names, 6),
            ),
            help,
            corrections: Correction::modes(
                step,
                index,
                remedy::modes_by_cost(self.plan, step.planned.temperature_c, |mode| modes[*mode].changed_only),
            ),
            figures: vec![("segments", names.len() as f64), ("px", pixels.count() as f64)],
            ..Observation::default()
        })
    }
}

impl Rule for RedrivenSegment<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, update) in step.updates.iter().enumerate() {
            if !update.redriven.is_empty()
                && let Some(observation) = self.observation(step, index, update)
            {
                sink.report(Where::of(step, StepField::Mode(index)), observation);
            }
        }
    }
}
