//! What every format says, kept where a person can read it: one small plan in each format as a whole, and of every fixture its
//! figures and its findings in full words, one per line.
//!
//! An output changes? Read the difference as a user would; if all of it is meant, `INSTA_UPDATE=always cargo test --test
//! outputs` takes the new ones. Only the facts of the fixtures are held by a hash: thousands of figures, of which each counts.
//! Knows nothing of what is right: `fixtures.rs` beside this holds which findings there are, `formats` that all formats say the
//! same of them, `same_bytes.rs` that the same input gives the same bytes.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{
    fmt::Write as _,
    fs,
    panic::catch_unwind,
    path::{Path, PathBuf},
    process::Command,
};

use serde_json::Value;
use sha2::{Digest, Sha256};

use crate::common::{Folder, Run, finding_line, root};

/// The most lines of what is kept, with its head of five.
const LINES: usize = 55;

const SMALL: &str = r#"{ "title": "Berth 4", "steps": [
    { "label": "square", "screen": "square.png", "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] },
    { "label": "late", "screen": "white.png", "after_ms": 5000 }] }"#;

/// Only two rules are asked, so that the formats that describe their rules stay short.
#[test]
fn a_small_plan_is_told_in_every_format() {
    let folder = Folder::usual();
    folder.plan("small.plan.json", SMALL);
    let mut arguments: Vec<String> =
        ["review", "small.plan.json", "--only", "left-behind", "--only", "window-off-grid"].map(str::to_owned).to_vec();
    for format in ["json", "sarif", "junit", "markdown"] {
        arguments.extend(["--also".to_owned(), format!("{format}=small.{format}")]);
    }
    for (option, file) in [("--facts", "small.facts"), ("--html", "small.html")] {
        arguments.extend([option.to_owned(), file.to_owned()]);
    }
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let run = folder.run(&arguments).with_status(1);
    keep("small_text", &run.out);
    for format in ["junit", "markdown", "facts"] {
        keep(&format!("small_{format}"), &folder.read(&format!("small.{format}")));
    }
    keep("small_json", &with_deep_lines_joined(&folder.read("small.json")));
    keep("small_sarif", &without_descriptions_of_rules(&folder.read("small.sarif")));
    let page = what_a_reader_sees(&folder.read("small.html"));
    let (above, below) = page.split_once("Causes, worst first").unwrap();
    keep("small_html_above_the_causes", above);
    keep("small_html_from_the_causes_on", below);
}

#[test]
fn the_findings_and_figures_of_every_fixture_are_what_they_were() {
    let mut folders: Vec<PathBuf> =
        fs::read_dir(root().join("fixtures")).unwrap().map(|entry| entry.unwrap().path()).collect();
    folders.retain(|folder| ["plan", "flow"].iter().any(|kind| folder.join(format!("sound.{kind}.json")).exists()));
    folders.sort();
    assert!(folders.len() >= 8, "only {folders:?}");
    let mut changed = Vec::new();
    for folder in &folders {
        let name = folder.file_name().unwrap().to_str().unwrap();
        let files = ["sound.plan", "troubled.plan", "sound.flow", "troubled.flow"];
        let there = files.iter().filter(|file| folder.join(format!("{file}.json")).exists());
        let told: String = there.map(|file| told_of_plan(name, file)).collect();
        match catch_unwind(|| keep(name, &told)) {
            Ok(()) => keep_as_agreed(name),
            Err(_) => changed.push(name),
        }
    }
    assert!(changed.is_empty(), "{}", how_to_look(&changed));
}

fn keep(name: &str, told: &str) {
    let lines = told.lines().count();
    assert!(lines <= LINES, "{name} has {lines} lines, too many to be read:\n{told}");
    insta::assert_snapshot!(name, told);
}

/// A text whose lines that are indented deeply go on in the line before, so that it fits on a screen.
fn with_deep_lines_joined(text: &str) -> String {
    let mut joined = String::new();
    for line in text.lines() {
        let bare = line.trim_start();
        joined.push_str(if line.len() - bare.len() > 8 || joined.is_empty() { " " } else { "\n" });
        joined.push_str(if line.len() - bare.len() > 8 { bare } else { line });
    }
    joined
}

/// A log without its descriptions of rules, which hold their whole pages (`tests/outputs/formats/sarif.rs` keeps one).
fn without_descriptions_of_rules(log: &str) -> String {
    let mut log: Value = serde_json::from_str(log).unwrap();
    for rule in log["runs"][0]["tool"]["driver"]["rules"].as_array_mut().unwrap() {
        *rule = rule["id"].take();
    }
    // Fields that stand together are read together.
    let text = serde_json::to_string(&log).unwrap();
    text.replace("\":[{", "\":\n[{").replace("},{", "},\n{")
}

/// The words of a page, a line a paragraph, without its style, its script and its pictures.
fn what_a_reader_sees(page: &str) -> String {
    let mut words = String::new();
    for part in page.split('<').skip(1) {
        let (tag, after) = part.split_once('>').unwrap();
        let name = tag.trim_start_matches('/').split([' ', '\n']).next().unwrap();
        if ["script", "style"].contains(&name) && !tag.starts_with('/') {
            continue;
        }
        let goes_on = ["a", "b", "code", "em", "kbd", "span", "strong"].contains(&name);
        let stands_beside = ["button", "dd", "dt", "label", "option", "select", "text"].contains(&name);
        if !goes_on {
            words.push(if stands_beside { ' ' } else { '\n' });
        }
        words.push_str(&after.replace('\n', " "));
    }
    let lines = words.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}

/// Where facts are kept: as they are `now`, and as they were when the snapshots `agreed` with them the last time.
fn facts(state: &str, name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("facts").join(state).join(name)
}

fn how_to_look(changed: &[&str]) -> String {
    let mut text = format!("\nThe outputs of {} are not what they were.\n", changed.join(", "));
    for name in changed.iter().filter(|name| facts("agreed", name).exists()) {
        let _ = writeln!(text, "  diff -ru {} {}", facts("agreed", name).display(), facts("now", name).display());
    }
    text.push_str("If all of it is meant: INSTA_UPDATE=always cargo test --test outputs");
    text
}

fn keep_as_agreed(name: &str) {
    let agreed = facts("agreed", name);
    fs::create_dir_all(agreed.parent().unwrap()).unwrap();
    let _ = fs::remove_dir_all(&agreed);
    fs::rename(facts("now", name), agreed).unwrap();
}

fn told_of_plan(name: &str, plan: &str) -> String {
    let now = facts("now", name);
    fs::create_dir_all(&now).unwrap();
    let (stem, kind) = plan.split_once('.').unwrap();
    let is_flow = kind == "flow";
    let stem = if is_flow { format!("{stem} flow") } else { stem.to_owned() };
    let file = now.join(format!("{stem}.jsonl"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", &format!("fixtures/{name}/{plan}.json"), "--format", "json", "--facts"]);
    let run = Run::of(command.arg(&file).current_dir(root()).output().unwrap());
    assert_eq!(run.error, "", "{name}, {plan}");
    let report = run.json();
    let facts = fs::read_to_string(&file).unwrap();
    let hash: String =
        Sha256::digest(&facts).iter().take(8).fold(String::new(), |hash, byte| format!("{hash}{byte:02x}"));
    let what = if is_flow { "nodes" } else { "steps" };
    let mut told = format!("{stem}: status {}, facts of {} {what}, sha256 {hash}\n", run.status, facts.lines().count());
    let report = &report["plans"][0];
    for (figure, value) in report["summary"].as_object().unwrap().iter().filter(|(figure, _)| *figure != "not_checked")
    {
        let _ = write!(told, "  {figure} {value}");
    }
    told.push('\n');
    for finding in report["findings"].as_array().unwrap() {
        let steps = format!("{}..{}", finding["step"], finding["last_step"]);
        let line = if is_flow { finding_line(finding, "of a walk") } else { finding_line(finding, &steps) };
        let _ = writeln!(told, "  line {}, {line}: {}", finding["at"]["line"], finding["message"].as_str().unwrap());
    }
    told
}
