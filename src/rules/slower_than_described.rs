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
    /// By mode and by temperature, whole degrees C.
    measured: BTreeMap<(usize, i64), Measured>,
}

/// What was measured of a mode at a temperature.
#[derive(Clone)]
struct Measured {
    durations_ms: Vec<f64>,
    described_ms: f64,
    /// The entry of the mode's table of durations that the description has for it.
    entry: usize,
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

    /// By how much the middle of what was measured departs from the description, as a share of the longer one; nothing if
    /// it does not.
    fn departs(&self, measured: &Measured) -> Option<f64> {
        let (median_ms, described_ms) = (measured.median_ms()?, measured.described_ms);
        let is_slower = median_ms > described_ms * self.factor();
        let is_quicker = median_ms < (described_ms / self.factor()).min(described_ms * (1.0 - LEAST_SHARE));
        (is_slower || is_quicker).then(|| (median_ms - described_ms).abs() / median_ms.max(described_ms))
    }

    /// What departs of a mode, as one finding: of the temperature at which it departs most.
    fn of_mode(&self, mode: usize, all: &[(i64, &Measured)]) -> Option<(Where, Observation)> {
        let departing =
            || all.iter().filter_map(|(celsius, measured)| Some((self.departs(measured)?, *celsius, *measured)));
        let (_, celsius, measured) = departing().reduce(|one, other| if other.0 > one.0 { other } else { one })?;
        let others: Vec<String> =
            departing().filter(|other| other.1 != celsius).map(|other| other.1.to_string()).collect();
        let at = match (all.len(), others.as_slice()) {
            (1, _) => String::new(),
            (_, []) => format!(" at {celsius} C"),
            (_, others) => format!(" at {celsius} C (and departs at {} C too)", others.join(" C, ")),
        };
        let mode = &self.plan.display.modes[mode];
        let sorted = measured.sorted();
        let (median_ms, described_ms, count) = (median(&sorted)?, measured.described_ms, sorted.len() as u64);
        let observation = Observation {
            update: Some(measured.update),
            message: format!(
                "`{}` takes {} ms{at} on the device (median of {}, from {} to {} ms), but the description of `{}` says {} ms",
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
                fragment(mode, all)
            ),
            figures: vec![("median_ms", median_ms), ("described_ms", described_ms), ("count", count as f64)],
            ..Observation::default()
        };
        Some((measured.first.clone(), observation))
    }
}

impl Measured {
    fn sorted(&self) -> Vec<f64> {
        let mut sorted = self.durations_ms.clone();
        sorted.sort_by(f64::total_cmp);
        sorted
    }

    fn median_ms(&self) -> Option<f64> {
        median(&self.sorted())
    }
}

/// The part of a description that fits what was measured: at one temperature its own entry, at several all of them.
fn fragment(mode: &Mode, all: &[(i64, &Measured)]) -> String {
    let rounded = |measured: &Measured| measured.median_ms().unwrap_or(measured.described_ms).round();
    let table = |entries: Vec<String>| format!("{{ {} }}", entries.join(", "));
    let duration = match (all, &mode.duration_ms[..]) {
        ([(_, only)], [_]) => rounded(only).to_string(),
        ([(_, only)], described) => {
            let value = |at: usize, ms: f64| if at == only.entry { rounded(only) } else { ms };
            let entries =
                described.iter().enumerate().map(|(at, (from, ms))| format!("\"{from}\": {}", value(at, *ms)));
            table(entries.collect())
        }
        (several, _) => table(several.iter().map(|(celsius, of)| format!("\"{celsius}\": {}", rounded(of))).collect()),
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
            let celsius = temperature_c.round() as i64;
            let measured = self.measured.entry((update.mode, celsius)).or_insert_with(|| Measured {
                durations_ms: Vec::new(),
                entry,
                described_ms: mode.duration_at(temperature_c),
                first: Where::of(step, StepField::Mode(index)),
                update: index,
            });
            measured.durations_ms.push(duration_ms);
            measured.first.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        for mode in 0..self.plan.display.modes.len() {
            let all: Vec<(i64, &Measured)> = self
                .measured
                .range((mode, i64::MIN)..=(mode, i64::MAX))
                .map(|((_, celsius), of)| (*celsius, of))
                .collect();
            if let Some((place, observation)) = self.of_mode(mode, &all) {
                sink.report(place, observation);
            }
        }
    }
}
