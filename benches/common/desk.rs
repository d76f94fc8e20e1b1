//! A desk of 3840 x 2160 px: a text is written, a menu opens and closes, pages are turned. From a fixed seed.

use std::{fmt::Write as _, fs, path::Path};

use super::{dice::Dice, picture::Picture};

pub(crate) const WIDTH: usize = 3840;
pub(crate) const HEIGHT: usize = 2160;
pub(crate) const FRAMES: usize = 48;
/// The page is turned every so many frames, and the menu is open in two of them.
const PAGE: usize = 12;
const LINE: usize = 24;

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:02}.png")
}

/// Draws the frames, and their plan last: a folder that has it is whole.
pub(crate) fn draw(folder: &Path) {
    fs::create_dir_all(folder).expect("the folder can be made");
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
        let (mode, window) = if frame.is_multiple_of(PAGE) { ("full", "all") } else { ("quick", "changed") };
        let _ = writeln!(
            steps,
            r#"  {{ "screen": "{}", "after_ms": 5000, "cause": "key", "updates": [{{ "mode": "{mode}", "window": "{window}" }}] }},"#,
            frame_name(frame)
        );
    }
    let display = format!(
        r#"{{ "format": "display/1", "based_on": "desk-13in3", "name": "large-desk", "size_px": [{WIDTH}, {HEIGHT}] }}"#
    );
    fs::write(folder.join("large-desk.display.json"), display).expect("the description can be written");
    let plan = format!(
        "{{ \"format\": \"refresh-plan/1\", \"title\": \"A desk\", \"display\": \"large-desk.display.json\", \"steps\": [\n{steps}] }}\n"
    );
    fs::write(folder.join("desk.plan.json"), plan).expect("the plan can be written");
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
