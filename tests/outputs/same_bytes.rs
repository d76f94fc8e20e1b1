//! The same plans give the same bytes in every format: on one thread and on several, whatever the language, the time zone,
//! the working folder and the order of the arguments. That a release build says the same is held by `cargo test --release
//! --test outputs`, with the same kept outputs.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{collections::BTreeMap, fs, path::Path, process::Command, sync::LazyLock};

use tempfile::TempDir;
use walkdir::WalkDir;

use crate::common::root;

/// Plans of both inks and all kinds of steps, quickly reviewed.
const PLANS: [&str; 4] = [
    "tide-watch/troubled.plan.json",
    "fuel-gauge/troubled.plan.json",
    "alarm-flag/troubled.plan.json",
    "ferry-check/sound.plan.json",
];

const FORMATS: [&str; 4] = ["json", "sarif", "junit", "markdown"];

/// What all outputs of the plans hold, by name, as the program is called most of the time.
static USUAL: LazyLock<BTreeMap<String, Vec<u8>>> = LazyLock::new(|| written(|_| ()));

#[test]
fn threads_change_nothing() {
    let pictures = USUAL.keys().filter(|name| name.starts_with("pictures")).count();
    assert!(pictures > 5, "{pictures} pictures");
    for threads in ["1", "2", "7"] {
        let other = written(|command| {
            command.args(["--threads", threads]);
        });
        assert_same(&USUAL, &other, &format!("{threads} threads"));
    }
}

#[test]
fn language_and_time_zone_change_nothing() {
    for (language, zone) in [("tr_TR.UTF-8", "Pacific/Kiritimati"), ("C", "America/St_Johns"), ("ja_JP.eucJP", "UTC")] {
        let other = written(|command| {
            command.envs([("LANG", language), ("LC_ALL", language), ("LANGUAGE", language), ("TZ", zone)]);
        });
        assert_same(&USUAL, &other, language);
    }
}

/// The same files in another place: another clone, another machine.
#[test]
fn the_working_folder_changes_nothing() {
    let elsewhere = TempDir::new().unwrap();
    let folders = PLANS.iter().map(|plan| plan.split_once('/').unwrap().0).chain(["fonts"]);
    for entry in folders.flat_map(|folder| WalkDir::new(root().join("fixtures").join(folder))).map(Result::unwrap) {
        let copy = elsewhere.path().join(entry.path().strip_prefix(root()).unwrap());
        if entry.file_type().is_dir() {
            fs::create_dir_all(copy).unwrap();
        } else {
            fs::copy(entry.path(), copy).unwrap();
        }
    }
    let other = written(|command| {
        command.current_dir(elsewhere.path());
    });
    assert_same(&USUAL, &other, "another folder");
}

#[test]
fn the_order_of_arguments_changes_nothing() {
    let place = TempDir::new().unwrap();
    let mut command = review();
    command.args(outputs(place.path()).into_iter().rev().flatten());
    command.args(plans().iter().rev());
    assert_same(&USUAL, &run(command, &place), "the other way round");
}

/// The same, where something is changed about the call.
fn written(change: impl FnOnce(&mut Command)) -> BTreeMap<String, Vec<u8>> {
    let place = TempDir::new().unwrap();
    let mut command = review();
    command.args(plans()).args(outputs(place.path()).into_iter().flatten());
    change(&mut command);
    run(command, &place)
}

fn review() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.arg("review").current_dir(root());
    command
}

fn run(mut command: Command, place: &TempDir) -> BTreeMap<String, Vec<u8>> {
    let output = command.args(["--gate", "never"]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let mut found = BTreeMap::from([("standard output".to_owned(), output.stdout)]);
    for entry in WalkDir::new(place.path()).into_iter().map(Result::unwrap).filter(|entry| entry.file_type().is_file())
    {
        let name = entry.path().strip_prefix(place.path()).unwrap().to_string_lossy().into_owned();
        found.insert(name, fs::read(entry.path()).unwrap());
    }
    // Outputs name the pictures by their path, and each run has a place of its own.
    let own = place.path().to_str().unwrap();
    for bytes in found.values_mut() {
        if let Ok(text) = str::from_utf8(bytes) {
            *bytes = text.replace(own, "PLACE").into_bytes();
        }
    }
    found
}

fn plans() -> [String; PLANS.len()] {
    PLANS.map(|plan| format!("fixtures/{plan}"))
}

/// Every output that there is, an option with its value each.
fn outputs(place: &Path) -> Vec<Vec<String>> {
    let file = |name: &str| place.join(name).display().to_string();
    let mut outputs: Vec<Vec<String>> =
        FORMATS.iter().map(|format| vec!["--also".into(), format!("{format}={}", file(format))]).collect();
    for (option, name) in [("--facts", "facts"), ("--html", "html"), ("--pictures", "pictures")] {
        outputs.push(vec![option.into(), file(name)]);
    }
    outputs
}

fn assert_same(usual: &BTreeMap<String, Vec<u8>>, other: &BTreeMap<String, Vec<u8>>, what: &str) {
    assert!(usual.keys().eq(other.keys()), "{what}: {:?} and {:?}", usual.keys(), other.keys());
    for (name, bytes) in usual {
        assert!(!bytes.is_empty() && other[name] == *bytes, "{name} differs: {what}");
    }
}
