//! Drawings (SVG) with text, of 800 x 480 px: a departure board whose lines change. From a fixed seed.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use super::{
    dice::Dice,
    sequence::{self, Shown},
};

pub(crate) const PLAN: &str = "board.plan.json";
pub(crate) const WIDTH: usize = 800;
pub(crate) const HEIGHT: usize = 480;
pub(crate) const FRAMES: usize = 60;
const LINES: usize = 9;
const PLACES: [&str; 6] = ["North pier", "Skerry Haven", "Outer light", "Long sound", "Mill quay", "Gull rock"];

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:02}.svg")
}

/// The folder of the frames.
pub(crate) fn folder() -> PathBuf {
    sequence::folder("board", PLAN, draw)
}

fn draw(folder: &Path) {
    let mut dice = Dice(3);
    let mut lines: Vec<String> = (0..LINES).map(|line| departure(line, &mut dice)).collect();
    let mut steps = String::new();
    for frame in 0..FRAMES {
        let line = dice.roll(LINES);
        lines[line] = departure(frame, &mut dice);
        fs::write(folder.join(frame_name(frame)), board(frame, &lines)).expect("the drawing can be written");
        steps += &sequence::step(&frame_name(frame), 60_000, "clock", frame.is_multiple_of(20));
    }
    Shown { plan: PLAN, title: "A board", based_on: "tablet-10in3", size: [WIDTH, HEIGHT] }.write(folder, &steps);
}

fn departure(hour: usize, dice: &mut Dice) -> String {
    format!("{:02}:{:02} {}", 6 + hour % 16, 5 * dice.roll(12), PLACES[dice.roll(PLACES.len())])
}

fn board(frame: usize, lines: &[String]) -> String {
    let mut svg = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" shape-rendering="crispEdges"><rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/><rect width="{WIDTH}" height="52"/><text x="16" y="38" font-size="32" fill="#fff">Departures, minute {frame}</text>"##
    );
    for (at, line) in lines.iter().enumerate() {
        let y = 92 + 44 * at;
        let _ =
            write!(svg, r#"<text x="24" y="{y}" font-size="28">{line}</text><path d="M16 {}h768v2h-768z"/>"#, y + 10);
    }
    svg + "</svg>\n"
}
