//! Known findings: what was there before passes, what is new does not, what is gone is reported, and nothing is lost.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::common::Folder;

/// Two changes of the screen that no update shows, and one that is sent for nothing.
const TWO_LEFT: &str = r#"{ "steps": [
    { "label": "start", "screen": "white.png", "updates": [{ "mode": "full" }] },
    { "label": "square", "screen": "square.png", "after_ms": 9000 },
    { "label": "back", "screen": "white.png", "after_ms": 9000, "updates": [{ "mode": "quick" }] }
  ] }"#;

/// The same plan with its mistake mended, and another in its last step.
const OTHER_LEFT: &str = r#"{ "steps": [
    { "label": "start", "screen": "white.png", "updates": [{ "mode": "full" }] },
    { "label": "square", "screen": "square.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] },
    { "label": "back", "screen": "white.png", "after_ms": 9000 }
  ] }"#;

fn known_of(folder: &Folder, name: &str) -> Value {
    serde_json::from_str(&folder.read(name)).unwrap()
}

/// Rule, label and whether it is known of every finding of the first plan.
fn told(report: &Value) -> Vec<String> {
    let findings = report["plans"][0]["findings"].as_array().unwrap().iter();
    findings.map(|finding| format!("{} {} {}", finding["rule"], finding["label"], finding["known"])).collect()
}

#[test]
fn what_was_there_before_passes_and_what_is_new_does_not() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    folder.run(&["review", "--write-known", "known.json"]).with_status(1);
    let same = folder.run(&["review", "--known", "known.json", "--format", "json"]).with_status(0).json();
    assert_eq!(told(&same), [r#""left-behind" "square" true"#, r#""nothing-changes" "back" true"#]);
    assert_eq!(same["plans"][0]["summary"]["error"], 1, "known findings are counted all the same");
    folder.plan("a.plan.json", OTHER_LEFT);
    let other = folder.run(&["review", "--known", "known.json", "--format", "json"]).with_status(1).json();
    assert_eq!(told(&other), [r#""left-behind" "back" false"#]);
    let gone = other["plans"][0]["gone"].as_array().unwrap();
    let gone: Vec<String> = gone.iter().map(|gone| format!("{} {}", gone["rule"], gone["label"])).collect();
    assert_eq!(gone, [r#""left-behind" "square""#, r#""nothing-changes" "back""#]);
    // Without the list nothing of it stands in the report.
    let plain = folder.run(&["review", "--format", "json"]).json();
    assert!(plain["plans"][0].get("gone").is_none() && plain["plans"][0]["findings"][0].get("known").is_none());
}

#[test]
fn every_format_for_people_says_what_is_known_and_what_is_gone() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    folder.run(&["review", "--write-known", "known.json"]);
    let same = folder.run(&["review", "--known", "known.json", "--also", "markdown=same.md"]).with_status(0).out;
    insta::assert_snapshot!("known_again", same);
    insta::assert_snapshot!("known_again_markdown", folder.read("same.md"));
    folder.plan("a.plan.json", OTHER_LEFT);
    let arguments = ["review", "--known", "known.json", "--also", "markdown=other.md", "--also", "junit=other.xml"];
    let other = folder.run(&[&arguments[..], &["--html", "other.html"]].concat()).with_status(1).out;
    insta::assert_snapshot!("known_gone", other);
    insta::assert_snapshot!("known_gone_markdown", folder.read("other.md"));
    for word in ["gone: left-behind (error) at \"square\"", "gone: nothing-changes (warning)"] {
        assert!(folder.read("other.xml").contains(word), "{}", folder.read("other.xml"));
    }
    assert!(folder.read("other.html").contains("2 known findings are gone"));
}

#[test]
fn a_finding_that_has_become_worse_is_new() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    folder.run(&["review", "--write-known", "known.json"]);
    let mut known = known_of(&folder, "known.json");
    known["plans"][0]["findings"][0]["level"] = json!("warning");
    folder.file("known.json", known.to_string());
    let report = folder.run(&["review", "--known", "known.json", "--format", "json"]).with_status(1).json();
    assert_eq!(told(&report), [r#""left-behind" "square" false"#, r#""nothing-changes" "back" true"#]);
    assert_eq!(report["plans"][0]["gone"], json!([]), "it is there, and worse");
}

#[test]
fn writing_keeps_what_this_run_did_not_see() {
    let folder = Folder::usual();
    for name in ["a.plan.json", "b.plan.json", "c.plan.json"] {
        folder.plan(name, TWO_LEFT);
    }
    folder.run(&["review", "--write-known", "known.json"]);
    let plans = |name: &str| -> Vec<String> {
        let known = known_of(&folder, name);
        let count = |plan: &Value| format!("{} {}", plan["plan"], plan["findings"].as_array().unwrap().len());
        known["plans"].as_array().unwrap().iter().map(count).collect()
    };
    assert_eq!(plans("known.json"), [r#""a.plan.json" 2"#, r#""b.plan.json" 2"#, r#""c.plan.json" 2"#]);
    // One is mended, one cannot be read, one is no longer there.
    folder.plan("a.plan.json", OTHER_LEFT);
    folder.plan("b.plan.json", r#"{ "steps": 7 }"#);
    std::fs::remove_file(folder.join("c.plan.json")).unwrap();
    let run = folder.run(&["review", "--known", "known.json", "--write-known", "known.json"]).with_status(2);
    assert!(run.out.contains("4 known findings are gone"), "{}", run.out);
    assert_eq!(plans("known.json"), [r#""a.plan.json" 1"#, r#""b.plan.json" 2"#]);
    // Rules that were left out, and another temperature, remove nothing.
    folder.run(&["review", "a.plan.json", "--only", "tiny-text", "--write-known", "known.json"]).with_status(0);
    folder.run(&["review", "a.plan.json", "--temperature", "30", "--write-known", "known.json"]);
    assert_eq!(plans("known.json"), [r#""a.plan.json" 1"#, r#""a.plan.json" 1"#, r#""b.plan.json" 2"#]);
    let rules = folder.run(&["review", "a.plan.json", "--only", "tiny-text", "--known", "known.json"]).with_status(0);
    assert!(!rules.out.contains("gone"), "{}", rules.out);
}

#[test]
fn the_list_may_lie_anywhere() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    folder.file("review/readme.txt", "lists");
    folder.run(&["review", ".", "--write-known", "review/known.json"]).with_status(1);
    assert_eq!(known_of(&folder, "review/known.json")["plans"][0]["plan"], "../a.plan.json");
    let whole = folder.path().to_string_lossy().into_owned();
    folder.run(&["review", &whole, "--known", "review/known.json"]).with_status(0);
    // Written to another folder, its paths begin there.
    folder.run(&["review", "--known", "review/known.json", "--write-known", "known.json"]).with_status(0);
    folder.run(&["review", "--known", "known.json"]).with_status(0);
}

#[test]
fn a_list_that_cannot_be_read_is_told_and_left_alone() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TWO_LEFT);
    let missing = folder.run(&["review", "--known", "known.json"]).with_status(2);
    insta::assert_snapshot!("known_missing", missing.error);
    let text = r#"{ "format": "known-findings/1", "plans": [{ "plan": "a.plan.json", "findings": [{ "rule": "left-behnd", "lvel": "error", "fingerprint": "12AB" }] }] }"#;
    folder.file("known.json", text);
    let broken = folder.run(&["review", "--write-known", "known.json"]).with_status(2);
    insta::assert_snapshot!("known_broken", broken.error);
    assert_eq!(folder.read("known.json"), text, "what could not be read is not written over");
}

/// What edits elsewhere in a plan leave: every finding's fingerprint, on all troubled example plans.
#[test]
fn fingerprints_survive_edits_elsewhere() {
    let folder = Folder::of_fixtures();
    let mut compared = 0;
    for name in folder.names_below(".").into_iter().filter(|name| name.ends_with("troubled.plan.json")) {
        let plan: Value =
            jsonc_parser::parse_to_serde_value(&folder.read(&name), &jsonc_parser::ParseOptions::default()).unwrap();
        let before = fingerprints(&folder, &name, &plan);
        // A step that does nothing, in front of all others: every number of a step changes.
        let mut edited = plan.clone();
        edited["title"] = json!("edited");
        edited["steps"].as_array_mut().unwrap().insert(0, json!({ "label": "nothing happens" }));
        assert_eq!(before, fingerprints(&folder, &name, &edited), "{name}");
        compared += before.len();
    }
    assert!(compared > 60, "only {compared} findings were compared");
}

/// The rule and the label by fingerprint of what is found in a plan.
fn fingerprints(folder: &Folder, name: &str, plan: &Value) -> BTreeMap<String, String> {
    folder.file(name, plan.to_string());
    let report = folder.run(&["review", name, "--format", "json", "--gate", "never"]).with_status(0).json();
    let word = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let line = |finding: &Value| {
        (word(&finding["fingerprint"]), format!("{} {}", word(&finding["rule"]), word(&finding["label"])))
    };
    report["plans"][0]["findings"].as_array().unwrap().iter().map(line).collect()
}
