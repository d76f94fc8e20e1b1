//! `stillpage mend`: what the pages of the rules say exactly is done, nothing new is found afterwards, everything else of a plan
//! stays byte for byte, and a second run finds nothing to do. Knows plans and findings as a user does.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{collections::BTreeMap, fs};

use proptest::prelude::*;
use serde_json::{Value, json};
use stillpage::rules::pages;

use crate::common::{Folder, Run, SQUARE, example_display};

/// The rules whose example is mended: their pages say an exact change.
const MENDED: [&str; 19] = [
    "left-behind",
    "never-shown",
    "nothing-changes",
    "window-off-panel",
    "window-off-grid",
    "window-too-small",
    "no-windows-here",
    "too-many-windows",
    "box-swells",
    "grey-in-two-level-mode",
    "wrong-start",
    "redriven-segment",
    "needless-flash",
    "restless",
    "too-soon",
    "stray-ink",
    "pen-lags",
    "text-lost",
    // Its budget is of flashes, and one of them is needless.
    "over-budget",
];

/// The findings that nobody accepted, by rule and step of the file: how many are notes or worse, warnings or worse, errors.
type Found = BTreeMap<(String, String), [usize; 3]>;

fn found(folder: &Folder, plan: &str) -> Found {
    let report = folder.run(&["review", plan, "--gate", "never", "--format", "json"]).with_status(0).json();
    let mut found = Found::new();
    for finding in report["plans"][0]["findings"].as_array().unwrap() {
        if finding["accepted"].is_string() {
            continue;
        }
        let worst = ["note", "warning", "error"].iter().position(|level| finding["level"] == **level).unwrap();
        let (rule, step) = (finding["rule"].as_str().unwrap(), step_of(finding["at"]["pointer"].as_str().unwrap()));
        // What lasts is told once, at the first step that shows it, and stays the same at another one: a glass that nobody
        // knows, a run of steps that wait.
        let lasts = ["unknown-start", "cannot-keep-up"].contains(&rule);
        let key = (rule.to_owned(), if lasts { String::new() } else { step });
        found.entry(key).or_default().iter_mut().take(worst + 1).for_each(|count| *count += 1);
    }
    found
}

/// The step of the file: all up to the last number behind `steps`.
fn step_of(pointer: &str) -> String {
    let parts: Vec<&str> = pointer.split('/').collect();
    match parts.iter().rposition(|part| *part == "steps").filter(|_| parts.get(1) == Some(&"steps")) {
        Some(at) => parts[..=at + 1].join("/"),
        None => pointer.to_owned(),
    }
}

fn new_findings(before: &Found, after: &Found) -> Vec<String> {
    let is_more = |(key, counts): &(&(String, String), &[usize; 3])| {
        let known = before.get(*key).copied().unwrap_or_default();
        counts.iter().zip(known).any(|(count, known)| *count > known)
    };
    after.iter().filter(is_more).map(|(key, _)| format!("{key:?}")).collect()
}

/// Mends a plan and checks all that is always true of it; gives what the run printed.
fn mended(folder: &Folder, plan: &str) -> (Run, Found, Found) {
    let text = folder.read(plan);
    let before = found(folder, plan);
    let run = folder.run(&["mend", plan]).with_status(0);
    let after = found(folder, plan);
    assert_eq!(new_findings(&before, &after), [""; 0], "{plan}\n{text}\n->\n{}\n{}", folder.read(plan), run.out);
    let once = folder.read(plan);
    let again = folder.run(&["mend", plan]).with_status(0);
    assert!(again.out.contains("nothing was corrected"), "{}\n{text}\n->\n{once}", again.out);
    assert_eq!(folder.read(plan), once, "a second run changes nothing");
    (run, before, after)
}

#[test]
fn what_a_page_says_exactly_is_done() {
    let mut done = Vec::new();
    for page in pages() {
        let example = page.examples.iter().find(|example| example.heading == "Fires").unwrap();
        // What a device recorded cannot be changed.
        if example.trace.is_some() || example.flow.is_some() {
            continue;
        }
        let folder = Folder::of_example(example);
        let (_, before, after) = mended(&folder, "example.plan.json");
        let count = |found: &Found| -> usize {
            found.iter().filter(|((rule, _), _)| *rule == page.id).map(|(_, counts)| counts[0]).sum()
        };
        assert!(count(&before) > 0, "{}", page.id);
        if count(&after) == 0 {
            done.push(page.id);
        } else {
            assert_eq!(count(&after), count(&before), "half of {} went", page.id);
        }
    }
    assert_eq!(done, MENDED);
}

/// All comments of a plan, which stand in lines of their own in the fixtures.
fn comments(text: &str) -> Vec<&str> {
    text.lines().map(str::trim).filter(|line| line.starts_with("//")).collect()
}

fn mend_fixture(name: &str, least_taken: usize) {
    let folder = Folder::of_fixtures();
    let plan = format!("{name}/troubled.plan.json");
    let before = folder.read(&plan);
    let (run, was, is) = mended(&folder, &plan);
    let after = folder.read(&plan);
    assert_eq!(comments(&before), comments(&after));
    let taken = run.out.lines().filter(|line| line.starts_with("step ")).count();
    assert!(taken >= least_taken, "{}", run.out);
    assert_eq!(was.values().sum_counts() > is.values().sum_counts(), taken > 0, "{}", run.out);
    // Only lines that a correction is about differ: few of them, and the others in their order.
    let kept = after.lines().filter(|line| before.lines().any(|other| other == *line)).count();
    assert!(after.lines().count() - kept <= 2 * taken, "{before}\n->\n{after}");
}

trait Counts {
    fn sum_counts(self) -> usize;
}

impl<'c, I: Iterator<Item = &'c [usize; 3]>> Counts for I {
    fn sum_counts(self) -> usize {
        self.flatten().sum()
    }
}

#[test]
fn tide_watch_is_mended() {
    mend_fixture("tide-watch", 4);
}

#[test]
fn logbook_is_mended() {
    mend_fixture("logbook", 4);
}

#[test]
fn chart_desk_and_ferry_check_are_mended() {
    mend_fixture("chart-desk", 1);
    mend_fixture("ferry-check", 2);
}

#[test]
fn labels_boards_and_segments_are_mended() {
    mend_fixture("berth-label", 1);
    mend_fixture("pilot-board", 1);
    mend_fixture("alarm-flag", 0);
    mend_fixture("fuel-gauge", 0);
}

/// Two steps ask for the same window off the grid, a comment stands between them.
const OFF_GRID: &str = "{
  \"begins\": \"white\",
  \"steps\": [
    { \"label\": \"on\", \"screen\": \"square.png\", \"updates\": [{ \"mode\": \"quick\", \"window\": [2, 2, 4, 4] }] },
    // back
    { \"label\": \"off\", \"screen\": \"white.png\", \"after_ms\": 60000, \"updates\": [{ \"mode\": \"quick\", \"window\": [2, 2, 4, 4] }], },
  ],
}
";

#[test]
fn one_finding_of_two_places_is_corrected_in_both() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", OFF_GRID);
    let before = folder.read("a.plan.json");
    let (run, _, after) = mended(&folder, "a.plan.json");
    assert!(run.out.contains("window [2, 2, 4, 4] -> [0, 2, 8, 4], in 2 places (`window-off-grid`)"), "{}", run.out);
    assert_eq!(folder.read("a.plan.json"), before.replace("[2, 2, 4, 4]", "[0, 2, 8, 4]"));
    assert_eq!(after, Found::new());
}

#[test]
fn a_dry_run_prints_a_diff_and_writes_nothing() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", OFF_GRID);
    let before = folder.read("a.plan.json");
    let run = folder.run(&["mend", "--dry-run", "a.plan.json"]).with_status(0);
    assert_eq!(folder.read("a.plan.json"), before);
    assert!(run.error.contains("1 correction to make; nothing was written"), "{}", run.error);
    // The diff is one that another program can make use of: `patch` makes the mended plan of it.
    folder.file("b.plan.json", &before);
    folder.file("changes.diff", &run.out);
    let patched = std::process::Command::new("patch")
        .args(["--quiet", "b.plan.json", "changes.diff"])
        .current_dir(folder.path())
        .status();
    mended(&folder, "a.plan.json");
    match patched {
        Ok(status) => {
            assert!(status.success(), "{}", run.out);
            assert_eq!(folder.read("b.plan.json"), folder.read("a.plan.json"));
        }
        // Without the program on this machine the lines alone are looked at.
        Err(_) => assert!(run.out.contains("\n+    { \"label\": \"on\""), "{}", run.out),
    }
}

#[test]
fn a_plan_that_says_nothing_of_the_glass_begins_with_white() {
    let folder = Folder::usual();
    let text = "{
  // The lamp of the quay.
  \"format\": \"refresh-plan/1\",
  \"display\": \"panel.display.json\",
  \"steps\": [
    { \"screen\": \"square.png\", \"updates\": [{ \"mode\": \"quick\", \"window\": [0, 0, 8, 8] }] }
  ]
}
";
    folder.file("a.plan.json", text);
    let (run, before, after) = mended(&folder, "a.plan.json");
    assert!(before.keys().any(|(rule, _)| rule == "unknown-start") && after.is_empty(), "{before:?} {after:?}");
    assert!(run.out.contains("`\"begins\": \"white\"` added to the plan (`unknown-start`)"), "{}", run.out);
    let begins = "  \"begins\": \"white\",\n  \"steps\"";
    assert_eq!(folder.read("a.plan.json"), text.replace("  \"steps\"", begins));
    // Who says that nobody knows the glass means it: that is left to be cleaned.
    folder.file("b.plan.json", text.replace("  \"steps\"", &begins.replace("white", "unknown")));
    let (run, before, after) = mended(&folder, "b.plan.json");
    assert!(before == after && !run.out.contains("added to the plan"), "{}", run.out);
}

#[test]
fn what_the_panel_forgot_later_is_not_put_right_by_what_it_begins_with() {
    let folder = Folder::usual();
    let mut display = example_display([16, 8]);
    display["memory"] = json!("lost_when_off");
    folder.display("panel.display.json", &display);
    folder.file(
        "a.plan.json",
        r#"{ "format": "refresh-plan/1", "display": "panel.display.json", "steps": [
            { "screen": "square.png", "updates": [{ "mode": "full" }], "power": "off" },
            { "screen": "white.png", "after_ms": 60000, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] } ] }"#,
    );
    let before = folder.read("a.plan.json");
    let (run, found, _) = mended(&folder, "a.plan.json");
    assert!(found.keys().any(|(rule, _)| rule == "unknown-start"), "{found:?}");
    assert!(!run.out.contains("begins"), "{}", run.out);
    assert_eq!(folder.read("a.plan.json"), before);
}

#[test]
fn a_correction_that_makes_things_worse_is_told_and_not_made() {
    let folder = Folder::usual();
    // The key wants its whole answer within 300 ms, and only a slower mode has the grey.
    folder.screen("grey.png", &SQUARE.replace('#', "8"));
    folder.plan(
        "a.plan.json",
        r#"{ "begins": "white", "rules": { "slow-answer": { "whole_ms": 300 } }, "steps": [
            { "screen": "grey.png", "cause": "key", "updates": [{ "mode": "quick", "window": "changed" }] } ] }"#,
    );
    let before = folder.read("a.plan.json");
    let (run, _, _) = mended(&folder, "a.plan.json");
    assert_eq!(folder.read("a.plan.json"), before);
    assert!(run.out.contains("not corrected: `grey-in-two-level-mode` at step 0"), "{}", run.out);
    assert!(run.out.contains("mode `quick` -> `grey`: it would lead to `slow-answer` at step 0"), "{}", run.out);
}

#[test]
fn behind_a_step_that_is_left_to_choose_only_boxes_are_put_right() {
    let folder = Folder::usual();
    // What the first step will leave on the glass decides whether the second update changes anything.
    folder.plan(
        "a.plan.json",
        r#"{ "begins": "white", "steps": [
            { "screen": "square.png", "label": "open", "updates": "choose" },
            { "screen": "white.png", "updates": [{ "mode": "quick", "window": [1, 0, 8, 8] }] } ] }"#,
    );
    let (run, before, after) = mended(&folder, "a.plan.json");
    assert!(before.contains_key(&("nothing-changes".into(), "/steps/1".into())), "{before:?}");
    assert!(after.contains_key(&("nothing-changes".into(), "/steps/1".into())), "{after:?}");
    assert!(
        run.out.contains("the updates of step 0 \"open\" are still to be chosen; `stillpage replan`"),
        "{}",
        run.out
    );
    assert!(folder.read("a.plan.json").contains("[0, 0, 16, 8]"), "{}", folder.read("a.plan.json"));
}

#[test]
fn a_plan_that_cannot_be_read_is_left_as_it_is() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "none.png" }] }"#);
    let before = folder.read("a.plan.json");
    let run = folder.run(&["mend", "a.plan.json"]).with_status(2);
    assert!(run.error.contains("none.png"), "{}", run.error);
    assert_eq!(folder.read("a.plan.json"), before);
    folder.run(&["mend", "."]).with_status(2);
    folder.run(&["mend", "b.plan.json"]).with_status(2);
}

#[cfg(unix)]
#[test]
fn rights_links_and_the_mark_at_the_beginning_are_kept() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = Folder::usual();
    folder.plan("a.plan.json", OFF_GRID);
    folder.file("a.plan.json", format!("\u{feff}{}", folder.read("a.plan.json")));
    fs::set_permissions(folder.join("a.plan.json"), fs::Permissions::from_mode(0o640)).unwrap();
    symlink("a.plan.json", folder.join("link.plan.json")).unwrap();
    folder.run(&["mend", "link.plan.json"]).with_status(0);
    assert!(fs::symlink_metadata(folder.join("link.plan.json")).unwrap().file_type().is_symlink());
    assert_eq!(fs::metadata(folder.join("a.plan.json")).unwrap().permissions().mode() & 0o777, 0o640);
    let text = folder.read("a.plan.json");
    assert!(text.starts_with('\u{feff}') && text.contains("[0, 2, 8, 4]"), "{text}");
}

/// An update in any mode, with any windows.
fn update() -> impl Strategy<Value = Value> {
    let window =
        || (-2..14_i64, -2..7_i64, 1..12_i64, 1..8_i64).prop_map(|(x, y, width, height)| json!([x, y, width, height]));
    let windows = prop_oneof![
        2 => Just(json!("changed")),
        1 => Just(json!("all")),
        4 => window(),
        2 => prop::collection::vec(window(), 1..4).prop_map(Value::from),
    ];
    (prop::sample::select(vec!["full", "grey", "quick"]), windows)
        .prop_map(|(mode, window)| json!({ "mode": mode, "window": window }))
}

fn step() -> impl Strategy<Value = Value> {
    let shows = prop::sample::select(vec![
        json!({ "screen": "white.png" }),
        json!({ "screen": "square.png" }),
        json!({ "screen": "grey.png" }),
        json!({ "each": "turns/*.png" }),
        json!({}),
    ]);
    let after = prop::sample::select(vec![0, 100, 500, 2500, 60_000]);
    let cause = prop::sample::select(vec!["key", "clock", "touch", "system"]);
    (shows, after, cause, prop::option::weighted(0.9, prop::collection::vec(update(), 0..3))).prop_map(
        |(mut step, after, cause, updates)| {
            step["after_ms"] = json!(after);
            step["cause"] = json!(cause);
            if let Some(updates) = updates {
                step["updates"] = Value::from(updates);
            }
            step
        },
    )
}

/// A plan of a few steps, some of them repeated, for the folder of [`folder_of_random_plans`].
pub(super) fn random_plan() -> impl Strategy<Value = Value> {
    let steps = prop::collection::vec(step(), 1..5);
    let repeated = prop::collection::vec(step(), 0..3);
    let begins = prop::sample::select(vec!["white", "black", "unknown"]);
    (steps, repeated, begins).prop_map(|(mut steps, repeated, begins)| {
        if !repeated.is_empty() {
            steps.push(json!({ "repeat": 3, "steps": repeated }));
        }
        json!({ "begins": begins, "steps": steps })
    })
}

/// The screens that random plans name.
pub(super) fn folder_of_random_plans() -> Folder {
    let folder = Folder::usual();
    for (name, digit) in [("grey.png", "8"), ("turns/1.png", "8"), ("turns/2.png", "."), ("turns/3.png", "#")] {
        folder.screen(name, &SQUARE.replace('#', digit));
    }
    folder
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(8))]

    #[test]
    fn random_plans_are_mended_without_new_findings(plan in random_plan()) {
        let folder = folder_of_random_plans();
        folder.plan("a.plan.json", &plan.to_string());
        mended(&folder, "a.plan.json");
    }
}
