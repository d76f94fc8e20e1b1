//! From the window that a plan asks for to the boxes that are sent. Boxes are in screen coordinates; only the grid is the
//! panel's, so a box is turned to the panel's axes, widened and cut there, and turned back.

use super::geometry::{Mask, Rect, Size, tight_box};
use super::reading::{Display, Mode, Window};

/// What an update asks for and what it sends. Both are empty where nothing is sent.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Boxes {
    pub(crate) asked: Vec<Rect>,
    pub(crate) sent: Vec<Rect>,
}

/// `differs`: the pixels whose nominal level is not the one in memory, just before the update.
pub(crate) fn boxes(display: &Display, rotation: i64, mode: &Mode, window: &Window, differs: &Mask) -> Boxes {
    let screen = screen_size(display.size, rotation);
    let asked = match window {
        Window::All => vec![Rect::whole(screen)],
        Window::Changed => tight_box(screen, differs).into_iter().collect(),
        Window::Boxes(list) => list.clone(),
    };
    let on_panel: Vec<Rect> = asked.iter().copied().filter(|b| touches(*b, screen)).collect();
    if on_panel.is_empty() {
        return Boxes::default();
    }
    let sent = match display.grid_step {
        Some(step) if mode.windowed => on_panel.iter().map(|b| widened(*b, step, display.size, rotation)).collect(),
        _ => vec![Rect::whole(screen)],
    };
    Boxes { asked, sent }
}

/// The panel as the reader sees it.
pub(crate) fn screen_size(panel: Size, rotation: i64) -> Size {
    if rotation == 90 || rotation == 270 { panel.turned() } else { panel }
}

/// Widened outward to the grid on the panel's own axes, then cut at the panel's edge.
pub(crate) fn widened(window: Rect, step: (i64, i64), panel: Size, rotation: i64) -> Rect {
    let screen = screen_size(panel, rotation);
    let on_axes = turned(window, screen, rotation);
    let left = (on_axes.x.div_euclid(step.0) * step.0).max(0);
    let top = (on_axes.y.div_euclid(step.1) * step.1).max(0);
    let right = (up(on_axes.x + on_axes.w, step.0)).min(panel.w);
    let bottom = (up(on_axes.y + on_axes.h, step.1)).min(panel.h);
    turned(Rect { x: left, y: top, w: right - left, h: bottom - top }, panel, (360 - rotation) % 360)
}

/// A box of a picture of that size, after the picture is turned clockwise by so many degrees.
pub(crate) fn turned(b: Rect, picture: Size, degrees: i64) -> Rect {
    match degrees {
        90 => Rect { x: picture.h - b.y - b.h, y: b.x, w: b.h, h: b.w },
        180 => Rect { x: picture.w - b.x - b.w, y: picture.h - b.y - b.h, w: b.w, h: b.h },
        270 => Rect { x: b.y, y: picture.w - b.x - b.w, w: b.h, h: b.w },
        _ => b,
    }
}

fn up(value: i64, step: i64) -> i64 {
    -(-value).div_euclid(step) * step
}

fn touches(b: Rect, screen: Size) -> bool {
    b.x < screen.w && b.y < screen.h && b.x + b.w > 0 && b.y + b.h > 0
}
