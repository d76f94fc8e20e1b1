//! A desk of 3840 x 2160 px: a text is written, a menu opens and closes, pages are turned. From a fixed seed.

use std::path::{Path, PathBuf};

use super::{
    dice::Dice,
    picture::Picture,
    sequence::{self, Shown},
};

pub(crate) const PLAN: &str = "desk.plan.json";
pub(crate) const WIDTH: usize = 3840;
pub(crate) const HEIGHT: usize = 2160;
pub(crate) const FRAMES: usize = 48;
/// The page is turned every so many frames, and the menu is open in two of them.
const PAGE: usize = 12;
const LINE: usize = 24;

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:02}.png")
}

/// The folder of the frames.
pub(crate) fn folder() -> PathBuf {
    sequence::folder("desk", PLAN, draw)
}

fn draw(folder: &Path) {
    let mut page = Picture::white([WIDTH, HEIGHT]);
    let mut steps = String::new();
    for frame in 0..FRAMES {
        if frame.is_multiple_of(PAGE) {
            page = blank_page(frame as u64);
        } else {
            let line = 5 + 4 * (frame % PAGE);
            page.scribble([240, LINE * line, 1800], &mut Dice(1000 + frame as u64));
        }
        let has_menu = matches!(frame % PAGE, 6 | 7);
        let shown = if has_menu { with_menu(&page, frame % PAGE - 6) } else { page.clone() };
        shown.save(&folder.join(frame_name(frame)));
        steps += &sequence::step(&frame_name(frame), 5000, "key", frame.is_multiple_of(PAGE));
    }
    Shown { plan: PLAN, title: "A desk", based_on: "desk-13in3", size: [WIDTH, HEIGHT] }.write(folder, &steps);
}

/// A column of lines on the left, a picture in greys on the right.
fn blank_page(seed: u64) -> Picture {
    let mut page = Picture::white([WIDTH, HEIGHT]);
    let mut dice = Dice(seed);
    page.fill([0, 0, WIDTH, 64], 0);
    for line in 4..80 {
        page.scribble([2200, LINE * line, 1500], &mut dice);
    }
    for tone in 0..12 {
        page.fill([2240 + 110 * tone, 1960, 100, 120], (17 * (2 + tone)) as u8);
    }
    page
}

fn with_menu(page: &Picture, marked: usize) -> Picture {
    let mut page = page.clone();
    page.fill([600, 80, 520, 640], 255);
    page.fill([600, 80, 520, 4], 0);
    for line in 0..12 {
        page.scribble([640, 120 + 48 * line, 400], &mut Dice(line as u64));
    }
    page.invert([608, 104 + 48 * marked, 504, 44]);
    page
}
