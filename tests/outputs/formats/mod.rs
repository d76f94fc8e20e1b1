//! SARIF, JUnit XML and Markdown: each against the published schema of its format, all against the JSON findings.
//!
//! `formats/standards` holds the schemas; a file for each format holds what people and programs see of it.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

mod junit;
mod margins;
mod markdown;
mod sarif;
mod standards;
mod text;

use std::{collections::BTreeMap, fs, path::Path, process::Command};

use serde_json::Value;
use standards::{junit_fault, sarif_fault};

use crate::common::{Folder, Run, example_display, root};

const FORMATS: [&str; 4] = ["json", "sarif", "junit", "markdown"];

/// One run, as every format tells it.
pub(crate) struct Told {
    pub(crate) json: Value,
    pub(crate) sarif: Value,
    pub(crate) junit: String,
    pub(crate) markdown: String,
    pub(crate) status: i32,
    /// The same as bytes, a format each.
    pub(crate) bytes: Vec<String>,
}

impl Told {
    /// Reviews with these arguments in a folder; the reports go elsewhere.
    pub(crate) fn of(folder: &Path, arguments: &[&str]) -> Self {
        let place = tempfile::tempdir().unwrap();
        let file = |format: &str| place.path().join(format);
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
        command.arg("review").args(arguments).current_dir(folder);
        for format in FORMATS {
            command.arg("--also").arg(format!("{format}={}", file(format).display()));
        }
        let run = Run::of(command.output().unwrap());
        let bytes: Vec<String> = FORMATS.iter().map(|format| std::fs::read_to_string(file(format)).unwrap()).collect();
        Self {
            json: serde_json::from_str(&bytes[0]).unwrap(),
            sarif: serde_json::from_str(&bytes[1]).unwrap(),
            junit: bytes[2].clone(),
            markdown: bytes[3].clone(),
            status: run.status,
            bytes,
        }
    }

    /// The same, valid after the schema of each format.
    pub(crate) fn valid(self) -> Self {
        assert_eq!(sarif_fault(&self.sarif), None);
        assert_eq!(junit_fault(&self.junit), None, "{}", self.junit);
        assert!(self.markdown.lines().count() <= 60, "a comment is short:\n{}", self.markdown);
        self
    }
}

/// A finding in one line that every format can give: plan, temperature, rule, level, place in the file and whether it was
/// accepted. With it, words that hold its message.
type Line = (String, String);

fn from_json(report: &Value) -> Vec<Line> {
    let of_plan = |plan: &Value| -> Vec<Line> {
        let name = named(plan["plan"].as_str().unwrap(), plan["temperature_c"].as_f64());
        let line = |finding: &Value| {
            let at = format!("{}:{}", finding["at"]["line"], finding["at"]["column"]);
            let accepted = if finding["accepted"].is_null() { "" } else { " accepted" };
            let margin = margin_of(finding);
            let word = |field: &str| finding[field].as_str().unwrap();
            (format!("{name} {} {} {at}{margin}{accepted}", word("rule"), word("level")), word("message").to_owned())
        };
        plan["findings"].as_array().unwrap().iter().map(line).collect()
    };
    sorted(report["plans"].as_array().unwrap().iter().flat_map(of_plan).collect())
}

/// The margin of a finding, and whether it is sure, from JSON fields; `None` if it has none.
fn margin_of(fields: &Value) -> String {
    let fields = fields.as_object().unwrap();
    assert_eq!(fields.contains_key("margin"), fields.contains_key("sure"), "both or neither");
    fields
        .get("margin")
        .map_or(String::new(), |margin| format!(" margin {} {}", margin.as_f64().unwrap(), fields["sure"]))
}

fn from_sarif(log: &Value) -> Vec<Line> {
    let run = &log["runs"][0];
    let line = |result: &Value| {
        let place = &result["locations"][0]["physicalLocation"];
        let name =
            named(place["artifactLocation"]["uri"].as_str().unwrap(), result["properties"]["temperature_c"].as_f64());
        let rule =
            run["tool"]["driver"]["rules"][result["ruleIndex"].as_u64().unwrap() as usize]["id"].as_str().unwrap();
        assert_eq!(result["ruleId"], rule, "the index leads to the rule");
        let at = format!("{}:{}", place["region"]["startLine"], place["region"]["startColumn"]);
        let accepted = if result["suppressions"].as_array().unwrap().is_empty() { "" } else { " accepted" };
        let level = result["level"].as_str().unwrap();
        let margin = margin_of(&result["properties"]);
        (
            format!("{name} {rule} {level} {at}{margin}{accepted}"),
            result["message"]["text"].as_str().unwrap().to_owned(),
        )
    };
    sorted(run["results"].as_array().unwrap().iter().map(line).collect())
}

fn from_junit(document: &str) -> Vec<Line> {
    let document = roxmltree::Document::parse(document).unwrap();
    let mut lines = Vec::new();
    for case in document.descendants().filter(|node| node.has_tag_name("testcase")) {
        let (suite, rule) = (case.attribute("classname").unwrap(), case.attribute("name").unwrap());
        let told = case.children().filter(|node| node.has_tag_name("failure") || node.has_tag_name("system-out"));
        for paragraph in told.flat_map(|node| node.text().unwrap().split("\n\n")) {
            let (first, words) = paragraph.split_once('\n').unwrap();
            let (level, place) = first.split_once(" at ").unwrap();
            let at: Vec<&str> = place.rsplitn(3, ':').collect();
            let accepted = if words.lines().any(|line| line.starts_with("accepted: ")) { " accepted" } else { "" };
            let margin = words.lines().find_map(|line| line.strip_prefix("margin: ")?.split_once(" of the limit, "));
            let margin = margin.map_or(String::new(), |(margin, sure)| {
                let sure = match sure {
                    "sure" => "true",
                    "not sure" => "false",
                    "certainty not given" => "null",
                    other => panic!("{other}"),
                };
                format!(" margin {margin} {sure}")
            });
            lines.push((format!("{suite} {rule} {level} {}:{}{margin}{accepted}", at[1], at[0]), words.to_owned()));
        }
    }
    sorted(lines)
}

/// The name of a plan's suite: its path without its ending.
fn named(path: &str, temperature_c: Option<f64>) -> String {
    // A plan and its trace may have one name.
    let of_a_trace = path.strip_suffix(".trace.jsonl").map(|stem| format!("{stem}-trace"));
    let stem = of_a_trace.unwrap_or_else(|| path.strip_suffix(".plan.json").unwrap_or(path).to_owned());
    temperature_c.map_or(stem.clone(), |celsius| format!("{stem} at {celsius} C"))
}

/// In the order of the keys; those of the same key stay in theirs.
fn sorted(mut lines: Vec<Line>) -> Vec<Line> {
    lines.sort_by(|one, other| one.0.cmp(&other.0));
    lines
}

fn assert_same_findings(told: &Told) {
    let expected = from_json(&told.json);
    for (format, found) in [("sarif", from_sarif(&told.sarif)), ("junit", from_junit(&told.junit))] {
        let keys = |lines: &[Line]| lines.iter().map(|line| line.0.clone()).collect::<Vec<_>>();
        assert_eq!(keys(&found), keys(&expected), "{format}");
        for ((key, words), (_, message)) in found.iter().zip(&expected) {
            // A sentence may begin with a capital letter that the message does not have.
            assert!(words.to_lowercase().contains(&message.to_lowercase()), "{format}, {key}: {message}\n{words}");
        }
    }
    assert_eq!(counts_in_table(&told.markdown), counts_in_json(&told.json));
    let open = expected.iter().filter(|(key, _)| !key.ends_with(" accepted")).count();
    assert_eq!(count_of_findings(&told.markdown), open);
}

/// Errors, warnings and notes of every plan that was read.
fn counts_in_json(report: &Value) -> BTreeMap<String, [u64; 3]> {
    let plans = report["plans"].as_array().unwrap().iter().filter(|plan| plan["refused"].is_null());
    let counts = |plan: &Value| ["error", "warning", "note"].map(|level| plan["summary"][level].as_u64().unwrap());
    plans.map(|plan| (named(plan["plan"].as_str().unwrap(), plan["temperature_c"].as_f64()), counts(plan))).collect()
}

fn counts_in_table(markdown: &str) -> BTreeMap<String, [u64; 3]> {
    let rows =
        markdown.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| plan ") && !line.contains("--"));
    let mut counts = BTreeMap::new();
    for row in rows.filter(|row| !row.contains("**not read**")) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let name = cells[1].replace('\\', "").replace(".plan.json", "").replace(".trace.jsonl", "-trace");
        counts.insert(name, [3, 4, 5].map(|cell| cells[cell].parse().unwrap()));
    }
    counts
}

/// How many findings the heading of the causes counts; none if there is no heading.
fn count_of_findings(markdown: &str) -> usize {
    let heading = markdown.lines().find(|line| line.starts_with("### ") && line.contains(" finding"));
    let words: Vec<&str> = heading.unwrap_or_default().split([' ', '(', ')', ',']).collect();
    words.iter().position(|word| word.starts_with("finding")).map_or(0, |at| words[at - 1].parse().unwrap())
}

#[test]
fn every_format_carries_the_same_findings() {
    // Folder by folder: the table of a comment names no more than fifteen plans.
    let mut folders: Vec<_> =
        fs::read_dir(root().join("fixtures")).unwrap().map(|entry| entry.unwrap().path()).collect();
    folders.retain(|folder| folder.join("sound.plan.json").exists());
    folders.sort();
    let mut compared = 0;
    for folder in folders {
        let told = Told::of(root(), &[&format!("fixtures/{}", folder.file_name().unwrap().to_str().unwrap())]).valid();
        compared += from_json(&told.json).len();
        assert_same_findings(&told);
    }
    assert!(compared > 50, "the examples have findings to compare");
}

/// Two findings of one rule and one of another; the first is accepted.
const TWO_LEFT: &str = r#"{ "title": "Berth 4", "budgets": { "cleanings": 0 },
  "accept": [{ "rule": "left-behind", "steps": ["square"], "because": "it is drawn at boot" }],
  "steps": [
    { "label": "square", "screen": "square.png" },
    { "label": "away", "screen": "white.png", "after_ms": 5000 },
    { "label": "back", "screen": "square.png", "after_ms": 5000 },
    { "label": "clean", "after_ms": 5000, "updates": [{ "mode": "full" }] }
  ] }"#;

#[test]
fn accepted_findings_other_temperatures_and_gates_are_the_same_in_every_format() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    folder.plan("b.plan.json", r#"{ "steps": [{}] }"#);
    for arguments in [
        &["."][..],
        &[".", "--gate", "note"],
        &[".", "--gate", "never"],
        &[".", "--temperature", "-5.5", "--temperature", "20"],
        &[".", "--only", "left-behind"],
    ] {
        let told = Told::of(folder.path(), arguments).valid();
        assert!(from_json(&told.json).iter().any(|(key, _)| key.ends_with(" accepted")), "{arguments:?}");
        assert_same_findings(&told);
    }
}

/// 500.05 ms are 1.25 of the time allowed, 125.05 ms 1.04 of it.
const LATE: &str = r#"{ "rules": { "slow-answer": { "first_ms": 120, "whole_ms": 400 } },
  "steps": [{ "label": "square", "screen": "square.png", "cause": "key", "updates": [{ "mode": "full" }] }] }"#;

#[test]
fn every_format_says_how_sure_a_finding_is() {
    let folder = Folder::usual();
    folder.plan("late.plan.json", LATE);
    let mut display = example_display([16, 8]);
    for (certainty, expected) in [
        (serde_json::json!({}), "null null"),
        (serde_json::json!({ "first_visible": 1.5, "durations": 1.2 }), "false true"),
    ] {
        display["certainty"] = certainty;
        folder.display("panel.display.json", &display);
        let told = Told::of(folder.path(), &["."]).valid();
        assert_same_findings(&told);
        let lines = from_json(&told.json);
        let sure: Vec<&str> =
            lines.iter().filter_map(|line| line.0.split(" margin ").nth(1)?.split(' ').nth(1)).collect();
        assert_eq!(sure.join(" "), expected, "{lines:?}");
        let in_words = "the time to the answer is an estimate: if it is really 5 % lower, this is no finding";
        let said =
            [told.sarif.to_string(), told.junit, told.markdown].map(|text| text.to_lowercase().contains(in_words));
        assert_eq!(said, [expected.contains("false"); 3]);
        let of_plan = |report: &Value, path: &str| report.pointer(path).unwrap().clone();
        assert_eq!(
            of_plan(&told.json, "/plans/0/summary/margins"),
            of_plan(&told.sarif, "/runs/0/properties/plans/0/margins")
        );
    }
}

#[test]
fn the_same_input_gives_the_same_bytes_in_every_format() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    let one = Told::of(folder.path(), &["."]);
    assert_eq!(one.bytes, Told::of(folder.path(), &[".", "--threads", "1"]).bytes);
    let elsewhere = Folder::usual();
    elsewhere.plan("a.plan.json", TWO_LEFT);
    assert_eq!(one.bytes, Told::of(elsewhere.path(), &["a.plan.json"]).bytes, "the folder does not show");
}

#[test]
fn a_format_is_printed_as_it_is_written_and_leaves_the_exit_status_alone() {
    let folder = Folder::usual();
    folder.plan("error.plan.json", TWO_LEFT);
    folder.plan("sound.plan.json", r#"{ "steps": [{}] }"#);
    folder.plan("broken.plan.json", "{ }");
    for (plan, status) in [("error.plan.json", 1), ("sound.plan.json", 0), ("broken.plan.json", 2)] {
        let written = Told::of(folder.path(), &[plan]);
        assert_eq!(written.status, status);
        for (format, bytes) in FORMATS.into_iter().zip(&written.bytes) {
            let printed = folder.run(&["review", plan, "--format", format]).with_status(status);
            assert_eq!(&printed.out, bytes, "{format} of {plan}");
        }
    }
}

/// What somebody may write into a plan to spoil a report: markup of every kind, control characters, line ends.
const HOSTILE: &str = r#"{ "title": "Länge 4 | <b>\"&' ]]> \u0001 \ud83d\udea2",
  "steps": [
    { "label": "a|b `c` <img src=x> [d](e) *f* {0} \u0000\u001b[2J\ufffe\r\n- g ``h`` ]]> &amp; $x$", "screen": "square.png" }
  ] }"#;

#[test]
fn bad_cases_are_valid_in_every_format() {
    let folder = Folder::usual();
    folder.plan("quay/Größe & <1>.plan.json", &HOSTILE.replace("square.png", "../square.png"));
    folder.plan(
        "broken.plan.json",
        r#"{ "title": "<Broken>", "steps": [{ "screen": "sq|are.png" }, { "each": "*.gif" }] }"#,
    );
    folder.plan("sound.plan.json", r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#);
    folder.file("quay/panel.display.json", folder.read("panel.display.json"));
    let told = Told::of(folder.path(), &[".", "nowhere.plan.json"]).valid();
    assert_eq!(told.status, 2);
    let keys: Vec<String> = from_json(&told.json).into_iter().map(|line| line.0).collect();
    assert_eq!(keys, ["quay/Größe & <1> left-behind error 5:113"]);
    assert_eq!(from_junit(&told.junit).len(), 1);
    assert_eq!(counts_in_table(&told.markdown).len(), 2);
    let alone = Told::of(folder.path(), &["nowhere.plan.json"]).valid();
    assert_eq!(alone.status, 2);
    let none = Told::of(folder.path(), &["sound.plan.json"]).valid();
    assert_eq!((none.status, from_sarif(&none.sarif).len(), from_junit(&none.junit).len()), (0, 0, 0));
}
