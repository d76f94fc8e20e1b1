//! What happened at a place, step by step: what was drawn there, what was sent, and since when something stays.

use crate::{
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Cause, Plan},
};

/// A step that did something at the place.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its number, from 0.
    pub step: u64,
    /// Its label.
    pub label: Option<String>,
    /// When it was asked for, ms since the plan began.
    pub at_ms: f64,
    /// What caused it.
    pub cause: Cause,
    /// How warm it was, degrees C.
    pub temperature_c: f64,
    /// Pixels of the place that the new screen changes.
    pub drawn_px: u64,
    /// Pixels of the place that changed and that no update brought to the glass.
    pub left_px: u64,
    /// Pixels of the place that the controller drew under the pen.
    pub pen_px: u64,
    /// What was sent there.
    pub sent: Vec<SentHere>,
}

/// An update that was sent to the place.
#[derive(Clone, Debug, PartialEq)]
pub struct SentHere {
    /// The display's mode.
    pub mode: usize,
    /// Whether it sent all of the panel.
    pub is_whole: bool,
    /// The pixels that it sent, all together.
    pub sent_px: u64,
    /// The pixels that changed, all together.
    pub changed_px: u64,
    /// How many pixels of the place changed.
    pub changed_here_px: u64,
    /// How long it waited, ms.
    pub wait_ms: f64,
    /// From the request until something showed, ms.
    pub shows_after_ms: f64,
    /// From the request until it was complete, ms.
    pub ends_after_ms: f64,
    /// How long it was driven, ms.
    pub duration_ms: f64,
    /// Pixels of it of which the controller did not know what they show.
    pub unknown_px: u64,
    /// Whether the controller lost it.
    pub is_lost: bool,
}

/// Collects what happened.
pub(super) struct History {
    place: Rect,
    from_ms: f64,
    cleans: Vec<bool>,
    /// The events since then.
    pub(super) events: Vec<Event>,
    /// How many updates of the place came before them, since it was cleaned.
    pub(super) earlier_updates: u64,
    /// The step that cleaned all of the place last.
    pub(super) cleaned_by: Option<u64>,
    /// The step since which there has been a ghost, and its time, ms.
    pub(super) ghost_since: Option<(u64, f64)>,
}

impl History {
    pub(super) fn new(place: Rect, from_ms: f64, plan: &Plan) -> Self {
        Self {
            place,
            from_ms,
            cleans: plan.display.modes.iter().map(|mode| mode.cleans).collect(),
            events: Vec::new(),
            earlier_updates: 0,
            cleaned_by: None,
            ghost_since: None,
        }
    }

    pub(super) fn see(&mut self, step: &PlayedStep<'_>) {
        let (index, at_ms) = (step.planned.index, step.updates_request_ms());
        let event = self.event(step);
        if at_ms >= self.from_ms {
            self.events.extend(event.filter(Event::is_something));
        } else if let Some(event) = event {
            self.earlier_updates += event.sent.len() as u64;
        }
        let cleans = |update: &&PlayedUpdate| {
            self.cleans[update.mode] && update.sent.iter().any(|sent| sent.around(self.place) == *sent)
        };
        if step.updates.iter().any(|update| cleans(&update)) {
            self.cleaned_by = Some(index);
            // What came before is gone, except what is told of anyway.
            if at_ms < self.from_ms {
                self.earlier_updates = 0;
            }
        }
        let is_ghosted = step.ghosts.iter().any(|ghost| ghost.rect.overlaps(self.place));
        self.ghost_since = if is_ghosted { self.ghost_since.or(Some((index, at_ms))) } else { None };
    }

    fn event(&self, step: &PlayedStep<'_>) -> Option<Event> {
        let (place, grid) = ([self.place], step.grid());
        let here = |update: &&PlayedUpdate| update.sent.iter().any(|sent| sent.overlaps(self.place));
        let sent: Vec<SentHere> = step.updates.iter().filter(here).map(|update| self.sent_here(update, step)).collect();
        Some(Event {
            step: step.planned.index,
            label: step.planned.step.label.clone(),
            at_ms: step.updates_request_ms(),
            cause: step.planned.step.cause,
            temperature_c: step.planned.temperature_c,
            drawn_px: step.introduced.inside(&place, grid).count(),
            left_px: step.left_behind.and(step.introduced).inside(&place, grid).count(),
            pen_px: step.pen_line.inside(&place, grid).count(),
            sent,
        })
    }

    fn sent_here(&self, update: &PlayedUpdate, step: &PlayedStep<'_>) -> SentHere {
        let changed = step.changed.inside(&update.sent, step.grid()).inside(&[self.place], step.grid());
        let request_ms = step.updates_request_ms();
        SentHere {
            mode: update.mode,
            is_whole: update.sent_px == step.memory.size().pixels(),
            sent_px: update.sent_px,
            changed_px: update.changed_px,
            changed_here_px: changed.count(),
            wait_ms: update.times.wait_ms,
            shows_after_ms: update.first_visible_ms - request_ms,
            ends_after_ms: update.times.finish_ms - request_ms,
            duration_ms: update.duration_ms,
            unknown_px: update.unknown_px,
            is_lost: update.lost.is_some(),
        }
    }
}

impl Event {
    fn is_something(&self) -> bool {
        self.drawn_px > 0 || self.left_px > 0 || self.pen_px > 0 || !self.sent.is_empty()
    }
}
