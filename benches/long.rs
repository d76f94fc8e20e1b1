//! Long plans: 100,000 steps over 20 pictures, the day of a watch, and the shortest way to a finding. Run with
//! `cargo bench --bench long`; nothing here is a test.
//!
//! The pictures are drawn from a fixed seed and kept under `target`. They are faces of a watch, and a menu, in black and
//! white as quick updates can show them; the two pages with greys are shown by full updates.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    fs,
    io::Read as _,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::{Duration, Instant},
};

use common::{
    decoding,
    dice::Dice,
    picture::Picture,
    process, sequence,
    watch::{self, Backdrop, SMALL_FACE},
};

/// The plan of all steps.
const WHOLE: &str = "whole.plan.json";
const RUNS: usize = 5;
const THREADS: usize = 2;
/// The display that ships as `watch-1in3`.
const FACE: usize = 240;
/// The list of a menu that a touch marks has so many lines.
const LINES: usize = 4;

fn main() {
    measure_cycle(&sequence::folder("cycle", WHOLE, draw_cycle));
    measure_day(&watch::day());
    measure_first_finding();
}

fn measure_cycle(folder: &Path) {
    let tenth = median_of(&folder.join("tenth.plan.json"));
    let whole = median_of(&folder.join(WHOLE));
    let (tenth_ms, whole_ms) = (tenth.0, whole.0);
    println!("10,000 steps over 20 pictures: {tenth_ms:.0} ms, {:.1} MB", megabytes(tenth.1));
    println!("100,000 steps over 20 pictures: {whole_ms:.0} ms, {:.1} MB", megabytes(whole.1));
    println!("a step: {:.1} us", (whole_ms - tenth_ms) / 90.0);
}

fn measure_day(folder: &Path) {
    let frames: Vec<PathBuf> = watch::minutes().map(|name| folder.join(name)).collect();
    let mut decoding: Vec<f64> =
        (0..=RUNS).map(|_| milliseconds(decoding::decode_all(&frames, SMALL_FACE * SMALL_FACE, THREADS))).collect();
    let review = median_of(&folder.join(watch::PLAN));
    let decoding = process::middle(&mut decoding);
    println!("a day of 1,440 frames, decoding alone: {decoding:.1} ms");
    println!(
        "a day of 1,440 frames, review: {:.1} ms, {:.1} MB, ratio {:.2}",
        review.0,
        megabytes(review.1),
        review.0 / decoding
    );
}

/// From the start of the process to the first byte of a report with findings.
fn measure_first_finding() {
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/berth-label/troubled.plan.json");
    let mut times: Vec<f64> = (0..=4 * RUNS).map(|_| milliseconds(first_byte(&plan))).collect();
    println!("a label with three drawings, start to first finding: {:.1} ms", process::middle(&mut times));
}

fn first_byte(plan: &Path) -> Duration {
    let begin = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(["review", "--gate", "never"])
        .arg(plan)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program runs");
    let mut report = child.stdout.take().expect("the report can be read");
    report.read_exact(&mut [0]).expect("there is a report");
    let elapsed = begin.elapsed();
    report.read_to_end(&mut Vec::new()).expect("the report can be read");
    assert!(child.wait().expect("the program ends").success(), "the review of {} failed", plan.display());
    elapsed
}

/// The middle of several times of a review, ms, and the most memory, KB; one round warms the page cache.
fn median_of(plan: &Path) -> (f64, u64) {
    let runs: Vec<(Duration, u64)> = (0..=RUNS).map(|_| process::review(plan)).skip(1).collect();
    let mut times: Vec<f64> = runs.iter().map(|(time, _)| milliseconds(*time)).collect();
    (process::middle(&mut times), runs.iter().map(|(_, kilobytes)| *kilobytes).max().unwrap_or(0))
}

fn milliseconds(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

fn megabytes(kilobytes: u64) -> f64 {
    kilobytes as f64 / 1024.0
}

/// 14 faces, 4 states of a menu and 2 grey pages, and the plans that show them: 100 steps again and again.
fn draw_cycle(folder: &Path) {
    fs::create_dir_all(folder.join("face")).expect("the folder can be made");
    let mut dice = Dice(11);
    let backdrop = Backdrop::new(FACE, &mut dice);
    for face in 0..14 {
        let picture = backdrop.face(9, 7 * face % 60);
        picture.save(&folder.join(format!("face/{face:02}.png")));
    }
    for line in 0..LINES {
        menu(line).save(&folder.join(format!("menu-{line}.png")));
    }
    for page in 0..2 {
        grey_page(page, &mut dice).save(&folder.join(format!("page-{page}.png")));
    }
    for (name, cycles) in [("tenth", 100), ("whole", 1000)] {
        fs::write(folder.join(format!("{name}.plan.json")), cycle_plan(cycles)).expect("the plan can be written");
    }
}

fn cycle_plan(cycles: usize) -> String {
    let marked: String = (1..LINES).map(|line| touch(&format!("menu-{line}.png"), &line_boxes(line))).collect();
    let setting: String = (3..5).map(|face| key(&format!("face/{face:02}.png"))).collect();
    format!(
        r#"{{ "format": "refresh-plan/1", "title": "A watch that is used a lot", "display": "watch-1in3", "begins": "white", "steps": [
  {{ "repeat": {cycles}, "steps": [
    {{ "screen": "face/00.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "full" }}] }},
    {{ "repeat": 3, "steps": [
      {{ "each": "face/*.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "quick", "window": "changed" }}] }}
    ] }},
    {{ "screen": "page-0.png", "after_ms": 5000, "cause": "touch", "updates": [{{ "mode": "full" }}] }},
    {{ "screen": "menu-0.png", "after_ms": 5000, "cause": "touch", "updates": [{{ "mode": "full" }}] }},
    {{ "repeat": 8, "steps": [
      {marked}{{ "screen": "menu-0.png", "after_ms": 1500, "cause": "touch", "updates": [{{ "mode": "quick", "window": "changed" }}] }}
    ] }},
    {{ "screen": "page-1.png", "after_ms": 5000, "cause": "touch", "updates": [{{ "mode": "full" }}] }},
    {{ "screen": "face/00.png", "after_ms": 5000, "cause": "touch", "updates": [{{ "mode": "full" }}] }},
    {{ "repeat": 7, "steps": [
      {setting}{{ "screen": "face/05.png", "after_ms": 1500, "cause": "key", "updates": [{{ "mode": "quick", "window": [16, 48, 216, 80] }}] }}
    ] }}
  ] }}
] }}
"#
    )
}

fn touch(screen: &str, boxes: &str) -> String {
    format!(
        r#"{{ "screen": "{screen}", "after_ms": 1500, "cause": "touch", "updates": [{{ "mode": "quick", "window": [{boxes}] }}] }},
      "#
    )
}

fn key(screen: &str) -> String {
    format!(
        r#"{{ "screen": "{screen}", "after_ms": 1500, "cause": "key", "updates": [{{ "mode": "quick", "window": [16, 48, 216, 80] }}] }},
      "#
    )
}

/// The box of the line that is marked, and of the one that was before.
fn line_boxes(line: usize) -> String {
    let one = |line: usize| format!("[8, {}, 224, 40]", 24 + 48 * line);
    format!("{}, {}", one(line - 1), one(line))
}

fn menu(marked: usize) -> Picture {
    let mut picture = Picture::white([FACE; 2]);
    for line in 0..LINES {
        picture.scribble([24, 40 + 48 * line, 180], &mut Dice(line as u64));
    }
    picture.invert([8, 24 + 48 * marked, 224, 40]);
    picture
}

/// Areas of grey, and fine grains of it.
fn grey_page(page: usize, dice: &mut Dice) -> Picture {
    let mut picture = Picture::white([FACE; 2]);
    for area in 0..6 {
        picture.fill([16 + 70 * (area % 3), 20 + 100 * (area / 3) + 8 * page, 64, 80], (17 * (2 + 2 * area)) as u8);
    }
    for _ in 0..1500 {
        let at = dice.roll(FACE * FACE);
        picture.pixels[at] = 17 * dice.roll(16) as u8;
    }
    picture
}
