//! Words that several rules use for the same figures.

use crate::{
    display::{Display, LevelSet},
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
pub(super) fn levels(levels: LevelSet, display: &Display) -> String {
    let ink = &display.ink;
    let ends = [ink.black(), ink.white()];
    let greys: Vec<String> =
        levels.iter().filter(|level| !ends.contains(level)).map(|level| level.to_string()).collect();
    let mut names: Vec<String> =
        ends.into_iter().filter(|end| levels.contains(*end)).map(|end| ink.name(end)).collect();
    match greys.len() {
        0 => {}
        1 => names.push(format!("grey {} of {}", greys[0], ink.white())),
        _ => names.push(format!("greys {} of {}", listed(&greys, 4), ink.white())),
    }
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

/// Names to choose one from.
pub(super) fn one_of(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [all @ .., last] => format!("{} or {last}", all.join(", ")),
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
