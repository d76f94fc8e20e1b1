//! The faces of a watch, and its day: a frame for each minute.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use super::{
    dice::Dice,
    picture::Picture,
    sequence::{self, Shown},
};

pub(crate) const PLAN: &str = "day.plan.json";

/// The side of the watch of the day, px.
pub(crate) const SMALL_FACE: usize = 200;

/// The folder of the day: a frame for each minute, and a plan with a cleaning each hour.
pub(crate) fn day() -> PathBuf {
    sequence::folder("day", PLAN, draw_day)
}

fn draw_day(folder: &Path) {
    let backdrop = Backdrop::new(SMALL_FACE, &mut Dice(5));
    let mut steps = String::new();
    for hour in 0..24 {
        fs::create_dir_all(folder.join(format!("{hour:02}/minute"))).expect("the folder can be made");
        for minute in 0..60 {
            backdrop.face(hour, minute).save(&folder.join(minute_name(hour, minute)));
        }
        let _ = write!(
            steps,
            r#"  {{ "screen": "{hour:02}/00.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "full" }}] }},
  {{ "each": "{hour:02}/minute/*.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "quick", "window": "changed" }}] }},
"#
        );
    }
    Shown { plan: PLAN, title: "A day", based_on: "watch-1in3", size: [SMALL_FACE; 2] }.write(folder, &steps);
}

/// The frames of the day, in order.
pub(crate) fn minutes() -> impl Iterator<Item = PathBuf> {
    (0..24).flat_map(|hour| (0..60).map(move |minute| minute_name(hour, minute)))
}

fn minute_name(hour: usize, minute: usize) -> PathBuf {
    match minute {
        0 => format!("{hour:02}/00.png").into(),
        _ => format!("{hour:02}/minute/{minute:02}.png").into(),
    }
}

/// What stays on a face while the time goes.
pub(crate) struct Backdrop(Picture);

impl Backdrop {
    pub(crate) fn new(side: usize, dice: &mut Dice) -> Self {
        let mut picture = Picture::white([side; 2]);
        for line in 0..3 {
            picture.scribble([16, side - 60 + 16 * line, side - 40], dice);
        }
        for mark in 0..12 {
            picture.fill([8 + mark * (side - 24) / 11, 8, 3, 8], 0);
        }
        Self(picture)
    }

    /// The face at a time, with a bar that grows with the minutes.
    pub(crate) fn face(&self, hour: usize, minute: usize) -> Picture {
        let mut picture = self.0.clone();
        let digits = [hour / 10, hour % 10, minute / 10, minute % 10];
        for (place, digit) in digits.into_iter().enumerate() {
            picture.digit(digit, 20 + place * (picture.width - 28) / 4, 68, 8);
        }
        picture.fill([20, 48, 1 + minute * 2, 6], 0);
        picture
    }
}
