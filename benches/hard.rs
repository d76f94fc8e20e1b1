//! Plans that are not kind: greys without a flash, whole pages that change, nothing ever cleaned. Nothing here is a test.
//!
//! Run with `cargo bench --bench hard`. Programs that are named behind `--` are measured in turns, in place of the one that
//! was just built: `cargo bench --bench hard -- /path/to/old/stillpage target/release/stillpage`. With the word `draw` alone, the
//! pictures and plans are drawn and nothing is measured; `cargo test --bench hard -- draw` does this without a release build.
//! Everything stands in `target/tmp/paper-*` and `target/tmp/day`, so that any program can be timed on it:
//! `time stillpage review --gate never --format json target/tmp/paper-texts/paper.plan.json`.
//!
//! All figures are processor time, of all threads, in the middle of several rounds. They are read from `/proc`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    env,
    path::{Path, PathBuf},
};

use common::{
    decoding,
    paper::{self, ALL_PLAN, Kind, MIXED_PLAN, PLAN},
    process::{self, processor_seconds},
    watch,
};

const RUNS: usize = 5;
/// Page turns and long plans take seconds each.
const LONG_RUNS: usize = 3;
const THREADS: usize = 2;
const PIXELS: usize = paper::WIDTH * paper::HEIGHT;
/// So many days are decoded or reviewed for one figure, as the clock of the processor's time ticks in hundredths of a second.
const DAYS: usize = 10;

fn main() {
    let arguments: Vec<String> = env::args().skip(1).filter(|argument| !argument.starts_with("--")).collect();
    if arguments == ["draw"] {
        let sequences: [fn() -> PathBuf; 5] = [
            paper::marked,
            || paper::turned(Kind::Texts),
            || paper::turned(Kind::Pictures),
            paper::never_cleaned,
            watch::day,
        ];
        for draw in sequences {
            println!("{}", draw().display());
        }
        return;
    }
    let mut programs: Vec<PathBuf> = arguments.into_iter().map(PathBuf::from).collect();
    if programs.is_empty() {
        programs.push(env!("CARGO_BIN_EXE_stillpage").into());
    }
    measure_marked(&programs);
    measure_turns(&programs, "texts", Kind::Texts);
    measure_turns(&programs, "pictures in all greys", Kind::Pictures);
    measure_never_cleaned(&programs);
    measure_day(&programs);
}

fn measure_marked(programs: &[PathBuf]) {
    let folder = paper::marked();
    let frames: Vec<PathBuf> = (0..paper::MARKED).map(|frame| folder.join(paper::frame_name(frame))).collect();
    println!("200 pages, quick updates that carry greys, never cleaned:");
    against_decoding(programs, &folder.join(PLAN), &frames, PIXELS, 1);
}

fn measure_day(programs: &[PathBuf]) {
    let folder = watch::day();
    let frames: Vec<PathBuf> = watch::minutes().map(|name| folder.join(name)).collect();
    println!("the day of a watch, 1,440 frames:");
    against_decoding(programs, &folder.join(watch::PLAN), &frames, watch::SMALL_FACE * watch::SMALL_FACE, DAYS);
}

/// Decoding alone, then each program, round by round.
fn against_decoding(programs: &[PathBuf], plan: &Path, frames: &[PathBuf], pixels: usize, times: usize) {
    let mut decoding = Vec::new();
    let mut ratios = vec![Vec::new(); programs.len()];
    for run in 0..=RUNS {
        let before = processor_seconds();
        (0..times).for_each(|_| _ = decoding::decode_all(frames, pixels, THREADS));
        let alone = processor_seconds() - before;
        let reviews: Vec<f64> = programs.iter().map(|program| of_program(program, plan, times).0).collect();
        // The first round only warms the page cache.
        if run > 0 {
            decoding.push(1000.0 * alone / times as f64);
            reviews.iter().zip(&mut ratios).for_each(|(review, ratios)| ratios.push(review / alone));
        }
    }
    println!("    decoding alone: {:.0} ms", process::middle(&mut decoding));
    for (program, ratios) in programs.iter().zip(&mut ratios) {
        let middle = process::middle(ratios);
        println!("    {middle:.2} ({:.2} to {:.2}) times decoding, {}", ratios[0], ratios[RUNS - 1], program.display());
    }
}

fn measure_turns(programs: &[PathBuf], what: &str, kind: Kind) {
    let folder = paper::turned(kind);
    for (plan, driven) in [(PLAN, "what changes is driven"), (ALL_PLAN, "every pixel is driven")] {
        println!("{} page turns without a flash, {what}, {driven}:", paper::TURNED);
        a_step(programs, &folder.join(plan), paper::TURNED);
    }
}

fn measure_never_cleaned(programs: &[PathBuf]) {
    let folder = paper::never_cleaned();
    for (plan, order) in [(PLAN, "in turn"), (MIXED_PLAN, "in no order")] {
        println!("{} steps over {} pictures {order}, never cleaned:", paper::STEPS, paper::PICTURES);
        a_step(programs, &folder.join(plan), paper::STEPS);
    }
}

/// The processor time of a step, and the memory; the programs take turns.
fn a_step(programs: &[PathBuf], plan: &Path, steps: usize) {
    let mut times = vec![Vec::new(); programs.len()];
    let mut memory = vec![0; programs.len()];
    for run in 0..=LONG_RUNS {
        for (at, program) in programs.iter().enumerate() {
            let (seconds, kilobytes) = of_program(program, plan, 1);
            if run > 0 {
                times[at].push(1000.0 * seconds / steps as f64);
                memory[at] = memory[at].max(kilobytes);
            }
        }
    }
    for (at, program) in programs.iter().enumerate() {
        let middle = process::middle(&mut times[at]);
        println!("    {middle:.2} ms a step, {} MB, {}", memory[at] / 1024, program.display());
    }
}

/// The processor time of so many reviews by a program, s, and the most memory, KB.
fn of_program(program: &Path, plan: &Path, times: usize) -> (f64, u64) {
    let before = process::processor_seconds_of_children();
    let most = (0..times).map(|_| process::review_by(program, plan).1).max().unwrap_or(0);
    (process::processor_seconds_of_children() - before, most)
}
