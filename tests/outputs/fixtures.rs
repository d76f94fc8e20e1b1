//! The fixtures: every sound plan is silent, and every troubled one tells exactly what is listed for it.
//!
//! The lists in `tests/data/troubled` were read line by line against what each plan does wrong; knows places, not words.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use serde_json::Value;
use stillpage::rules::pages;

use crate::common::{Run, finding_line, root};

/// The folders of the fixtures that hold plans.
fn fixtures() -> Vec<PathBuf> {
    let folders = fs::read_dir(root().join("fixtures")).unwrap().map(|entry| entry.unwrap().path());
    let mut folders: Vec<PathBuf> = folders.filter(|folder| folder.join("sound.plan.json").exists()).collect();
    folders.sort();
    assert!(folders.len() >= 8, "only {folders:?}");
    folders
}

fn name_of(folder: &Path) -> &str {
    folder.file_name().unwrap().to_str().unwrap()
}

/// A line for every finding of a plan: the first and the last step, the rule, its level and its box.
fn lines_of(plan: &Path) -> Vec<String> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", "--gate", "never", "--format", "json"]).arg(plan);
    let report = Run::of(command.output().unwrap()).with_status(0).json();
    report["plans"][0]["findings"].as_array().unwrap().iter().map(line_of).collect()
}

fn line_of(finding: &Value) -> String {
    let (first, last) = (&finding["step"], &finding["last_step"]);
    finding_line(finding, &if first == last { first.to_string() } else { format!("{first} to {last}") })
}

fn expected_lines(name: &str) -> Vec<String> {
    let list = root().join("tests/data/troubled").join(name).with_extension("txt");
    fs::read_to_string(list).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn sound_plans_are_silent() {
    for folder in fixtures() {
        assert_eq!(lines_of(&folder.join("sound.plan.json")), [""; 0], "{}", name_of(&folder));
    }
}

#[test]
fn troubled_plans_tell_what_is_listed_for_them() {
    for folder in fixtures() {
        let name = name_of(&folder);
        assert_eq!(lines_of(&folder.join("troubled.plan.json")), expected_lines(name), "{name}");
    }
}

#[test]
fn every_rule_fires_in_a_troubled_plan() {
    let lines: Vec<String> = fixtures().iter().flat_map(|folder| expected_lines(name_of(folder))).collect();
    let fired: BTreeSet<&str> = lines.iter().flat_map(|line| line.split(' ')).collect();
    // A plan never fires the rules about traces; the examples of their pages do.
    let of_plans = pages().iter().filter(|page| page.group != "What a device recorded").map(|page| page.id);
    let silent: Vec<&str> = of_plans.filter(|id| !fired.contains(id)).collect();
    assert_eq!(silent, [""; 0]);
}
