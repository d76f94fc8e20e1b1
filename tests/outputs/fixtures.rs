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

/// All answers that are late and all updates that wait in the troubled flow come from one cleaning at its start.
#[test]
fn what_waits_in_a_flow_has_one_cause() {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", "fixtures/harbour-desk/troubled.flow.json", "--format", "json", "--gate", "never"]);
    let report = Run::of(command.current_dir(root()).output().unwrap()).with_status(0).json();
    let findings = report["plans"][0]["findings"].as_array().unwrap();
    let of_rule = |rule: &str| findings.iter().filter(|finding| finding["rule"] == rule).collect::<Vec<_>>();
    let [busy] = of_rule("cannot-keep-up")[..] else { panic!("{findings:#?}") };
    for (rule, count) in [("slow-answer", 10), ("updates-collide", 7)] {
        let follow = of_rule(rule);
        assert_eq!(follow.len(), count, "{rule}");
        assert!(follow.iter().all(|finding| finding["cause"] == busy["fingerprint"]), "{rule}: {follow:#?}");
    }
    assert_eq!(findings.iter().filter(|finding| finding["cause"].is_null()).count(), findings.len() - 17);
}

/// The invented device highlights with a flash and falls asleep too early, and does nothing else that was not meant.
#[test]
fn a_trace_departs_from_its_plan_as_its_readme_says() {
    let folder = root().join("fixtures/logbook");
    assert_eq!(lines_of(&folder.join("marking.plan.json")), [""; 0]);
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", "marking.trace.jsonl", "--against", "marking.plan.json", "--format", "json"]);
    let report = Run::of(command.current_dir(&folder).output().unwrap()).with_status(1).json();
    let plan = &report["plans"][0];
    let lines: Vec<String> = plan["findings"].as_array().unwrap().iter().map(line_of).collect();
    let expected = [
        "step 2 done-otherwise error [320, 396, 1080, 72]",
        "step 2 needless-flash warning [320, 396, 1080, 72]",
        "step 3 not-done error -",
    ];
    assert_eq!(lines, expected);
    assert_eq!(plan["summary"]["as_planned"], serde_json::json!({ "steps": 3, "of": 5 }));
    assert_eq!(plan["findings"][0]["label"], "21:14:08.885, the user says: it flickered");
}

/// Nobody reads a longer one.
#[test]
fn the_review_of_all_fixtures_fits_on_a_few_screens() {
    const MOST_LINES: usize = 150;
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    let run = Run::of(command.args(["review", "fixtures"]).current_dir(root()).output().unwrap());
    assert!(run.out.lines().count() <= MOST_LINES, "{} lines", run.out.lines().count());
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
