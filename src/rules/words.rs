//! Words that several rules use for the same figures.

use crate::{
    display::{Display, Level, LevelSet},
    geometry::{Rect, Window},
};

/// An area in words: pixels and square millimetres.
pub(super) fn area(pixels: u64, display: &Display) -> String {
    format!("{pixels} px ({} mm2)", figure(display.area_mm2(pixels)))
}

/// A figure with two or three digits that matter.
pub(super) fn figure(value: f64) -> String {
    if value >= 100.0 {
        format!("{value:.0}")
    } else if value >= 10.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.2}")
    }
}

/// A window as it stands in a plan.
pub(super) fn window(window: Window) -> String {
    format!("[{}, {}, {}, {}]", window.x, window.y, window.width, window.height)
}

/// A box as it stands in a plan.
pub(super) fn rect(rect: Rect) -> String {
    window(rect.to_window())
}

/// Levels in words, at the most four of them.
pub(super) fn levels(levels: impl Iterator<Item = Level>, display: &Display) -> String {
    let names: Vec<String> = levels.map(|level| display.ink.name(level)).collect();
    listed(&names, 4)
}

/// Names in a sentence, at the most `most` of them.
pub(super) fn listed(names: &[String], most: usize) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        _ if names.len() > most => format!("{} and {} more", names[..most].join(", "), names.len() - most),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

/// The names of the modes whose reach holds all of some levels.
pub(super) fn modes_reaching(levels: LevelSet, display: &Display) -> Vec<String> {
    let reaches = |to: LevelSet| to.0 & levels.0 == levels.0;
    display.modes.iter().filter(|mode| reaches(mode.to)).map(|mode| format!("`{}`", mode.name)).collect()
}

/// One, or many, of something.
pub(super) fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
