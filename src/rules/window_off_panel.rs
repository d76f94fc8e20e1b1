//! `window-off-panel`: a window that leaves the panel.

use super::{Rule, Setup, wording};
use crate::{
    change::widened,
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every window that the plan writes down.
#[derive(Clone)]
pub(super) struct WindowOffPanel<'p> {
    plan: &'p Plan,
}

impl<'p> WindowOffPanel<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for WindowOffPanel<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let size = self.plan.screen_size();
        for (index, update) in step.planned.step.listed_updates().iter().enumerate() {
            let WindowAsk::Boxes(boxes) = &update.window else { continue };
            for (at, window) in boxes.iter().enumerate().filter(|(_, window)| window.leaves(size)) {
                let cut = window.cut(size);
                let index_in_list = (boxes.len() > 1).then_some(at);
                let takes_windows =
                    self.plan.display.windows.is_some() && self.plan.display.modes[update.mode].windowed;
                let sent = if takes_windows { widened(*window, &self.plan.display, self.plan.rotation) } else { cut };
                let change = match (sent, index_in_list) {
                    (Some(rect), at) => ChangeOf::Box { update: index, index: at, rect },
                    (None, Some(at)) => ChangeOf::RemoveBox { update: index, index: at },
                    (None, None) => ChangeOf::RemoveUpdate { update: index },
                };
                let (what, help) = match cut {
                    Some(cut) => ("is cut at its edge", format!("write {}", wording::rect(cut))),
                    None => ("sends nothing", "move it onto the panel, or remove it".to_owned()),
                };
                let observation = Observation {
                    update: Some(index),
                    rect: cut,
                    message: format!(
                        "the window {} extends beyond the panel of {size} px and {what}",
                        wording::window(*window)
                    ),
                    help,
                    corrections: vec![Correction::of(step, change)],
                    key: wording::window(*window),
                    ..Observation::default()
                };
                sink.report(Where::of(step, StepField::Window(index, index_in_list)), observation);
            }
        }
    }
}
