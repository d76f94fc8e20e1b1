//! `slower-than-described`: what a device measured of a mode is not what the description says.

use std::collections::BTreeMap;

use super::{Rule, Setup, wording};
use crate::{
    display::Mode,
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, RecordedUpdate, median},
};

/// Compares the durations that a device recorded with those of the description, by mode and temperature.
#[derive(Clone)]
pub(super) struct SlowerThanDescribed<'p> {
    plan: &'p Plan,
    /// By mode and by the entry of its table of durations.
    measured: BTreeMap<(usize, usize), Measured>,
}

/// What was measured of a mode at its temperatures.
#[derive(Clone)]
struct Measured {
    durations_ms: Vec<f64>,
    described_ms: f64,
    first: Where,
    update: usize,
}

/// A difference of less than this share is none: common practice, no source.
const LEAST_SHARE: f64 = 0.1;

impl<'p> SlowerThanDescribed<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, measured: BTreeMap::new() }
    }

    /// The factor by which a duration may be off.
    fn factor(&self) -> f64 {
        self.plan.display.certainty.durations.unwrap_or(1.0).max(1.0 + LEAST_SHARE)
    }

    fn observation(&self, mode: &Mode, entry: usize, measured: &Measured) -> Option<Observation> {
        let mut sorted = measured.durations_ms.clone();
        sorted.sort_by(f64::total_cmp);
        let (median_ms, described_ms) = (median(&sorted)?, measured.described_ms);
        let is_slower = median_ms > described_ms * self.factor();
        let is_quicker = median_ms < (described_ms / self.factor()).min(described_ms * (1.0 - LEAST_SHARE));
        if !is_slower && !is_quicker {
            return None;
        }
        let count = sorted.len() as u64;
        Some(Observation {
            update: Some(measured.update),
            message: format!(
                "`{}` takes {} ms on the device (median of {}, from {} to {} ms), but the description of `{}` says {} ms",
                mode.name,
                wording::ms(median_ms),
                wording::counted(count, "measured update", "measured updates"),
                wording::ms(sorted[0]),
                wording::ms(sorted[sorted.len() - 1]),
                self.plan.display.name,
                wording::ms(described_ms)
            ),
            help: format!(
                "describe the panel as it is, in a description that is based on this one: {}",
                fragment(mode, entry, median_ms)
            ),
            figures: vec![("median_ms", median_ms), ("described_ms", described_ms), ("count", count as f64)],
            ..Observation::default()
        })
    }
}

/// The part of a description that fits what was measured.
fn fragment(mode: &Mode, entry: usize, measured_ms: f64) -> String {
    let value = |at: usize, ms: f64| if at == entry { measured_ms.round() } else { ms };
    let duration = match &mode.duration_ms[..] {
        [_] => measured_ms.round().to_string(),
        table => {
            let entries = table.iter().enumerate().map(|(at, (from, ms))| format!("\"{from}\": {}", value(at, *ms)));
            format!("{{ {} }}", entries.collect::<Vec<_>>().join(", "))
        }
    };
    format!("`{{ \"name\": \"{}\", \"duration_ms\": {duration} }}` in `modes`", mode.name)
}

impl Rule for SlowerThanDescribed<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _sink: &mut Sink) {
        let temperature_c = step.planned.temperature_c;
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
            let recorded = step.planned.step.recorded_update(index);
            let Some(duration_ms) = recorded.and_then(RecordedUpdate::duration_ms) else { continue };
            let mode = &self.plan.display.modes[update.mode];
            let entry = mode.duration_ms.iter().rposition(|(from, _)| *from <= temperature_c).unwrap_or(0);
            let measured = self.measured.entry((update.mode, entry)).or_insert_with(|| Measured {
                durations_ms: Vec::new(),
                described_ms: mode.duration_at(temperature_c),
                first: Where::of(step, StepField::Mode(index)),
                update: index,
            });
            measured.durations_ms.push(duration_ms);
            measured.first.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        for ((mode, entry), measured) in &self.measured {
            if let Some(observation) = self.observation(&self.plan.display.modes[*mode], *entry, measured) {
                sink.report(measured.first.clone(), observation);
            }
        }
    }
}
