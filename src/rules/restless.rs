//! `restless`: flashes that nobody asked for and nothing made due, again and again.

use std::collections::VecDeque;

use super::{Rule, Setup, due::Due, flash_weight::FlashWeight, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Cause, Plan},
};

/// Counts them over any ten minutes.
#[derive(Clone)]
pub(super) struct Restless<'p> {
    plan: &'p Plan,
    per_hour: f64,
    /// Whose limit makes a cleaning due, in words.
    whose: &'static str,
    due: Due,
    weight: FlashWeight,
    /// When a person did something last, ms.
    person_ms: f64,
    /// Those of the last ten minutes.
    recent: VecDeque<Flash>,
    open: Option<(Where, Unrest)>,
    reported: u64,
}

/// A flash that nothing asked for.
#[derive(Clone, Copy)]
struct Flash {
    at_ms: f64,
    /// How much of a flash it is, by its area.
    weight: f64,
}

/// What ten minutes hold.
#[derive(Clone, Copy)]
struct Unrest {
    flashes: usize,
    /// How many flashes of a large area they are as much as.
    weight: f64,
}

/// Flashes that follow each other within this time disturb once. Common practice, no source.
const TOGETHER_MS: f64 = 10_000.0;
/// What follows a person's step within this time still belongs to it: quick at once, grey soon after. Common practice, no
/// source.
const SETTLES_MS: f64 = 2000.0;
const TEN_MINUTES_MS: f64 = 600_000.0;
const TEN_MINUTES_IN_AN_HOUR: f64 = 6.0;

impl<'p> Restless<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            per_hour: setup.limits.restless.per_hour.value,
            whose: Due::whose(setup.limits),
            due: Due::new(setup.plan),
            weight: FlashWeight::new(setup.plan),
            plan: setup.plan,
            person_ms: f64::NEG_INFINITY,
            recent: VecDeque::new(),
            open: None,
            reported: 0,
        }
    }

    /// How much of a flash a step is that nothing made due.
    fn weight_of(&self, step: &PlayedStep<'_>) -> f64 {
        let modes = &self.plan.display.modes;
        let is_undue = |update: &&PlayedUpdate| {
            !update.sent.is_empty() && modes[update.mode].flashes > 0 && !self.due.is_due(step, update, self.plan)
        };
        let flashing_px = step.updates.iter().filter(is_undue).map(|update| update.sent_px).sum();
        self.weight.of(self.plan.display.area_mm2(flashing_px))
    }

    fn add(&mut self, flash: Flash) {
        match self.recent.back_mut().filter(|last| flash.at_ms - last.at_ms < TOGETHER_MS) {
            Some(last) => last.weight = last.weight.max(flash.weight),
            None => self.recent.push_back(flash),
        }
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some((place, Unrest { flashes, weight })) = self.open.take() else { return };
        let an_hour = TEN_MINUTES_IN_AN_HOUR * weight;
        let as_much_as = if weight < flashes as f64 {
            format!(" (by area as much as {} large flashes)", wording::figure(weight))
        } else {
            String::new()
        };
        let observation = Observation {
            message: format!(
                "the panel flashes {flashes} times within ten minutes{as_much_as}, although nobody asked for it and no \
                 cleaning was due; the limit is {} in ten minutes ({} per hour)",
                (self.per_hour / TEN_MINUTES_IN_AN_HOUR * 100.0).round() / 100.0,
                self.per_hour
            ),
            help: format!(
                "{}, and clean only when {} limit or a visible ghost requires it",
                if self.plan.display.modes.iter().all(|mode| mode.flashes > 0) {
                    "update less often, because every mode of this display flashes"
                } else {
                    "use a mode without a flash"
                },
                self.whose
            ),
            figures: vec![("per_hour", an_hour), ("limit_per_hour", self.per_hour), ("flashes", flashes as f64)],
            key: self.reported.to_string(),
            ..Observation::default()
        };
        self.reported += 1;
        sink.report(place, observation);
    }
}

impl Rule for Restless<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now_ms = step.updates_request_ms();
        let cause = step.planned.step.cause;
        let asked = matches!(cause, Cause::Touch | Cause::Key) || now_ms - self.person_ms < SETTLES_MS;
        if cause.is_person() {
            self.person_ms = now_ms;
        }
        while self.recent.front().is_some_and(|flash| now_ms - flash.at_ms >= TEN_MINUTES_MS) {
            self.recent.pop_front();
        }
        let weight = if asked { 0.0 } else { self.weight_of(step) };
        if weight > 0.0 {
            self.add(Flash { at_ms: now_ms, weight });
        }
        let unrest = Unrest { flashes: self.recent.len(), weight: self.recent.iter().map(|flash| flash.weight).sum() };
        if unrest.weight * TEN_MINUTES_IN_AN_HOUR > self.per_hour {
            let (place, most) = self.open.get_or_insert_with(|| (Where::of(step, StepField::Updates), unrest));
            place.last_step = step.planned.index;
            if unrest.weight > most.weight {
                *most = unrest;
            }
        } else {
            self.close(sink);
        }
        self.due.after(step, self.plan);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
