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
use stillpage::rules::{Page, pages};

use crate::common::{Run, finding_line, finding_lines, root};

/// The plans and flows of the fixtures that are `sound` or `troubled`, each with the name of its list: that of the folder,
/// of a flow with `-flow` behind it.
fn fixtures(kind: &str) -> Vec<(String, PathBuf)> {
    let folders = fs::read_dir(root().join("fixtures")).unwrap().map(|entry| entry.unwrap().path());
    let mut found: Vec<(String, PathBuf)> = folders
        .flat_map(|folder| {
            let name = folder.file_name().unwrap().to_str().unwrap().to_owned();
            let file = |ending: &str| folder.join(format!("{kind}.{ending}.json"));
            [(name.clone(), file("plan")), (format!("{name}-flow"), file("flow"))]
        })
        .filter(|(_, file)| file.exists())
        .collect();
    found.sort();
    assert!(found.len() >= 9, "only {found:?}");
    found
}

/// A line for every finding of a plan: the first and the last step, the rule, its level and its box; of a flow the place in
/// the file.
fn lines_of(plan: &Path) -> Vec<String> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", "--gate", "never", "--format", "json"]).arg(plan);
    let report = Run::of(command.output().unwrap()).with_status(0).json();
    let plan = &report["plans"][0];
    if plan["flow"].is_object() {
        return finding_lines(plan);
    }
    plan["findings"].as_array().unwrap().iter().map(line_of).collect()
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
    for (name, file) in fixtures("sound") {
        assert_eq!(lines_of(&file), [""; 0], "{name}");
    }
}

#[test]
fn troubled_plans_tell_what_is_listed_for_them() {
    for (name, file) in fixtures("troubled") {
        assert_eq!(lines_of(&file), expected_lines(&name), "{name}");
    }
}

#[test]
fn every_rule_fires_in_a_troubled_plan() {
    let lines: Vec<String> = fixtures("troubled").iter().flat_map(|(name, _)| expected_lines(name)).collect();
    let fired: BTreeSet<&str> = lines.iter().flat_map(|line| line.split(' ')).collect();
    // A plan never fires the rules about traces; the examples of their pages do.
    // What is open today may be decided tomorrow, so that the example of its page is enough for `not-proved`.
    let elsewhere = |page: &Page| page.group == "What a device recorded" || page.id == "not-proved";
    let of_plans = pages().iter().filter(|page| !elsewhere(page)).map(|page| page.id);
    let silent: Vec<&str> = of_plans.filter(|id| !fired.contains(id)).collect();
    assert_eq!(silent, [""; 0]);
}
