//! A note-taking page of 1404 x 1872 px: greyscale frames in which solid black strokes grow, as quick updates can show them;
//! now and then the page turns to one with a dithered picture. The frames are drawn from a fixed seed and kept.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use super::{dice::Dice, frames, sequence};

pub(crate) const PLAN: &str = "page.plan.json";

pub(crate) const WIDTH: usize = 1404;
pub(crate) const HEIGHT: usize = 1872;
pub(crate) const FRAMES: usize = 200;
/// The page turns every so many frames.
const PAGE: usize = 40;

/// The folder of the frames; they are drawn where they are not there yet.
pub(crate) fn folder() -> PathBuf {
    sequence::folder("note-taking-2", PLAN, draw)
}

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:03}.png")
}

fn draw(folder: &Path) {
    let mut dice = Dice(7);
    let mut page = Vec::new();
    for frame in 0..FRAMES {
        if turns(frame) {
            page = blank_page(&mut dice, frame / PAGE);
        } else {
            for _ in 0..14 {
                stroke(&mut page, &mut dice);
            }
        }
        frames::save(&folder.join(frame_name(frame)), [WIDTH, HEIGHT], &page);
    }
    let update = |frame| if turns(frame) { ("full", "all") } else { ("quick", "changed") };
    let updates = |frame| {
        let (mode, window) = update(frame);
        format!("[{{ \"mode\": \"{mode}\", \"window\": \"{window}\" }}]")
    };
    fs::write(folder.join(PLAN), plan(FRAMES, updates)).expect("the plan can be written");
}

/// The page turns at this frame.
fn turns(frame: usize) -> bool {
    frame.is_multiple_of(PAGE)
}

/// A plan of the first frames, with these updates at each.
pub(crate) fn plan(frames: usize, updates: impl Fn(usize) -> String) -> String {
    let mut steps = String::new();
    for frame in 0..frames {
        let (screen, updates) = (frame_name(frame), updates(frame));
        let _ = writeln!(
            steps,
            "    {{ \"screen\": \"{screen}\", \"after_ms\": 4000, \"cause\": \"pen\", \"updates\": {updates} }},"
        );
    }
    format!(
        "{{\n  \"format\": \"refresh-plan/1\",\n  \"title\": \"A note-taking page\",\n  \"display\": \"tablet-10in3\",\n  \"rotation\": 90,\n  \"begins\": \"white\",\n  \"steps\": [\n{steps}  ]\n}}\n"
    )
}

fn blank_page(dice: &mut Dice, number: usize) -> Vec<u8> {
    let mut page = vec![255; WIDTH * HEIGHT];
    for y in (180..HEIGHT).step_by(72) {
        page[y * WIDTH + 80..(y + 1) * WIDTH - 80].fill(170);
    }
    // A picture in random dither, in another place on every page.
    let (left, top) = (120 + 60 * number, 300 + 180 * number);
    for y in 0..420 {
        for x in 0..560 {
            let tone = 30 + x * 180 / 560;
            page[(top + y) * WIDTH + left + x] = if dice.roll(255) < tone { 255 } else { 0 };
        }
    }
    page
}

/// A bent line of solid dots.
fn stroke(page: &mut [u8], dice: &mut Dice) {
    let (mut x, mut y) = (100.0 + dice.roll(WIDTH - 300) as f64, 120.0 + dice.roll(HEIGHT - 240) as f64);
    let (mut across, mut down) = (1.5, dice.roll(5) as f64 - 2.0);
    for _ in 0..60 {
        across += (dice.roll(100) as f64 - 50.0) / 90.0;
        down += (dice.roll(100) as f64 - 50.0) / 60.0;
        (across, down) = (across.clamp(-3.0, 3.0), down.clamp(-3.0, 3.0));
        (x, y) = (x + across, y + down);
        dot(page, x, y, 2.4);
    }
}

fn dot(page: &mut [u8], x: f64, y: f64, radius: f64) {
    for row in (y - radius - 1.0).max(0.0) as usize..=((y + radius + 1.0) as usize).min(HEIGHT - 1) {
        for column in (x - radius - 1.0).max(0.0) as usize..=((x + radius + 1.0) as usize).min(WIDTH - 1) {
            let distance = (column as f64 + 0.5 - x).hypot(row as f64 + 0.5 - y);
            if distance <= radius {
                page[row * WIDTH + column] = 0;
            }
        }
    }
}
