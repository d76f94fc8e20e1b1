//! `window-off-grid`: a window that the controller widens to its grid.

use std::collections::BTreeMap;

use super::{Rule, Setup, wording};
use crate::{
    change::widened,
    finding::{Change, ChangeOf, Correction, Observation, Severity, Sink, StepField, Where},
    geometry::{Rect, Window},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, WindowAsk},
};

/// Collects every distinct window, and by how much it drives its neighbourhood along at the worst.
#[derive(Clone)]
pub(super) struct WindowOffGrid<'p> {
    plan: &'p Plan,
    seen: BTreeMap<Window, Seen>,
}

#[derive(Clone)]
struct Seen {
    place: Where,
    update: usize,
    cut: Rect,
    sent: Rect,
    beside_px: u64,
    /// Whether those may be beside other windows of the update as well.
    is_sum: bool,
    /// Every place where the plan asks for it.
    changes: Vec<Change>,
}

impl<'p> WindowOffGrid<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, seen: BTreeMap::new() }
    }

    fn look(&mut self, step: &PlayedStep<'_>, index: usize, played: &PlayedUpdate, boxes: &[Window]) {
        for (at, window) in boxes.iter().enumerate() {
            let (Some(cut), Some(sent)) =
                (window.cut(self.plan.screen_size()), widened(*window, &self.plan.display, self.plan.rotation))
            else {
                continue;
            };
            if cut == sent {
                continue;
            }
            let at = (boxes.len() > 1).then_some(at);
            let field = StepField::Window(index, at);
            let what = ChangeOf::Box { update: index, index: at, rect: sent };
            let change = Change { step: step.planned.step.pointer.clone(), what };
            let place = Where::of(step, field);
            // Of several windows of an update only the sum is known.
            let around_px = sent.pixels().saturating_sub(cut.pixels());
            let beside_px = played.driven_beside_px.min(around_px);
            let seen = self.seen.entry(*window).or_insert_with(|| Seen {
                place,
                update: index,
                cut,
                sent,
                beside_px: 0,
                is_sum: false,
                changes: Vec::new(),
            });
            seen.beside_px = seen.beside_px.max(beside_px);
            seen.is_sum |= boxes.len() > 1;
            seen.place.last_step = step.planned.index;
            if !seen.changes.contains(&change) {
                seen.changes.push(change);
            }
        }
    }
}

impl Rule for WindowOffGrid<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if self.plan.display.windows.is_none() {
            return;
        }
        let asked = step.planned.step.listed_updates();
        for (index, (update, played)) in asked.iter().zip(&step.updates).enumerate() {
            if let (WindowAsk::Boxes(boxes), true) = (&update.window, self.plan.display.modes[update.mode].windowed) {
                self.look(step, index, played, boxes);
            }
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        let Some(grid) = self.plan.display.windows else { return };
        for (window, seen) in std::mem::take(&mut self.seen) {
            let along = if seen.beside_px == 0 {
                "nothing changes in the part that is added, so no extra pixels are driven".to_owned()
            } else {
                let most = if seen.is_sum { "up to " } else { "" };
                format!("{most}{} beside it are driven too", wording::area(seen.beside_px, &self.plan.display))
            };
            let observation = Observation {
                update: Some(seen.update),
                rect: Some(seen.cut),
                message: format!(
                    "the window {} is not on the controller's grid of {} x {} px: it is widened to {}, and {along}",
                    wording::window(window),
                    grid.step[0],
                    grid.step[1],
                    wording::rect(seen.sent)
                ),
                help: format!("write {}, or move what changes onto the grid", wording::rect(seen.sent)),
                figures: vec![("beside_px", seen.beside_px as f64)],
                corrections: vec![Correction { changes: seen.changes }],
                key: wording::window(window),
                margin: None,
                severity: (seen.beside_px == 0).then_some(Severity::Note),
                ..Observation::default()
            };
            sink.report(seen.place, observation);
        }
    }
}
