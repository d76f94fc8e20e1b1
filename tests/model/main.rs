//! The program against a second implementation of the panel's model: random plans are played by both, and everything
//! that is computed of them is compared, down to the residue of every pixel.
//!
//! `model/plain` is that second implementation, `model/random_plans` draws the plans. Neither shares code with the program.
//! `tests/long` plays ten times as many as every day, `STILLPAGE_PLANS=2000` so many.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/flow_in_memory.rs"]
mod flow_in_memory;
#[path = "../kept_failures/mod.rs"]
mod kept_failures;
#[path = "../common/shipped.rs"]
mod shipped;

mod comparing;
mod corners;
mod coverage;
mod disguise;
mod displays;
mod flows;
mod plain;
mod program;
mod random_plans;
mod stories;
mod trade;

use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    process::Command,
    thread,
};

use serde_json::Value;

const PLANS: u64 = 150;

/// What became of one seed.
enum Compared {
    /// Both agree; the cases that the plan came by.
    Agree(Vec<&'static str>),
    /// They differ.
    Differ(String),
}

#[test]
fn the_program_agrees_with_the_plain_model() {
    let plans = number_of_plans();
    let folder = tempfile::tempdir().unwrap();
    let results = for_each_seed(plans, |seed| compare(seed, &folder.path().join(seed.to_string())));

    let mut seen = BTreeMap::new();
    let (mut agree, mut differ) = (0, Vec::new());
    for (seed, result) in results {
        match result {
            Compared::Agree(cases) => {
                agree += 1;
                for case in cases {
                    *seen.entry(case).or_insert(0_u64) += 1;
                }
            }
            Compared::Differ(first) => differ.push(format!("seed {seed}: {first}")),
        }
    }
    if !differ.is_empty() {
        let kept = folder.keep();
        panic!(
            "{} plans differ; they stand in {}, a folder a seed\n{}",
            differ.len(),
            kept.display(),
            differ.join("\n")
        );
    }
    assert_eq!(agree, plans);
    let rare: Vec<_> = coverage::ALL_CASES
        .iter()
        .chain(&coverage::CASES_OF_THE_SECOND)
        .map(|case| (case, seen.get(case).copied().unwrap_or(0)))
        .filter(|(_, times)| *times < plans / 30)
        .collect();
    assert!(rare.is_empty(), "the plans hardly come by {rare:?}");
    let left_out = seen.get(coverage::NOT_COMPARED).copied().unwrap_or(0);
    assert!(left_out <= plans / 30, "flashes of {left_out} plans are not compared");
}

/// Plays one random plan with both, and compares the facts and every pixel.
fn compare(seed: u64, folder: &Path) -> Compared {
    let path = random_plans::write_plan(seed, folder).unwrap();
    let plan = plain::reading::read_plan(&path).unwrap();
    let played = plain::playing::play(&plan).unwrap();
    let breaks = plain::flashes::breaks(&plan, &played).unwrap();
    // One thread and several must give the same, so the seeds take turns.
    let threads = 1 + (seed % 3) as usize;
    match comparing::first_difference(&path, &played, &breaks, threads) {
        Some(first) => Compared::Differ(first),
        None => Compared::Agree(coverage::cases(&read_json(&path), &plan, &played, &breaks)),
    }
}

/// What a fuzzer kept, as it found plans that none before was like.
#[test]
fn both_agree_on_the_plans_that_a_fuzzer_kept() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/panel");
    let files: Vec<PathBuf> = fs::read_dir(kept).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert!(!files.is_empty());
    let folder = tempfile::tempdir().unwrap();
    let differs = |at: u64| {
        let bytes = fs::read(&files[at as usize]).unwrap();
        comparing::first_difference_of_bytes(&bytes, &folder.path().join(at.to_string()))
    };
    for (at, difference) in for_each_seed(files.len() as u64, differs) {
        assert_eq!(difference, None, "{}", files[at as usize].display());
    }
}

/// The facts that the program writes are the ones that it plays: plans on disk, one run, every line; the same bytes with
/// one thread and with several. Each plan stands there a second time in another form that must mean the same: its
/// description as changes to another one, both files with comments and trailing commas.
#[test]
fn the_facts_file_agrees_however_the_plan_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let mut wanted = BTreeMap::new();
    for seed in 1000..1000 + number_of_plans() / 6 {
        let path = random_plans::write_plan(seed, &folder.path().join(seed.to_string())).unwrap();
        let plan = plain::reading::read_plan(&path).unwrap();
        if !plan.display.ink.colours.is_empty() {
            fs::remove_dir_all(path.parent().unwrap()).unwrap();
            continue;
        }
        let played = plain::playing::play(&plan).unwrap();
        let breaks = plain::flashes::breaks(&plan, &played).unwrap();
        let disguised = disguise::write_again(&path).unwrap();
        for path in [path, disguised] {
            wanted.insert(path.display().to_string(), (played.clone(), breaks.clone()));
        }
    }
    let facts = |threads: &str, name: &str| {
        let file = folder.path().join(name);
        let report = review_to_facts(folder.path(), &file, threads);
        (fs::read_to_string(file).unwrap(), report)
    };
    let ((one, report), several) = (facts("1", "one.jsonl"), facts("4", "several.jsonl"));
    assert!(one == several.0, "one thread and several give other facts");
    assert!(report == several.1, "one thread and several give other findings");

    let mut by_plan: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for line in one.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        by_plan.entry(line["plan"].as_str().unwrap().to_owned()).or_default().push(line);
    }
    assert!(wanted.len() as u64 >= number_of_plans() / 6, "hardly a plan was written: {}", wanted.len());
    let mut flashing = 0;
    for (path, (played, breaks)) in wanted {
        let lines = by_plan.remove(&path).unwrap_or_default();
        let first = comparing::first_difference_of_facts(&path, &lines, &played);
        assert_eq!(first, None, "{path} (seed and form by its name)");
        let reviewed = report["plans"].as_array().unwrap().iter().find(|plan| plan["plan"] == *path).unwrap();
        assert_eq!(comparing::first_difference_of_flashes(reviewed, &breaks), None, "{path}");
        flashing += u64::from(breaks.iter().any(|step| !step.found.is_empty()));
    }
    assert!(by_plan.is_empty(), "{:?}", by_plan.keys());
    assert!(flashing >= number_of_plans() / 50, "hardly a plan flashes too fast: {flashing}");
}

#[test]
fn a_seed_gives_the_same_files() {
    let folder = tempfile::tempdir().unwrap();
    let written = ["a", "b"].map(|name| {
        random_plans::write_plan(77, &folder.path().join(name)).unwrap();
        ["random.plan.json", "random.display.json"].map(|file| fs::read(folder.path().join(name).join(file)).unwrap())
    });
    assert_eq!(written[0], written[1]);
}

/// Seeds are played on all cores, and given back in order.
fn for_each_seed<T: Send>(plans: u64, play: impl Fn(u64) -> T + Sync) -> Vec<(u64, T)> {
    let workers = thread::available_parallelism().map_or(1, usize::from) as u64;
    let work =
        &|worker: u64| (worker..plans).step_by(workers as usize).map(|seed| (seed, play(seed))).collect::<Vec<_>>();
    let mut results: Vec<(u64, T)> = thread::scope(|scope| {
        let running: Vec<_> = (0..workers).map(|worker| scope.spawn(move || work(worker))).collect();
        running.into_iter().flat_map(|worker| worker.join().unwrap()).collect()
    });
    results.sort_by_key(|(seed, _)| *seed);
    results
}

fn number_of_plans() -> u64 {
    let asked = std::env::var("STILLPAGE_PLANS").ok();
    let usual = PLANS * u64::from(kept_failures::times());
    asked.map_or(usual, |asked| asked.parse::<u64>().unwrap().max(PLANS))
}

fn read_json(path: &PathBuf) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

/// Reviews every plan below a folder and writes the facts; gives the findings as JSON.
fn review_to_facts(folder: &Path, facts: &Path, threads: &str) -> Value {
    let run = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(["review", "--gate", "never", "--format", "json", "--threads", threads, "--facts"])
        .arg(facts)
        .arg(folder)
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}
