//! `stray-ink`: ink that the controller drew, that the picture in memory lacks, and that no commit redraws.

use super::{Rule, Setup, pen::is_commit, remedy, wording};
use crate::{
    change::{Mask, TileGrid, proposed_window},
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, Updates},
};

/// Follows the ink from the pen to the update that redraws it.
#[derive(Clone)]
pub(super) struct StrayInk<'p> {
    plan: &'p Plan,
    /// How long a commit may take to put right what it left at first, ms.
    settle_ms: f64,
    /// Ink of strokes that were not committed yet, and where the first of it was drawn.
    uncommitted: Mask,
    drawn: Option<Where>,
    /// Ink that a commit left, until it is too late for it.
    waiting: Vec<Waiting>,
    grid: Option<TileGrid>,
}

#[derive(Clone)]
struct Waiting {
    place: Where,
    deadline_ms: f64,
    pixels: Mask,
    missing: remedy::Missing,
}

impl<'p> StrayInk<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            settle_ms: setup.limits.left_behind.settle_ms.value,
            uncommitted: Mask::new(),
            drawn: None,
            waiting: Vec::new(),
            grid: None,
        }
    }

    fn tell_late(&mut self, now_ms: f64, sink: &mut Sink) {
        let late: Vec<Waiting> = self.waiting.extract_if(.., |waiting| waiting.deadline_ms < now_ms).collect();
        for waiting in late {
            self.tell(waiting.place, &waiting.pixels, Some(&waiting.missing), sink);
        }
    }

    fn tell(&self, place: Where, pixels: &Mask, committed: Option<&remedy::Missing>, sink: &mut Sink) {
        let display = &self.plan.display;
        let Some(rect) = self.grid.and_then(|grid| pixels.bounds(&grid)) else { return };
        let px = pixels.count();
        let (area, verb) = (wording::area(px, display), if px == 1 { "lies" } else { "lie" });
        let message = if committed.is_some() {
            format!(
                "{area} of the line under the pen {verb} outside the windows of the update that commits it (draws it from memory): the pen's own ink stays there"
            )
        } else {
            format!("{area} of the line under the pen are never committed: the picture in memory lacks them")
        };
        let help = match proposed_window(rect, display, self.plan.rotation) {
            Some(window) => format!(
                "add {} to the windows of the commit, or {}",
                wording::rect(window),
                wording::by_kind(self.plan, "use \"changed\"", "all that changed")
            ),
            None => "let the commit redraw the whole panel".to_owned(),
        };
        let figures = vec![("px", px as f64), ("mm2", display.area_mm2(px))];
        let corrections = committed.map_or_else(Vec::new, |missing| missing.corrections(rect, self.plan));
        sink.report(
            place,
            Observation { rect: Some(rect), message, help, figures, corrections, ..Observation::default() },
        );
    }

    /// Takes in the ink of a step that its own updates left.
    fn take(&mut self, step: &PlayedStep<'_>) {
        let planned = step.planned.step;
        // What the step's own screen changed and did not send is reported as left behind.
        let stray = step.pen_line.and(&step.left_behind).without(step.introduced);
        let commits = is_commit(step) && (!step.updates.is_empty() || step.planned.screen.is_some());
        if !commits {
            if !stray.is_empty() {
                self.uncommitted = self.uncommitted.or(&stray);
                self.drawn.get_or_insert_with(|| Where::of(step, StepField::Strokes)).last_step = step.planned.index;
            }
            return;
        }
        let place = self.drawn.take().map_or_else(
            || Where::of(step, if planned.strokes.is_empty() { StepField::Updates } else { StepField::Strokes }),
            |drawn| Where { last_step: step.planned.index, ..drawn },
        );
        let pixels = std::mem::take(&mut self.uncommitted).or(&stray);
        if !pixels.is_empty() {
            let missing = remedy::Missing::new(step, &pixels);
            let deadline_ms = step.updates_request_ms() + self.settle_ms;
            self.waiting.push(Waiting { place, deadline_ms, pixels, missing });
        }
    }
}

impl Rule for StrayInk<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.tell_late(step.updates_request_ms(), sink);
        for waiting in &mut self.waiting {
            waiting.pixels = waiting.pixels.and(&step.left_behind);
        }
        self.waiting.retain(|waiting| !waiting.pixels.is_empty());
        if !self.uncommitted.is_empty() {
            self.uncommitted = self.uncommitted.and(&step.left_behind);
            if self.uncommitted.is_empty() {
                self.drawn = None;
            }
        }
        if step.planned.step.updates != Updates::Choose {
            self.grid = Some(*step.grid());
            self.take(step);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell_late(f64::INFINITY, sink);
        if let Some(place) = self.drawn.take() {
            self.tell(place, &self.uncommitted, None, sink);
        }
    }
}
