//! About what appears in the wrong place: windows, their grid, and how the screens are turned.

use super::about::About;
use crate::{
    explain::happened::Event,
    geometry::{Rotation, Window},
    plan::{Update, WindowAsk},
    rules::wording::window,
};

impl About<'_> {
    pub(super) fn shifted(&self) -> Vec<String> {
        let mut answers = self.older();
        if self.story.older_px > 0 {
            let nothing =
                format!("nothing is shifted here by this {}: a part of the place was not updated", self.kind());
            answers.insert(0, nothing);
        }
        answers.extend(self.story.mistake.as_ref().map(|mistake| mistake.why.clone()));
        let off_grid = self.off_grid();
        if answers.is_empty() {
            answers.push(self.nothing_shifted(off_grid.is_some()));
        }
        answers.extend(off_grid.or_else(|| self.grid()));
        if self.plan.rotation == Rotation::None {
            answers.push(format!(
                "this {} does not turn its screens: if the panel is built in turned, set `rotation`{}, so that windows and \
                 grid are checked along the panel's own axes",
                self.kind(),
                if self.is_trace() { " in its header" } else { "" }
            ));
        }
        answers.extend(self.assumed_to_wait().filter(|_| self.story.waited.is_some()));
        answers
    }

    /// That nothing is shifted as far as the model goes.
    fn nothing_shifted(&self, but: bool) -> String {
        let wrong = self.story.unreached_px + self.story.inked_px;
        let (kind, shows) = (
            self.kind(),
            if wrong > 0 { "what reached it is in its place" } else { "the place shows what memory holds" },
        );
        let but = if but { ", as long as the firmware rounds its windows" } else { "" };
        format!("by this {kind} nothing is shifted or cut off here: {shows}{but}")
    }

    /// A window of the plan itself that does not lie on the controller's grid.
    fn off_grid(&self) -> Option<String> {
        let boxes = |update: &Update| match &update.window {
            WindowAsk::Boxes(boxes) => boxes.clone(),
            _ => Vec::new(),
        };
        let of_event = |event: &Event| {
            let step = self.plan.step_at(event.step)?;
            let asked: Vec<Window> = step.listed_updates().iter().flat_map(boxes).collect();
            let taken = event.sent.iter().filter(|sent| !sent.is_whole && !sent.is_lost);
            let sent: Vec<Window> = taken.flat_map(|sent| &sent.sent).map(|sent| sent.to_window()).collect();
            asked.into_iter().find_map(|asked| {
                let widened = sent.iter().find(|sent| sent.covers(asked)).copied()?;
                (widened != asked).then(|| self.one_off_grid(event, asked, widened))
            })
        };
        self.story.events.iter().rev().find_map(of_event)
    }

    fn one_off_grid(&self, event: &Event, asked: Window, widened: Window) -> String {
        let off = [
            asked.x - widened.x,
            asked.y - widened.y,
            widened.x + widened.width - asked.x - asked.width,
            widened.y + widened.height - asked.y - asked.height,
        ];
        format!(
            "{} sends the window {}, whose edges lie up to {} px off the grid of this controller. This story takes it that the \
             firmware widens it to {}. If the firmware sends it as it is, the picture is cut or shifted by so many pixels",
            self.name(event),
            window(asked),
            off.into_iter().max().unwrap_or(0),
            window(widened)
        )
    }

    /// The grid of the controller's windows as it lies on the screen.
    fn grid(&self) -> Option<String> {
        let [columns, rows] = self.plan.display.windows.as_ref()?.step;
        let (rotation, screen) = (self.plan.rotation, self.plan.screen_size());
        // Where the panel's own left upper corner is on the screen.
        let corner = rotation.to_screen(Window { x: 0, y: 0, width: 1, height: 1 }, screen);
        let is_upright = matches!(rotation, Rotation::None | Rotation::Half);
        let [across, down] = if is_upright { [columns, rows] } else { [rows, columns] };
        let [side, end] = [if corner.x == 0 { "left" } else { "right" }, if corner.y == 0 { "upper" } else { "lower" }];
        let multiples = match (across > 1, down > 1) {
            (false, false) => return None,
            (true, false) => format!("{across} px from the {side} edge of the screen"),
            (false, true) => format!("{down} px from the {end} edge of the screen"),
            (true, true) => format!("{across} px from the {side} edge of the screen and {down} px from its {end} edge"),
        };
        let turned = match rotation {
            Rotation::None => String::new(),
            turned => format!(" (the screens are turned by {} degrees against the panel)", turned.degrees()),
        };
        Some(format!(
            "one more thing to check in the firmware: this controller takes windows only at multiples of {multiples}{turned}. If \
             the firmware sends any other window without rounding it, the picture is cut or shifted by up to {} px",
            columns.max(rows) - 1
        ))
    }
}
