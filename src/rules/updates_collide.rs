//! `updates-collide`: an update that waits for another one, for a place in the controller, or for the link.

use super::{
    Rule, Setup,
    pauses::{after_ms, later},
    wording,
};
use crate::{
    finding::{Asks, Figure, Margin, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate, WaitsFor},
    plan::{Plan, RecordedUpdate},
};

/// Times that differ by less are the same: a device's clock counts in other units than the model.
const SAME_MS: f64 = 1e-6;

/// Looks at the waiting of every update.
#[derive(Clone)]
pub(super) struct UpdatesCollide<'p> {
    plan: &'p Plan,
    wait_ms: f64,
    /// When the updates end that ran at the last request, ms.
    ends_ms: Vec<f64>,
}

impl<'p> UpdatesCollide<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { wait_ms: setup.limits.updates_collide.wait_ms.value, plan: setup.plan, ends_ms: Vec::new() }
    }

    /// What is said of an update that waits, with so many others asked for earlier that still have to end.
    fn observation(&self, step: &PlayedStep<'_>, index: usize, ahead: usize) -> Observation {
        let update = &step.updates[index];
        let display = &self.plan.display;
        let wait = wording::ms(update.times.wait_ms);
        let is_alone = step.updates[..index].iter().all(|earlier| earlier.sent.is_empty());
        let own_ms = after_ms(step.planned.step.after_ms + update.times.wait_ms);
        let asks = (is_alone && !step.planned.step.cause.is_person()).then(|| later(step, own_ms, self.plan));
        // A person cannot be asked to come later.
        let is_queue = ahead > 1 && update.times.waits_for == WaitsFor::Link && display.link.waits_for_panel;
        let later = if step.planned.step.cause.is_person() {
            let earlier = if is_queue {
                "s end sooner, with quicker modes, or send fewer"
            } else {
                " end sooner, with a quicker mode"
            };
            format!("let the earlier update{earlier}")
        } else {
            let own_step = || format!("request it {wait} ms later, in a step of its own");
            asks.as_ref().map_or_else(own_step, Asks::words)
        };
        // Only what is in memory at the same time, and goes in the same mode, can be one update.
        let is_alike = |earlier: &PlayedUpdate| earlier.mode == update.mode && !earlier.sent.is_empty();
        let join = if step.updates[..index].iter().any(is_alike) {
            format!("add its boxes to the `{}` update before it, or ", display.modes[update.mode].name)
        } else {
            String::new()
        };
        let is_measured = step.planned.step.recorded_update(index).is_some_and(RecordedUpdate::has_times);
        // Only a device can begin late for no reason that is known; what is played waits for something.
        let waits_for = match update.times.waits_for {
            WaitsFor::Nothing if !is_measured => WaitsFor::Link,
            known => known,
        };
        let reason = if is_queue {
            format!("for the controller, which takes one update at a time and has {ahead} others to finish first")
        } else {
            wording::waits_for(waits_for, display)
        };
        let is_of_a_person = is_alone && step.planned.step.cause.is_person();
        let input = if is_of_a_person { wording::input_of_flow(self.plan) } else { "" };
        let help = match waits_for {
            WaitsFor::Nothing => {
                "look at what the device does between the request and the start of the update".to_owned()
            }
            WaitsFor::Overlap => format!("{later}, or choose windows that do not overlap{input}"),
            WaitsFor::Link if !display.link.waits_for_panel => {
                "send smaller windows before it, or put this update first".to_owned()
            }
            WaitsFor::Place | WaitsFor::Link => format!("{join}{later}{input}"),
        };
        // A link that carries while the panel is driven is busy for as long as its own figures say.
        let by_link = update.times.waits_for == WaitsFor::Link && !display.link.waits_for_panel;
        let margin = Margin::of(Figure::Durations, update.times.wait_ms, self.wait_ms, display);
        Observation {
            margin: margin.filter(|_| !by_link),
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!("`{}` waits {wait} ms {reason}", display.modes[update.mode].name),
            asks: asks.filter(|asks| help.contains(&asks.words())),
            help,
            figures: vec![("wait_ms", update.times.wait_ms), ("limit_ms", self.wait_ms)],
            ..Observation::default()
        }
    }
}

/// Whether an update follows an earlier one of its step over the same place in another mode, drives something there, and waits
/// for that one alone: quick now, and clean right after it, was asked for just so.
fn settles(update: &PlayedUpdate, earlier: &[PlayedUpdate]) -> bool {
    let over = |one: &PlayedUpdate| update.sent.iter().any(|rect| one.sent.iter().any(|other| rect.overlaps(*other)));
    earlier.iter().any(|one| {
        update.driven_px > 0
            && one.mode != update.mode
            && over(one)
            && update.times.start_ms <= one.times.finish_ms + update.times.transfer_ms + SAME_MS
    })
}

/// Whether an update waits for nothing but the ink of its own step, drawn without a wait: the line stands already, and
/// every commit follows it.
fn follows_the_pen(update: &PlayedUpdate, step: &PlayedStep<'_>, delay_ms: f64) -> bool {
    let pieces = step.strokes.iter().flat_map(|stroke| &stroke.pieces);
    let on_time = pieces.map(|piece| piece.pen_ms + delay_ms + piece.finish_ms - piece.start_ms);
    on_time
        .reduce(f64::max)
        .is_some_and(|drawn_ms| update.times.start_ms <= drawn_ms + update.times.transfer_ms + SAME_MS)
}

impl Rule for UpdatesCollide<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let delay_ms = self.plan.display.controller_ink_delay_ms.unwrap_or(0.0);
        let now_ms = step.updates_request_ms();
        self.ends_ms.retain(|end_ms| *end_ms > now_ms);
        for (index, update) in step.updates.iter().enumerate() {
            let ahead = self.ends_ms.len();
            self.ends_ms
                .extend((update.times.finish_ms > now_ms && !update.sent.is_empty()).then_some(update.times.finish_ms));
            if follows_the_pen(update, step, delay_ms) || settles(update, &step.updates[..index]) {
                continue;
            }
            if update.times.wait_ms > self.wait_ms + SAME_MS {
                sink.report(Where::of(step, StepField::Mode(index)), self.observation(step, index, ahead));
            }
        }
    }
}
