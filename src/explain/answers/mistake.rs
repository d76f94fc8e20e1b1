//! What a firmware does wrongly with the numbers of a window, where that explains what is missing.

use crate::{
    explain::story_parts::{Mistake, Story, covers},
    geometry::{Rotation, Window},
    plan::{Plan, Update, WindowAsk},
    rules::wording::window,
};

/// What the firmware may have meant by a window that misses the place.
pub(in crate::explain) fn meant_window(story: &Story, plan: &Plan) -> Option<Mistake> {
    let (screen, place) = (plan.screen_size(), story.place.to_window());
    let boxes = |update: &Update| match &update.window {
        WindowAsk::Boxes(boxes) => boxes.clone(),
        _ => Vec::new(),
    };
    plan.step_at(story.step)?.listed_updates().iter().flat_map(boxes).find_map(|asked| {
        let swapped = Window { width: asked.height, height: asked.width, ..asked };
        let turned = plan.rotation.to_screen(asked, screen);
        let is_turned = plan.rotation != Rotation::None;
        let (meant, why) = if covers(asked, place) {
            return None;
        } else if covers(swapped, place) {
            let with = window(swapped);
            (swapped, format!("width and height are exchanged: with {with} it would cover it"))
        } else if is_turned && covers(turned, place) {
            let on_screen = format!(
                "the window is given along the panel's own axes: on the screen, which is turned by {} degrees, it is {}",
                plan.rotation.degrees(),
                window(turned)
            );
            (turned, on_screen)
        } else {
            return None;
        };
        let why = format!(
            "the window {} misses the place because {why}. One more box would bring this place to the panel, but the mistake \
             would stay in the firmware and cut the next picture",
            window(asked)
        );
        Some(Mistake { asked, meant, why })
    })
}
