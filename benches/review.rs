//! How long a review takes against decoding the same frames alone. Run with `cargo bench`; nothing here is a test.
//!
//! The frames are those of a note-taking page, 200 of 1404 x 1872 px.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{path::PathBuf, time::Duration};

use common::{
    decoding,
    notes::{self, FRAMES, HEIGHT, WIDTH, frame_name},
    process,
};

const RUNS: usize = 9;
const THREADS: usize = 2;

fn main() {
    let folder = notes::folder();
    let frames: Vec<PathBuf> = (0..FRAMES).map(|frame| folder.join(frame_name(frame))).collect();
    let (mut decoding, mut reviewing, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    for run in 0..=RUNS {
        let decode = decoding::decode_all(&frames, WIDTH * HEIGHT, THREADS);
        let (review, _) = process::review(&folder.join(notes::PLAN));
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
