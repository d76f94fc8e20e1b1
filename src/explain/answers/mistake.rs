//! What a firmware does wrongly with the numbers of a window, where that explains what is missing.

use crate::{
    explain::story_parts::{Mistake, Story},
    plan::{Plan, Update, WindowAsk},
    rules::{
        meant_window::{MeantWindow, meant_window},
        wording::window,
    },
};

/// What the firmware may have meant by a window that misses the place.
pub(in crate::explain) fn mistake(story: &Story, plan: &Plan) -> Option<Mistake> {
    let place = story.place.to_window();
    let boxes = |update: &Update| match &update.window {
        WindowAsk::Boxes(boxes) => boxes.clone(),
        _ => Vec::new(),
    };
    let left = story.events.iter().rev().find(|event| event.left_px > 0);
    let step = left.map_or(story.step, |event| event.step);
    plan.step_at(step)?.listed_updates().iter().flat_map(boxes).find_map(|asked| {
        let MeantWindow { window: meant, why } = meant_window(asked, place, plan)?;
        let why = format!(
            "the window {} misses the place because {why}: with {} it would cover it. One more box would bring this place to \
             the panel, but the mistake would stay in the firmware and cut the next picture",
            window(asked),
            window(meant)
        );
        Some(Mistake { step, asked, meant, why })
    })
}
