//! What annotated pictures and the page cost: 20 plans of a tablet, 300 pictures. Run with `cargo bench --bench pictures`;
//! nothing here is a test. Another build of the program is measured beside this one where its path is given:
//! `cargo bench --bench pictures -- PATH`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use common::{
    dice::Dice,
    picture::Picture,
    process::middle,
    sequence::{self, Shown},
};

const RUNS: usize = 3;
const PLANS: usize = 20;
const STEPS: usize = 15;
/// Pages that the plans turn to.
const PAGES: usize = 8;
const SIZE: [usize; 2] = [1404, 1872];
/// The last plan to be written.
const LAST: &str = "last.plan.json";

fn main() {
    let folder = sequence::folder("tablet-plans", LAST, draw);
    let others = std::env::args().skip(1).filter(|word| !word.starts_with('-'));
    let programs: Vec<PathBuf> =
        [env!("CARGO_BIN_EXE_stillpage").to_owned()].into_iter().chain(others).map(PathBuf::from).collect();
    let mut measured = vec![Vec::new(); programs.len()];
    for _ in 0..RUNS {
        for (program, measured) in programs.iter().zip(&mut measured) {
            measured.push(review(program, &folder));
        }
    }
    for (program, runs) in programs.iter().zip(&mut measured) {
        let mut seconds: Vec<f64> = runs.iter().map(|run| run.seconds).collect();
        let seconds = middle(&mut seconds);
        let Run { pictures, picture_bytes, page_bytes, .. } = runs[0];
        println!(
            "{}: {pictures} pictures and the page, {seconds:.1} s of processor time, {:.3} s a picture; {:.1} MB of pictures, a page of {:.1} MB",
            program.display(),
            seconds / pictures as f64,
            picture_bytes as f64 / 1e6,
            page_bytes as f64 / 1e6,
        );
    }
}

/// Pages of lines that nobody can read, and plans that turn to them quickly without a cleaning: every step leaves ghosts.
fn draw(folder: &Path) {
    let mut dice = Dice(11);
    for page in 0..PAGES {
        let mut picture = Picture::white(SIZE);
        for line in 0..36 {
            picture.scribble([100, 80 + 48 * line, 600 + dice.roll(600)], &mut dice);
        }
        // A shaded box, so that grey is among it.
        picture.fill([100 + 60 * page, 300, 420, 260], 85);
        picture.save(&folder.join(format!("page-{page}.png")));
    }
    for plan in 0..PLANS {
        let mut steps = String::new();
        let mut page = 0;
        for step in 0..STEPS {
            page = (page + 1 + dice.roll(PAGES - 1)) % PAGES;
            steps += &sequence::step(&format!("page-{page}.png"), 4000, "touch", step == 0);
        }
        let file: &'static str = if plan + 1 == PLANS { LAST } else { format!("plan-{plan:02}.plan.json").leak() };
        Shown { plan: file, title: "Notes of Skerry Haven", based_on: "tablet-10in3", size: SIZE }
            .write(folder, &steps);
    }
}

#[derive(Clone, Copy)]
struct Run {
    seconds: f64,
    pictures: usize,
    picture_bytes: u64,
    page_bytes: u64,
}

fn review(program: &Path, folder: &Path) -> Run {
    let out = folder.with_extension("out");
    let _ = fs::remove_dir_all(&out);
    fs::create_dir_all(&out).expect("the folder can be made");
    let page = out.join("page.html");
    let before = processor_seconds();
    let status = Command::new(program)
        .args(["review", "--gate", "never", "--format", "json", "--html"])
        .arg(&page)
        .arg("--pictures")
        .arg(out.join("pictures"))
        .arg(folder)
        .stdout(Stdio::null())
        .status()
        .expect("the program runs");
    assert!(status.success(), "{} failed", program.display());
    let seconds = processor_seconds() - before;
    let pictures = sizes_below(&out.join("pictures"));
    let page_bytes = fs::metadata(page).expect("the page is there").len();
    Run { seconds, pictures: pictures.len(), picture_bytes: pictures.iter().sum(), page_bytes }
}

fn sizes_below(folder: &Path) -> Vec<u64> {
    let entries = fs::read_dir(folder).expect("the folder is there").map(|entry| entry.expect("it can be read").path());
    let sizes = |path: PathBuf| {
        if path.is_dir() { sizes_below(&path) } else { vec![fs::metadata(&path).expect("it is there").len()] }
    };
    entries.flat_map(sizes).collect()
}

/// What the processes that have ended took of the processor, s; Linux counts it in hundredths.
fn processor_seconds() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux tells it");
    // The name of the program, in brackets, may hold blanks; behind it the user's time of children is the 14th field.
    let (_, fields) = stat.rsplit_once(')').expect("the name stands in brackets");
    let ticks = fields.split_whitespace().skip(13).take(2).map(|field| field.parse::<f64>().expect("a number"));
    ticks.sum::<f64>() / 100.0
}
