//! `window-too-small`: a window below the smallest that the controller takes, once it is on the grid.

use super::{Rule, Setup, wording};
use crate::{
    change::{proposed_window, widened},
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, Update, WindowAsk},
};

/// Looks at every box that is sent.
#[derive(Clone)]
pub(super) struct WindowTooSmall<'p> {
    plan: &'p Plan,
}

impl<'p> WindowTooSmall<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl WindowTooSmall<'_> {
    /// The box of the plan that was sent like this, made as large as the controller takes; none for "changed", which is
    /// another box in every turn.
    fn corrections(&self, step: &PlayedStep<'_>, index: usize, update: &Update, sent: Rect) -> Vec<Correction> {
        let (display, rotation) = (&self.plan.display, self.plan.rotation);
        let (WindowAsk::Boxes(boxes), Some(rect)) = (&update.window, proposed_window(sent, display, rotation)) else {
            return Vec::new();
        };
        let are_it = boxes.iter().enumerate().filter(|(_, window)| widened(**window, display, rotation) == Some(sent));
        let correction = |(at, _)| {
            let at = (boxes.len() > 1).then_some(at);
            Correction::of(step, ChangeOf::Box { update: index, index: at, rect })
        };
        are_it.map(correction).collect()
    }
}

impl Rule for WindowTooSmall<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(grid) = self.plan.display.windows else { return };
        let asked = step.planned.step.listed_updates();
        for (index, (update, played)) in asked.iter().zip(&step.updates).enumerate() {
            if update.window == WindowAsk::All || !self.plan.display.modes[update.mode].windowed {
                continue;
            }
            for rect in &played.sent {
                let on_panel = self.plan.rotation.to_panel(rect.to_window(), self.plan.screen_size());
                let [width, height] = grid.smallest.map(i64::from);
                if on_panel.width >= width && on_panel.height >= height {
                    continue;
                }
                let observation = Observation {
                    update: Some(index),
                    rect: Some(*rect),
                    message: format!(
                        "the window {} is {} x {} px on the panel; the controller takes none smaller than {width} x \
                        {height} px",
                        wording::rect(*rect),
                        on_panel.width,
                        on_panel.height
                    ),
                    help: match proposed_window(*rect, &self.plan.display, self.plan.rotation) {
                        Some(large) => format!("use the window {} instead", wording::rect(large)),
                        None => format!("make it at least {width} x {height} px"),
                    },
                    figures: vec![("width_px", on_panel.width as f64), ("height_px", on_panel.height as f64)],
                    corrections: self.corrections(step, index, update, *rect),
                    key: wording::rect(*rect),
                    ..Observation::default()
                };
                sink.report(Where::of(step, StepField::Window(index, None)), observation);
            }
        }
    }
}
