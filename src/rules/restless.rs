//! `restless`: flashes that nobody asked for and nothing made due, again and again.

use std::collections::VecDeque;

use super::{
    Rule, Setup,
    due::Due,
    flash_weight::FlashWeight,
    pauses::{TEN_MINUTES_IN_AN_HOUR, TEN_MINUTES_MS, after_ms, later},
    remedy::has_turns,
    wording,
};
use crate::{
    display::Mode,
    finding::{Asks, ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Cause, Plan},
};

/// Counts them over any ten minutes.
#[derive(Clone)]
pub(super) struct Restless<'p> {
    plan: &'p Plan,
    per_hour: f64,
    /// What makes a cleaning due, in words.
    when_due: String,
    due: Due,
    weight: FlashWeight,
    /// When a person did something last, ms.
    person_ms: f64,
    /// Those of the last ten minutes.
    recent: VecDeque<Flash>,
    open: Option<Open>,
    reported: u64,
}

/// A flash that nothing asked for.
#[derive(Clone, Copy)]
struct Flash {
    at_ms: f64,
    /// How much of a flash it is, by its area.
    weight: f64,
}

/// Ten minutes with too many of them, and all that follow without a rest.
#[derive(Clone)]
struct Open {
    place: Where,
    most: Unrest,
    /// That the first step with too many comes later, where that is possible, and the same as a change of the plan.
    asks: Option<Asks>,
    corrections: Vec<Correction>,
    /// How many flashes are too many.
    steps: u64,
    /// Whether a mode without a flash would show each of them, or nothing is to be shown: then none needs a pace.
    is_avoidable: bool,
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

impl<'p> Restless<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            per_hour: setup.limits.restless.per_hour.value,
            when_due: wording::cleaning_is_due(setup.limits),
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
            !update.sent.is_empty()
                && modes[update.mode].flashes > 0
                && !self.due.is_due(step, update, self.plan)
                && !self.due.prevents_a_ghost(update, self.plan)
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

    /// How much later a step must come, so that its flash is not too many, ms; `None` if no time helps.
    fn later_ms(&self, now_ms: f64, weight: f64) -> Option<f64> {
        let allowed = self.per_hour / TEN_MINUTES_IN_AN_HOUR;
        let mut within = weight;
        // The newest that has to lie ten minutes back.
        let is_too_many = |flash: &&Flash| {
            within += flash.weight;
            within > allowed
        };
        let last = self.recent.iter().rev().find(is_too_many).filter(|_| weight <= allowed)?;
        Some(last.at_ms + TEN_MINUTES_MS - now_ms)
    }

    /// What a step is asked for whose flash is too many.
    fn asks_for(&self, step: &PlayedStep<'_>, weight: f64) -> (Option<Asks>, Vec<Correction>) {
        let planned = step.planned.step;
        let later_ms = self.later_ms(step.updates_request_ms(), weight);
        let later_ms = later_ms.filter(|_| !planned.cause.is_person() && !has_turns(planned));
        let Some(later_ms) = later_ms else { return (None, Vec::new()) };
        let ms = after_ms(planned.after_ms + later_ms);
        (Some(later(step, ms, self.plan)), vec![Correction::of(step, ChangeOf::AfterMs { ms })])
    }

    fn help(&self, open: &Open) -> String {
        let all_flash = self.plan.display.modes.iter().all(|mode| mode.flashes > 0);
        let allowed = (self.per_hour / TEN_MINUTES_IN_AN_HOUR).max(1.0).floor() as u64;
        let pace = match (&open.asks, open.steps, allowed) {
            (Some(asks), 1, _) => asks.words(),
            (Some(asks), _, 1) => format!("{}, and leave 10 minutes between the flashes after it too", asks.words()),
            (None, _, 1) => "send at most one such update in 10 minutes".to_owned(),
            (_, _, allowed) => format!("send at most {allowed} such updates in any 10 minutes"),
        };
        if all_flash {
            return format!("{pace}: this display has no mode without a flash");
        }
        let advice = format!("use a mode without a flash, and clean only when {}", self.when_due);
        match open.asks {
            None if open.is_avoidable => advice,
            _ => format!("{advice}; if the update has to flash all the same, {pace}"),
        }
    }

    /// Whether a mode without a flash would show what the flashing updates of a step change.
    fn is_avoidable(&self, step: &PlayedStep<'_>) -> bool {
        let modes = &self.plan.display.modes;
        let shows = |update: &PlayedUpdate| {
            let reaches = |mode: &Mode| {
                mode.flashes == 0 && update.changes_from.is_within(mode.from) && update.changes_to.is_within(mode.to)
            };
            update.changed_px == 0 || modes.iter().any(reaches)
        };
        step.updates.iter().filter(|update| modes[update.mode].flashes > 0).all(shows)
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some(open) = self.open.take() else { return };
        let help = self.help(&open);
        let Open { place, most: Unrest { flashes, weight }, asks, corrections, steps, .. } = open;
        // Whoever moves the first moves those after it, which stay as close to each other.
        let is_exact = steps == 1;
        let an_hour = TEN_MINUTES_IN_AN_HOUR * weight;
        let as_much_as = if weight < flashes as f64 {
            format!(" (counted by area, that is {} flashes)", wording::figure(weight))
        } else {
            String::new()
        };
        let observation = Observation {
            message: format!(
                "the panel flashes {flashes} times within ten minutes{as_much_as}, although nobody asked for it and no \
                 cleaning was due (flashes within ten seconds of each other count once); the limit is {} in ten minutes ({} per hour)",
                (self.per_hour / TEN_MINUTES_IN_AN_HOUR * 100.0).round() / 100.0,
                self.per_hour
            ),
            help,
            asks,
            corrections: if is_exact { corrections } else { Vec::new() },
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
        let (asks, corrections) =
            if weight > 0.0 && self.open.is_none() { self.asks_for(step, weight) } else { (None, Vec::new()) };
        if weight > 0.0 {
            self.add(Flash { at_ms: now_ms, weight });
        }
        let unrest = Unrest { flashes: self.recent.len(), weight: self.recent.iter().map(|flash| flash.weight).sum() };
        if unrest.weight * TEN_MINUTES_IN_AN_HOUR > self.per_hour {
            let place = || Where::of(step, StepField::Updates);
            let is_avoidable = self.is_avoidable(step);
            let new = || Open { place: place(), most: unrest, asks, corrections, steps: 0, is_avoidable };
            let open = self.open.get_or_insert_with(new);
            open.place.last_step = step.planned.index;
            open.is_avoidable &= is_avoidable;
            open.steps += u64::from(weight > 0.0);
            if unrest.weight > open.most.weight {
                open.most = unrest;
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
