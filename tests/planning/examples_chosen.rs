//! `replan` on the example plans with everything open. Each is chosen once, for all the tests that look at it.

use std::sync::OnceLock;

use serde_json::Value;

use crate::{
    common::{Folder, Run},
    kept_failures::times,
};

const SMALL: [&str; 6] = ["alarm-flag", "berth-label", "ferry-check", "fuel-gauge", "ship-watch", "tide-watch"];
/// Large panels take long without optimisation: every day less is tried there.
const LARGE: [&str; 3] = ["chart-desk", "logbook", "pilot-board"];

const KINDS: [&str; 2] = ["sound", "troubled"];

/// A plan of the examples, and what was chosen for it.
struct Chosen {
    before: String,
    run: Run,
    after: String,
    /// What a review of it says: its part of the report.
    review: Value,
}

/// What `replan --all --write` makes of an example plan; the first that asks waits for it.
fn chosen(name: &str, kind: &str) -> &'static Chosen {
    const PLANS: usize = KINDS.len() * (SMALL.len() + LARGE.len());
    static ALL: [OnceLock<Chosen>; PLANS] = [const { OnceLock::new() }; PLANS];
    let folder_at = names().position(|other| other == name).unwrap();
    let kind_at = KINDS.iter().position(|other| *other == kind).unwrap();
    ALL[folder_at * KINDS.len() + kind_at].get_or_init(|| choose(name, kind))
}

fn choose(name: &str, kind: &str) -> Chosen {
    let folder = Folder::of_fixtures();
    let plan = format!("{name}/{kind}.plan.json");
    let before = folder.read(&plan);
    let run = folder.run(&["replan", &plan, "--all", "--write", "--effort", effort(name, kind)]).with_status(0);
    let report = folder.run(&["review", &plan, "--format", "json"]).json();
    Chosen { before, run, after: folder.read(&plan), review: report["plans"][0].clone() }
}

/// The effort that is spent on it: less on the large panels, but in the long series.
fn effort(name: &str, kind: &str) -> &'static str {
    let is_large = LARGE.contains(&name);
    if is_large && (kind == "sound" || times() == 1) { "quick" } else { "usual" }
}

fn names() -> impl Iterator<Item = &'static str> {
    SMALL.into_iter().chain(LARGE)
}

/// Before and after of a figure in the table of `replan`.
fn figure(out: &str, name: &str) -> [f64; 2] {
    let line = out.lines().find(|line| line.starts_with(name)).unwrap_or_else(|| panic!("no {name} in:\n{out}"));
    let numbers: Vec<f64> = line.split_whitespace().rev().take(2).map(|number| number.parse().unwrap()).collect();
    [numbers[1], numbers[0]]
}

#[test]
fn what_is_chosen_costs_no_more_than_what_was_made_by_hand() {
    for name in names() {
        let run = &chosen(name, "sound").run;
        let [by_hand, chosen] = figure(&run.out, "cost");
        assert!(chosen <= by_hand, "{name}: {by_hand} by hand, {chosen} chosen\n{}", run.out);
        for level in ["errors", "warnings"] {
            assert!(figure(&run.out, level)[1] < 1.0, "{name}\n{}", run.out);
        }
    }
}

#[test]
fn only_updates_are_written_and_the_rest_stays_as_it_is() {
    for (name, kind) in names().flat_map(|name| KINDS.map(|kind| (name, kind))) {
        let Chosen { before, run, after, review } = chosen(name, kind);
        assert_eq!(without_updates(before), without_updates(after), "{name} {kind}");
        let comments = |text: &str| text.lines().filter(|line| line.contains("//")).count();
        assert_eq!(comments(before), comments(after), "{name} {kind}: every comment stays");
        assert_eq!(figure(&run.out, "errors")[1] as u64, review["summary"]["error"], "{name} {kind}");
    }
}

#[test]
fn nothing_is_written_unasked_and_the_same_is_chosen_again() {
    let folder = Folder::of_fixtures();
    for (name, kind) in [("alarm-flag", "sound"), ("berth-label", "troubled"), ("fuel-gauge", "troubled")] {
        let plan = format!("{name}/{kind}.plan.json");
        let before = folder.read(&plan);
        let shown = folder.run(&["replan", &plan, "--all"]).with_status(0);
        assert_eq!(folder.read(&plan), before, "{plan}");
        let [first, again] = [&shown.out, &chosen(name, kind).run.out]
            .map(|out| out.lines().rfind(|line| line.starts_with("cost")).map(str::to_owned));
        assert!(first.is_some(), "{}", shown.out);
        assert_eq!(first, again, "{plan}");
    }
}

/// The plan's value without what `replan` may change.
fn without_updates(text: &str) -> Value {
    let parsed = jsonc_parser::parse_to_serde_value(text, &jsonc_parser::ParseOptions::default());
    let mut plan: Value = parsed.unwrap();
    take_updates(&mut plan["steps"]);
    plan
}

fn take_updates(steps: &mut Value) {
    for step in steps.as_array_mut().unwrap() {
        step.as_object_mut().unwrap().remove("updates");
        if let Some(inner) = step.get_mut("steps") {
            take_updates(inner);
        }
    }
}

/// What no update can help in the troubled plans, and why: their screens, their strokes, and when things happen.
const LEFT: [(&str, &str, &str, &str); 34] = [
    ("berth-label", "outside-temperature", "", "the plan's own temperature"),
    ("berth-label", "shade-not-on-panel", "Tuesday", "its screen"),
    ("berth-label", "thin-line", "Tuesday", "its screen"),
    ("berth-label", "cleaning-overdue", "Thursday", "two days without a step in which to clean"),
    (
        "chart-desk",
        "too-many-since-cleaning",
        "cursor off",
        "a cleaning under the blinking cursor costs more than its count",
    ),
    ("ferry-check", "slow-answer", "chosen", "a grey row: `full` alone draws greys, behind a slow link"),
    ("ferry-check", "slow-answer", "chosen", "2 s of `full`"),
    ("ferry-check", "slow-answer", "opened", "the grey row goes: `full` alone starts from grey"),
    ("ferry-check", "slow-answer", "opened", "2 s of `full`"),
    ("ferry-check", "dither-shimmers", "deck", "its screen"),
    ("ferry-check", "faint-text", "a notice", "its screen"),
    ("ferry-check", "text-lost", "a notice", "its screen"),
    ("ferry-check", "never-shown", "lamp off", "the lamp blinks faster than the panel follows"),
    ("ferry-check", "font-substituted", "a notice", "its fonts"),
    (
        "fuel-gauge",
        "redriven-segment",
        "power up",
        "`direct` drives all on this display; `full` would flash without need",
    ),
    ("fuel-gauge", "redriven-segment", "75 %", "`direct` drives all on this display; `full` would flash without need"),
    ("fuel-gauge", "part-segment", "74 %", "its screen"),
    ("fuel-gauge", "part-segment", "74 %", "its screen"),
    ("logbook", "too-many-since-cleaning", "pen again", "60 answers in a row, and one flash is budgeted"),
    ("logbook", "unused-accept", "", "what it accepted is mended"),
    (
        "logbook",
        "visible-ghost",
        "next page",
        "a picture's greys are wiped to answer at once; `full` behind that would be more than three flashes within a second",
    ),
    ("logbook", "line-width-jumps", "underline", "its stroke and its screen"),
    ("logbook", "line-width-jumps", "highlight", "its stroke and its screen"),
    ("logbook", "line-width-jumps", "highlighted again", "its stroke and its screen"),
    ("logbook", "small-target", "highlighter", "its screen"),
    ("logbook", "pen-lags", "underlined again", "the pen comes down while the page before is still drawn"),
    ("pilot-board", "shade-not-on-panel", "07:00", "its screen"),
    ("pilot-board", "never-shown", "an old list", "the next step takes it back before the panel could show it"),
    ("pilot-board", "restless", "the wind turns", "its screens come that close"),
    ("pilot-board", "left-behind", "07:01", "a key one minute after the hour: an update would come too soon"),
    ("pilot-board", "too-soon", "the wind turns", "ten seconds after the last: left out, the old screen stays"),
    ("tide-watch", "over-budget", "", "grey minutes flash, and more of them than the budget has"),
    ("tide-watch", "unused-accept", "", "what it accepted is mended"),
    (
        "tide-watch",
        "restless",
        "careful minutes",
        "one step for ten minutes: the first wipes greys, and a window that cleans for all of them flashes each minute",
    ),
];

/// What is left beside that where less is tried.
const LEFT_BY_QUICK: [(&str, &str, &str); 5] = [
    ("chart-desk", "outline-left", "cursor on"),
    ("chart-desk", "visible-ghost", "cursor off"),
    ("logbook", "outline-left", "highlighter again"),
    ("logbook", "outline-left", "pen again"),
    ("logbook", "visible-ghost", "highlighter again"),
];

#[test]
fn troubled_plans_keep_only_what_updates_cannot_help() {
    let mut left = Vec::new();
    for name in names() {
        for finding in chosen(name, "troubled").review["findings"].as_array().unwrap() {
            if finding["level"] != "note" {
                let text = |key: &str| finding[key].as_str().unwrap_or("").to_owned();
                left.push([name.to_owned(), text("rule"), text("label")]);
            }
        }
    }
    let mut known: Vec<[String; 3]> =
        LEFT.iter().map(|(name, rule, label, _)| [name, rule, label].map(|word| (*word).to_owned())).collect();
    let by_quick = LEFT_BY_QUICK.iter().filter(|(name, _, _)| effort(name, "troubled") == "quick");
    known.extend(by_quick.map(|(name, rule, label)| [name, rule, label].map(|word| (*word).to_owned())));
    left.sort();
    known.sort();
    assert_eq!(left, known, "what is left and what no update can help");
}
