//! `left-behind`: pixels that a step changed in memory and that no window brings to the glass in time.

use super::{Rule, Setup, remedy, wording};
use crate::{
    change::Mask,
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, Updates},
};

/// Waits for a later update of what a step left behind.
#[derive(Clone)]
pub(super) struct LeftBehind<'p> {
    plan: &'p Plan,
    settle_ms: f64,
    waiting: Vec<Waiting>,
}

#[derive(Clone)]
struct Waiting {
    place: Where,
    deadline_ms: f64,
    pixels: Mask,
    /// What brings them to the glass, and in which modes it can.
    missing: remedy::Missing,
    rect_of: crate::change::TileGrid,
}

impl<'p> LeftBehind<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { settle_ms: setup.limits.left_behind.settle_ms.value, plan: setup.plan, waiting: Vec::new() }
    }

    fn tell(&self, waiting: Waiting, sink: &mut Sink) {
        let Some(rect) = waiting.pixels.bounds(&waiting.rect_of) else { return };
        let pixels = waiting.pixels.count();
        let display = &self.plan.display;
        let observation = Observation {
            rect: Some(rect),
            message: format!(
                "{} change in memory, but no window covers them: the old picture stays there",
                wording::area(pixels, display)
            ),
            help: remedy::update_of(rect, self.plan),
            corrections: waiting.missing.corrections(rect, self.plan),
            figures: vec![("px", pixels as f64), ("mm2", display.area_mm2(pixels))],
            ..Observation::default()
        };
        sink.report(waiting.place, observation);
    }

    fn tell_late(&mut self, now_ms: f64, sink: &mut Sink) {
        let late: Vec<Waiting> = self.waiting.extract_if(.., |waiting| waiting.deadline_ms < now_ms).collect();
        for waiting in late {
            self.tell(waiting, sink);
        }
    }
}

impl Rule for LeftBehind<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.tell_late(step.updates_request_ms(), sink);
        for waiting in &mut self.waiting {
            waiting.pixels = waiting.pixels.and(&step.left_behind).without(step.introduced);
        }
        self.waiting.retain(|waiting| !waiting.pixels.is_empty());
        if step.left_behind.is_empty() || step.planned.step.updates == Updates::Choose {
            return;
        }
        let pixels = step.left_behind.and(step.introduced);
        if !pixels.is_empty() {
            let deadline_ms = step.updates_request_ms() + self.settle_ms;
            self.waiting.push(Waiting {
                place: Where::of(step, StepField::Screen),
                deadline_ms,
                missing: remedy::Missing::new(step, &pixels),
                pixels,
                rect_of: *step.grid(),
            });
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell_late(f64::INFINITY, sink);
    }
}
