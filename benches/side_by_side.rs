//! A review beside decoding alone, and beside general-purpose programs that find what differs between two pictures: one
//! table. Run by `benches/side-by-side`, which installs those; nothing here is a test.
//!
//! Reviews are timed as processes, their start included; the others tell their time themselves, without their start.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    env, fs,
    path::{Path, PathBuf},
    process::Command,
    time::Instant,
};

use common::{
    decoding::{self, Decoder},
    desk, drawings, notes, process, watch,
};
use stillpage::{
    display::Ink,
    geometry::Size,
    screen::{Faces, draw_svg},
};

const RUNS: usize = 5;
const THREADS: usize = 2;

/// Frames in order, and the plan that shows them.
struct Sequence {
    name: &'static str,
    frames: Vec<PathBuf>,
    size: [usize; 2],
    plan: PathBuf,
}

/// A program that finds what differs between two pictures.
#[derive(Clone, Copy)]
enum Peer {
    /// One box a pair, by a library of Python.
    Boxes(&'static str),
    /// The pixels of a pair that differ, counted, by a library of Node.
    Pixels,
}

const PEERS: [(&str, Peer); 3] = [
    ("OpenCV, one box a pair", Peer::Boxes("opencv")),
    ("Pillow, one box a pair", Peer::Boxes("pillow")),
    ("pixelmatch, pixels counted", Peer::Pixels),
];

fn main() {
    let Ok(peers) = env::var("STILLPAGE_PEERS") else {
        // `cargo bench` runs every bench; this one has to be prepared.
        println!("benches/side-by-side runs this: it installs what is measured beside the program");
        return;
    };
    let peers = PathBuf::from(peers);
    let rows: Vec<Vec<String>> = sequences().iter().map(|sequence| row(sequence, &peers)).collect();
    let names: Vec<String> = PEERS.iter().map(|(name, _)| (*name).to_owned()).collect();
    let mut head = vec!["sequence".to_owned(), "decoding alone".to_owned(), "review".to_owned()];
    head.extend(names);
    print_row(&head);
    println!("| --- {}|", "| ---: ".repeat(head.len() - 1));
    for row in &rows {
        print_row(row);
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!(
        "\n{THREADS} threads each, on a machine that says it has {cores}; medians of {RUNS} rounds that take turns."
    );
    println!(
        "In brackets: how many times decoding alone the review takes, and how many times the review the others take."
    );
}

fn print_row(cells: &[String]) {
    println!("| {} |", cells.join(" | "));
}

fn sequences() -> Vec<Sequence> {
    let (page, day, desk, board) = (notes::folder(), watch::day(), desk::folder(), drawings::folder());
    vec![
        Sequence {
            name: "a note-taking page, 200 frames of 1404 x 1872 px",
            frames: (0..notes::FRAMES).map(|frame| page.join(notes::frame_name(frame))).collect(),
            size: [notes::WIDTH, notes::HEIGHT],
            plan: page.join(notes::PLAN),
        },
        Sequence {
            name: "a day of a watch, 1,440 frames of 200 x 200 px",
            frames: watch::minutes().map(|name| day.join(name)).collect(),
            size: [watch::SMALL_FACE; 2],
            plan: day.join(watch::PLAN),
        },
        Sequence {
            name: "a desk, 48 frames of 3840 x 2160 px",
            frames: (0..desk::FRAMES).map(|frame| desk.join(desk::frame_name(frame))).collect(),
            size: [desk::WIDTH, desk::HEIGHT],
            plan: desk.join(desk::PLAN),
        },
        Sequence {
            name: "a board, 60 drawings (SVG) with text, 800 x 480 px",
            frames: (0..drawings::FRAMES).map(|frame| board.join(drawings::frame_name(frame))).collect(),
            size: [drawings::WIDTH, drawings::HEIGHT],
            plan: board.join(drawings::PLAN),
        },
    ]
}

fn row(sequence: &Sequence, peers: &Path) -> Vec<String> {
    let is_drawn = sequence.frames[0].extension().is_some_and(|extension| extension == "svg");
    let list = sequence.plan.with_extension("list");
    let lines: Vec<String> = sequence.frames.iter().map(|frame| frame.display().to_string()).collect();
    fs::write(&list, lines.join("\n")).expect("the list can be written");
    let wanted = if is_drawn { Vec::new() } else { differences(sequence) };
    let mut floor = Vec::new();
    let mut reviews = Vec::new();
    let mut others = [(); PEERS.len()].map(|()| Vec::new());
    for run in 0..=RUNS {
        let decoding = if is_drawn { draw_all(sequence) } else { decode_all(sequence) };
        let review = process::review(&sequence.plan).0.as_secs_f64();
        if run > 0 {
            // The first round only warms the page cache.
            floor.push(decoding);
            reviews.push(review);
        }
        if run == 0 || is_drawn {
            continue;
        }
        for ((_, peer), times) in PEERS.iter().zip(&mut others) {
            times.push(peer.time(peers, &list, &wanted));
        }
    }
    let review = process::middle(&mut reviews);
    let floor = process::middle(&mut floor);
    let mut cells =
        vec![sequence.name.to_owned(), seconds(floor), format!("{} ({:.2})", seconds(review), review / floor)];
    for times in &mut others {
        let cell = if times.is_empty() {
            "reads no SVG".to_owned()
        } else {
            let time = process::middle(times);
            format!("{} ({:.1})", seconds(time), time / review)
        };
        cells.push(cell);
    }
    cells
}

impl Peer {
    /// Its own time, s. What it found must be what is there.
    fn time(self, place: &Path, list: &Path, wanted: &[Difference]) -> f64 {
        let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peers");
        let mut command = match self {
            Self::Boxes(library) => {
                let mut command = Command::new(place.join("python/bin/python"));
                command.arg(own.join("boxes.py")).arg(library);
                command
            }
            Self::Pixels => {
                let mut command = Command::new("node");
                command.arg(own.join("pixels.mjs"));
                command
            }
        };
        let output = command.arg(list).arg(THREADS.to_string()).current_dir(place).output().expect("the peer runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = String::from_utf8(output.stdout).expect("the peer writes text");
        let (time, found) = text.trim().split_once('\n').expect("the peer tells its time and what it found");
        let wanted: Vec<String> = wanted.iter().map(|difference| self.told(difference)).collect();
        assert!(found.lines().eq(wanted.iter().map(String::as_str)), "the peer found something else");
        time.parse().expect("the peer tells its time")
    }

    fn told(self, difference: &Difference) -> String {
        match self {
            Self::Boxes(_) => difference.bounds.map(|side| side.to_string()).join(" "),
            Self::Pixels => difference.pixels.to_string(),
        }
    }
}

/// What differs between two frames: the box around it, and its pixels.
struct Difference {
    bounds: [usize; 4],
    pixels: usize,
}

/// Worked out plainly, so that every program is seen to do the work.
fn differences(sequence: &Sequence) -> Vec<Difference> {
    let [width, height] = sequence.size;
    let decoded = |frame: &PathBuf| {
        let mut pixels = vec![0; width * height];
        decoding::png_frame(frame, &mut pixels);
        pixels
    };
    let mut before = decoded(&sequence.frames[0]);
    let mut found = Vec::new();
    for frame in &sequence.frames[1..] {
        let after = decoded(frame);
        let differs = (0..width * height).filter(|at| before[*at] != after[*at]);
        let (mut left, mut top, mut right, mut bottom, mut pixels) = (width, height, 0, 0, 0);
        for at in differs {
            (left, right) = (left.min(at % width), right.max(at % width + 1));
            (top, bottom) = (top.min(at / width), bottom.max(at / width + 1));
            pixels += 1;
        }
        let bounds = if pixels == 0 { [0; 4] } else { [left, top, right - left, bottom - top] };
        found.push(Difference { bounds, pixels });
        before = after;
    }
    found
}

/// By the faster of two decoders, s.
fn decode_all(sequence: &Sequence) -> f64 {
    let pixels = sequence.size[0] * sequence.size[1];
    let by = |decoder| decoding::decode_all_by(decoder, &sequence.frames, pixels, THREADS).as_secs_f64();
    by(Decoder::Png).min(by(Decoder::Zune))
}

/// Drawn one after the other on each thread, s.
fn draw_all(sequence: &Sequence) -> f64 {
    let size = Size { width: sequence.size[0] as u32, height: sequence.size[1] as u32 };
    let ink = Ink::grey_between(16, 0.04, 0.44);
    let begin = Instant::now();
    std::thread::scope(|scope| {
        for share in sequence.frames.chunks(sequence.frames.len().div_ceil(THREADS)) {
            let ink = &ink;
            scope.spawn(move || {
                let faces = Faces::new(Vec::new()).expect("the bundled face is there");
                for frame in share {
                    let bytes = fs::read(frame).expect("the drawing is there");
                    draw_svg(&bytes, size, ink, &faces, &|_| Err(String::new()), Vec::new())
                        .expect("the drawing is sound");
                }
            });
        }
    });
    begin.elapsed().as_secs_f64()
}

fn seconds(time: f64) -> String {
    format!("{time:.2} s")
}
