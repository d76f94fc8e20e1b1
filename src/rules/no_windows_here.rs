//! `no-windows-here`: a window asked of a panel, or of a mode, that refreshes only the whole panel.

use super::{Rule, Setup, wording};
use crate::{
    finding::{ChangeOf, Correction, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every update that was refused its window.
#[derive(Clone)]
pub(super) struct NoWindowsHere<'p> {
    plan: &'p Plan,
}

impl<'p> NoWindowsHere<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for NoWindowsHere<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let display = &self.plan.display;
        let asked = step.planned.step.listed_updates();
        for (index, (update, played)) in
            asked.iter().zip(&step.updates).enumerate().filter(|(_, (_, played))| played.refused)
        {
            let mode = &display.modes[update.mode];
            let boxes = played.asked.iter().filter_map(|window| window.cut(self.plan.screen_size()));
            let rect = boxes.reduce(Rect::around);
            let asked_for = match &update.window {
                WindowAsk::Boxes(boxes) => {
                    boxes.iter().map(|window| wording::window(*window)).collect::<Vec<_>>().join(", ")
                }
                WindowAsk::All | WindowAsk::Changed => "\"changed\"".to_owned(),
            };
            let (who, other) = if display.windows.is_none() {
                (format!("the display `{}`", display.name), None)
            } else {
                let windowed: Vec<String> =
                    display.modes.iter().filter(|mode| mode.windowed).map(|mode| format!("`{}`", mode.name)).collect();
                (format!("the mode `{}`", mode.name), (!windowed.is_empty()).then(|| wording::one_of(&windowed)))
            };
            // Too much is driven then, but nobody reads anything wrong.
            let is_right = step.glass.unlike_memory().is_empty();
            let all_the_same = if is_right { "; the picture is right all the same" } else { "" };
            let observation = Observation {
                update: Some(index),
                rect,
                severity: is_right.then_some(Severity::Warning),
                message: format!(
                    "the {} asks for the window {asked_for}, but {who} refreshes only the whole panel{all_the_same}",
                    self.plan.kind().file_word()
                ),
                help: {
                    let all = wording::by_kind(self.plan, "write \"all\"", "update the whole panel");
                    other.map_or_else(
                        || format!("{all}, and expect the whole panel to be refreshed"),
                        |modes| format!("{all}, or use a mode that accepts windows: {modes}"),
                    )
                },
                corrections: vec![Correction::of(step, ChangeOf::Window { update: index, window: WindowAsk::All })],
                figures: vec![("sent_px", played.sent_px as f64)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Window(index, None)), observation);
        }
    }
}
