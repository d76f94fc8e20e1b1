//! Drawings (SVG) with text, of 800 x 480 px: a departure board whose lines change. From a fixed seed.

use std::{fmt::Write as _, fs, path::Path};

use super::dice::Dice;

pub(crate) const WIDTH: u32 = 800;
pub(crate) const HEIGHT: u32 = 480;
pub(crate) const FRAMES: usize = 60;
const LINES: usize = 9;
const PLACES: [&str; 6] = ["North pier", "Skerry Haven", "Outer light", "Long sound", "Mill quay", "Gull rock"];

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:02}.svg")
}

/// Draws the frames, and their plan last: a folder that has it is whole.
pub(crate) fn draw(folder: &Path) {
    fs::create_dir_all(folder).expect("the folder can be made");
    let mut dice = Dice(3);
    let mut lines: Vec<String> = (0..LINES).map(|line| departure(line, &mut dice)).collect();
    let mut steps = String::new();
    for frame in 0..FRAMES {
        let line = dice.roll(LINES);
        lines[line] = departure(frame, &mut dice);
        fs::write(folder.join(frame_name(frame)), board(frame, &lines)).expect("the drawing can be written");
        let (mode, window) = if frame.is_multiple_of(20) { ("full", "all") } else { ("quick", "changed") };
        let _ = writeln!(
            steps,
            r#"  {{ "screen": "{}", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "{mode}", "window": "{window}" }}] }},"#,
            frame_name(frame)
        );
    }
    let display = format!(
        r#"{{ "format": "display/1", "based_on": "tablet-10in3", "name": "board", "size_px": [{WIDTH}, {HEIGHT}] }}"#
    );
    fs::write(folder.join("board.display.json"), display).expect("the description can be written");
    let plan = format!(
        "{{ \"format\": \"refresh-plan/1\", \"title\": \"A board\", \"display\": \"board.display.json\", \"steps\": [\n{steps}] }}\n"
    );
    fs::write(folder.join("board.plan.json"), plan).expect("the plan can be written");
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
