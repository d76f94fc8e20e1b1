//! How long a review takes against decoding the same frames alone. Run with `cargo bench`; nothing here is a test.
//!
//! A note-taking page of 1404 x 1872 px, 200 greyscale frames: solid black strokes grow, as quick updates can show them, now and then the page turns
//! to one with a dithered picture. The frames are made from a fixed seed and kept under `target`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "common/dice.rs"]
mod dice;
#[path = "common/frames.rs"]
mod frames;
#[path = "common/process.rs"]
mod process;

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use dice::Dice;

const WIDTH: usize = 1404;
const HEIGHT: usize = 1872;
const FRAMES: usize = 200;
/// The page turns every so many frames.
const PAGE: usize = 40;
const RUNS: usize = 9;
const THREADS: usize = 2;

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("note-taking-2");
    if !folder.join("page.plan.json").exists() {
        println!("drawing {FRAMES} frames of {WIDTH} x {HEIGHT} px ...");
        draw(&folder);
    }
    let frames: Vec<PathBuf> = (0..FRAMES).map(|frame| folder.join(frame_name(frame))).collect();
    let (mut decoding, mut reviewing, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    for run in 0..=RUNS {
        let decode = frames::decode_all(&frames, WIDTH * HEIGHT, THREADS);
        let (review, _) = process::review(&folder.join("page.plan.json"));
        if run > 0 {
            // The first round only warms the page cache.
            decoding.push(decode);
            reviewing.push(review);
            ratios.push(review.as_secs_f64() / decode.as_secs_f64());
        }
    }
    ratios.sort_by(f64::total_cmp);
    println!("decoding alone, {THREADS} threads: {:.1} ms", median(&mut decoding));
    println!("review as a process, {THREADS} threads: {:.1} ms", median(&mut reviewing));
    println!("ratio, run by run: {:.2} ({:.2} to {:.2})", ratios[RUNS / 2], ratios[0], ratios[RUNS - 1]);
}

fn median(times: &mut [Duration]) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1000.0
}

fn frame_name(frame: usize) -> String {
    format!("{frame:03}.png")
}

fn draw(folder: &Path) {
    fs::create_dir_all(folder).expect("the folder can be made");
    let mut dice = Dice(7);
    let mut page = Vec::new();
    let mut steps = String::new();
    for frame in 0..FRAMES {
        let turn = frame % PAGE == 0;
        if turn {
            page = blank_page(&mut dice, frame / PAGE);
        } else {
            for _ in 0..14 {
                stroke(&mut page, &mut dice);
            }
        }
        frames::save(&folder.join(frame_name(frame)), [WIDTH, HEIGHT], &page);
        let (mode, window) = if turn { ("full", "all") } else { ("quick", "changed") };
        let _ = writeln!(
            steps,
            "    {{ \"screen\": \"{}\", \"after_ms\": 4000, \"cause\": \"pen\", \"updates\": [{{ \"mode\": \"{mode}\", \"window\": \"{window}\" }}] }},",
            frame_name(frame)
        );
    }
    let plan = format!(
        "{{\n  \"format\": \"refresh-plan/1\",\n  \"title\": \"A note-taking page\",\n  \"display\": \"tablet-10in3\",\n  \"rotation\": 90,\n  \"steps\": [\n{steps}  ]\n}}\n"
    );
    // The plan comes last: a folder that has it is whole.
    fs::write(folder.join("page.plan.json"), plan).expect("the plan can be written");
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
