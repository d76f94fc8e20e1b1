//! What a firmware may have meant by a window that misses what changed: numbers exchanged, or counted along the panel's own axes.
//!
//! Knows one window and one place; whether a step has time for it is not known here.

use crate::{
    geometry::{Rotation, Window},
    plan::Plan,
};

/// A window that would cover a place which the one that was asked for misses.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct MeantWindow {
    /// The window, on the screen.
    pub(crate) window: Window,
    /// What is wrong with the one that was asked for, in words that follow "because".
    pub(crate) why: String,
}

/// The window that may have been meant where a place was missed; `None` if the place was not missed, or nothing explains it.
pub(crate) fn meant_window(asked: Window, place: Window, plan: &Plan) -> Option<MeantWindow> {
    let swapped = Window { width: asked.height, height: asked.width, ..asked };
    let turned = plan.rotation.to_screen(asked, plan.screen_size());
    if asked.covers(place) {
        return None;
    }
    if swapped.covers(place) {
        return Some(MeantWindow { window: swapped, why: "width and height are exchanged".to_owned() });
    }
    (plan.rotation != Rotation::None && turned.covers(place)).then(|| MeantWindow {
        window: turned,
        why: format!(
            "it is given along the panel's own axes, against which the screen is turned by {} degrees",
            plan.rotation.degrees()
        ),
    })
}
