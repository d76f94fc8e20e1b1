//! The day of a device as a trace: 20,000 updates on 1404 x 1872 px with 5,000 frames of 4 bits, against reading and unpacking
//! these frames alone. Run with `cargo bench --bench traces`; nothing here is a test.
//!
//! Two days from fixed seeds: one of notes, where each frame adds four marks that are updated one by one, and a hard one,
//! where each frame is another page of text. The frames of a day are 100 different files, read again and again in order.
//! With the word `draw` behind `--`, the days are drawn and nothing is measured; they stand in `target/tmp/trace-*`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    env,
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use common::{
    dice::Dice,
    picture::Picture,
    process::{self, middle, processor_seconds, processor_seconds_of_children},
    sequence,
};

const TRACE: &str = "day.trace.jsonl";
const WIDTH: usize = 1404;
const HEIGHT: usize = 1872;
/// The frames of a day, and the different ones among them.
const FRAMES: usize = 5000;
const FILES: usize = 100;
/// The updates that follow each frame.
const UPDATES: usize = 4;
const RUNS: usize = 3;
const MARK_HEIGHT: usize = 16;

fn main() {
    let days = [("notes", notes as fn(&Path)), ("pages of text", pages)];
    let folders = days.map(|(name, draw)| {
        let folder = format!("trace-{}", name.split(' ').next().unwrap_or(name));
        (name, sequence::folder(&folder, TRACE, draw))
    });
    if env::args().any(|argument| argument == "draw") {
        return;
    }
    for (name, folder) in folders {
        measure(name, &folder);
    }
}

/// Reading and unpacking, then the review, in turns; processor time.
fn measure(name: &str, folder: &Path) {
    let (mut alone, mut reviews, mut most) = (Vec::new(), Vec::new(), 0);
    for _ in 0..RUNS {
        let before = processor_seconds();
        let ink = read_all(folder);
        assert!(ink > 0, "the frames are not blank");
        alone.push(processor_seconds() - before);
        let before = processor_seconds_of_children();
        let (_, kilobytes) = process::review(&folder.join(TRACE));
        reviews.push(processor_seconds_of_children() - before);
        most = most.max(kilobytes);
    }
    let (alone, review) = (middle(&mut alone), middle(&mut reviews));
    println!("a day of {name}: {} updates with {FRAMES} frames", FRAMES * UPDATES);
    println!("    reading and unpacking alone: {alone:.1} s");
    println!("    review: {review:.1} s, {:.2} times that, {:.0} MB", review / alone, most as f64 / 1000.0);
}

/// Reads and unpacks the frames of a day; gives how many pixels are not white in all.
fn read_all(folder: &Path) -> u64 {
    let mut shades = vec![0_u8; WIDTH * HEIGHT];
    let mut ink = 0;
    for frame in 0..FRAMES {
        let packed = fs::read(path_of(folder, frame)).expect("a frame can be read");
        for (pair, byte) in shades.as_chunks_mut::<2>().0.iter_mut().zip(&packed) {
            *pair = [(byte >> 4) * 17, (byte & 15) * 17];
        }
        ink += u64::from(shades[(frame * 7919) % shades.len()] < 255) + u64::from(frame == 0);
    }
    ink
}

fn name_of(frame: usize) -> String {
    format!("{:03}.raw", frame % FILES)
}

fn path_of(folder: &Path, frame: usize) -> PathBuf {
    folder.join(name_of(frame))
}

/// Writes a page as 4 bits a pixel, the first pixel in the high bits.
fn save(page: &Picture, path: &Path) {
    let bytes: Vec<u8> = page.pixels.as_chunks::<2>().0.iter().map(|[high, low]| high & 0xf0 | low >> 4).collect();
    fs::write(path, bytes).expect("a frame can be written");
}

/// A page of notes: each frame has four marks more than the one before, and the last is followed by the blank page.
fn notes(folder: &Path) {
    let mut dice = Dice(31);
    let mut page = Picture::white([WIDTH, HEIGHT]);
    let mut marks = Vec::new();
    for frame in 0..FILES {
        let of_frame: [[usize; 4]; UPDATES] = std::array::from_fn(|_| {
            let mark = [8 * dice.roll(150), 16 * dice.roll(110), 96 + 8 * dice.roll(6), MARK_HEIGHT];
            page.scribble([mark[0], mark[1] + 4, mark[2]], &mut dice);
            mark
        });
        marks.push(of_frame);
        save(&page, &path_of(folder, frame));
    }
    write(folder, "A day of notes", |frame, update| {
        if frame.is_multiple_of(FILES) { (full(update), None) } else { ("quick", Some(marks[frame % FILES][update])) }
    });
}

/// Another page of text with each frame: a quiet turn, then three marks of the reader's that change nothing.
fn pages(folder: &Path) {
    let mut dice = Dice(32);
    for frame in 0..FILES {
        let mut page = Picture::white([WIDTH, HEIGHT]);
        for line in (120..HEIGHT - 120).step_by(36) {
            page.scribble([96, line, WIDTH - 192], &mut dice);
        }
        save(&page, &path_of(folder, frame));
    }
    write(folder, "A day of pages", |frame, update| match update {
        0 if frame.is_multiple_of(10) => ("full", None),
        0 => ("grey-quiet", None),
        _ => ("quick", Some([96, 120 + 360 * update, 400, MARK_HEIGHT])),
    });
}

/// The first update after a blank page cleans it.
fn full(update: usize) -> &'static str {
    if update == 0 { "full" } else { "quick" }
}

/// Writes the trace: every 17 s a frame, and its updates a second apart.
fn write(folder: &Path, title: &str, update: impl Fn(usize, usize) -> (&'static str, Option<[usize; 4]>)) {
    let mut text = format!(
        "{{\"format\":\"update-trace/1\",\"title\":\"{title}\",\"display\":\"tablet-10in3\",\"rotation\":90,\"frames\":{{\"as\":\"raw\",\
         \"bits_per_px\":4,\"first_pixel\":\"high\",\"size_px\":[{WIDTH},{HEIGHT}]}}}}\n"
    );
    for frame in 0..FRAMES {
        let at = 17_000 * frame;
        let _ = writeln!(text, "{{\"record\":\"frame\",\"at\":{at},\"file\":\"{}\"}}", name_of(frame));
        for number in 0..UPDATES {
            let (mode, window) = update(frame, number);
            let window = window.map_or(String::new(), |window| format!(",\"window\":{window:?}"));
            let at = at + 1000 * number;
            let _ = writeln!(text, "{{\"record\":\"update\",\"at\":{at},\"mode\":\"{mode}\"{window}}}");
        }
    }
    fs::write(folder.join(TRACE), text).expect("the trace can be written");
}
