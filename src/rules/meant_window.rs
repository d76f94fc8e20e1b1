//! What a firmware may have meant by a window that misses what changed: numbers exchanged, or counted along the panel's own axes.
//!
//! Knows one window and one place; whether a step has time for it is not known here.

use super::wording;
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
        let why = format!("width and height are exchanged: with {} it would cover it", wording::window(swapped));
        return Some(MeantWindow { window: swapped, why });
    }
    (plan.rotation != Rotation::None && turned.covers(place)).then(|| MeantWindow {
        window: turned,
        why: format!(
            "the window is given along the panel's own axes: on the screen, which is turned by {} degrees, it is {}",
            plan.rotation.degrees(),
            wording::window(turned)
        ),
    })
}
