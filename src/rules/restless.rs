//! `restless`: flashes that nobody asked for and nothing made due, again and again.

use std::collections::VecDeque;

use super::{Rule, Setup, due::Due, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
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
    /// When a person did something last, ms.
    person_ms: f64,
    /// When those of the last ten minutes were, ms.
    recent: VecDeque<f64>,
    open: Option<(Where, usize)>,
    told: u64,
}

/// Flashes that follow each other within this time disturb once. Common practice, no source.
const TOGETHER_MS: f64 = 10_000.0;
/// What follows a person's step within this time still belongs to it: quick at once, grey soon after. Common practice, no
/// source.
const SETTLES_MS: f64 = 2000.0;
const TEN_MINUTES_MS: f64 = 600_000.0;

impl<'p> Restless<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            per_hour: setup.limits.restless.per_hour.value,
            whose: Due::whose(setup.limits),
            due: Due::new(setup.plan),
            plan: setup.plan,
            person_ms: f64::NEG_INFINITY,
            recent: VecDeque::new(),
            open: None,
            told: 0,
        }
    }

    fn close(&mut self, sink: &mut Sink) {
        let Some((place, most)) = self.open.take() else { return };
        let an_hour = 6 * most;
        let observation = Observation {
            message: format!(
                "the panel flashes {most} times in ten minutes ({an_hour} an hour), which nobody asked for and nothing made due: {} \
                 an hour are bearable",
                wording::ms(self.per_hour)
            ),
            help: format!("use a mode without a flash, and clean when {} limit or a ghost asks for it", self.whose),
            figures: vec![("per_hour", an_hour as f64), ("limit_per_hour", self.per_hour)],
            key: self.told.to_string(),
            ..Observation::default()
        };
        self.told += 1;
        sink.report(place, observation);
    }
}

impl Rule for Restless<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let modes = &self.plan.display.modes;
        let now_ms = step.updates_request_ms();
        let cause = step.planned.step.cause;
        let asked = matches!(cause, Cause::Touch | Cause::Key) || now_ms - self.person_ms < SETTLES_MS;
        if cause.is_person() {
            self.person_ms = now_ms;
        }
        while self.recent.front().is_some_and(|at_ms| now_ms - at_ms >= TEN_MINUTES_MS) {
            self.recent.pop_front();
        }
        let flashes = step.updates.iter().any(|update| !update.sent.is_empty() && modes[update.mode].flashes > 0);
        let is_new = self.recent.back().is_none_or(|at_ms| now_ms - at_ms >= TOGETHER_MS);
        if flashes && is_new && !asked && !self.due.is_due(step, self.plan) {
            self.recent.push_back(now_ms);
        }
        let most = self.recent.len();
        if most as f64 * 6.0 > self.per_hour {
            let (place, known) = self.open.get_or_insert_with(|| (Where::of(step, StepField::Updates), most));
            place.last_step = step.planned.index;
            *known = (*known).max(most);
        } else {
            self.close(sink);
        }
        self.due.after(step, self.plan);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.close(sink);
    }
}
