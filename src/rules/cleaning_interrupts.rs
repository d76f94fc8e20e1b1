//! `cleaning-interrupts`: a flashing cleaning while a person is at it.

use std::collections::BTreeMap;

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Remembers when a person asked for something last, and looks for the next pause.
#[derive(Clone)]
pub(super) struct CleaningInterrupts<'p> {
    plan: &'p Plan,
    quiet_ms: f64,
    /// When a person asked for something last, ms.
    asked_ms: Option<f64>,
    /// Findings that wait for the next pause, one for each field of the plan.
    waiting: BTreeMap<String, (Where, Observation)>,
    last: Option<(u64, f64)>,
}

impl<'p> CleaningInterrupts<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            quiet_ms: setup.limits.cleaning_interrupts.quiet_ms.value,
            plan: setup.plan,
            asked_ms: None,
            waiting: BTreeMap::new(),
            last: None,
        }
    }

    fn tell(&mut self, pause: &str, sink: &mut Sink) {
        for (place, observation) in std::mem::take(&mut self.waiting).into_values() {
            sink.report(place, Observation { help: format!("move it into a pause; {pause}"), ..observation });
        }
    }

    fn see(&mut self, step: &PlayedStep<'_>, asked_ms: f64) {
        let modes = &self.plan.display.modes;
        let request_ms = step.updates_request_ms();
        for (index, update) in step.updates.iter().enumerate() {
            let mode = &modes[update.mode];
            let after_ms = request_ms - asked_ms;
            if !mode.cleans || mode.flashes == 0 || update.sent.is_empty() || after_ms >= self.quiet_ms {
                continue;
            }
            let observation = Observation {
                update: Some(index),
                rect: update.sent_bounds(),
                message: format!(
                    "the cleaning `{}` flashes {} after a touch, key or pen: in the middle of what the person does",
                    mode.name,
                    wording::span(after_ms)
                ),
                figures: vec![("after_ms", after_ms), ("limit_ms", self.quiet_ms)],
                ..Observation::default()
            };
            let place = Where::of(step, StepField::Mode(index));
            let last_step = place.last_step;
            let (known, _) = self.waiting.entry(place.pointer.clone()).or_insert((place, observation));
            known.last_step = last_step;
        }
    }
}

impl Rule for CleaningInterrupts<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let request_ms = step.planned.request_ms;
        if let Some((index, ended_ms)) = self.last.filter(|(_, ended_ms)| request_ms - ended_ms >= self.quiet_ms) {
            let pause = format!("the next one, of {}, begins after step {index}", wording::span(request_ms - ended_ms));
            self.tell(&pause, sink);
        }
        let by_person = step.planned.step.cause.is_person();
        // The answer to a touch is no interruption of it: `needless-flash` looks at that.
        if let (Some(asked_ms), false) = (self.asked_ms, by_person) {
            self.see(step, asked_ms);
        }
        if by_person {
            self.asked_ms = Some(step.updates_request_ms());
        }
        self.last = Some((step.planned.index, step.updates_request_ms()));
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell("the plan has none after it but its end", sink);
    }
}
