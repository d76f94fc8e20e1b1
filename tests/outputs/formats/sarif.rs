//! SARIF as code hosts and editors read it: rules, places, pictures, accepted findings, what could not be read.

use serde_json::{Value, json};

use super::Told;
use crate::common::Folder;

/// One error at a screen, and a note.
const LEFT: &str = r#"{ "title": "Berth 4", "steps": [{ "label": "square", "screen": "square.png" }] }"#;

fn results(told: &Told) -> &Vec<Value> {
    told.sarif["runs"][0]["results"].as_array().unwrap()
}

fn uri(location: &Value) -> &Value {
    &location["physicalLocation"]["artifactLocation"]["uri"]
}

#[test]
fn a_result_and_its_rule() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    let told = Told::of(folder.path(), &["a.plan.json", "--pictures", "pictures"]).valid();
    let mut result = results(&told)[0].clone();
    // Shorter than sixty lines without what JSON shows as well.
    let properties = result.as_object_mut().unwrap().remove("properties").unwrap();
    assert_eq!(properties["box"], json!([2, 2, 4, 4]));
    assert_eq!((&properties["step"], &properties["label"]), (&json!(0), &json!("square")));
    assert_eq!(properties["figures"]["px"], 16.0);
    insta::assert_snapshot!("sarif_result", serde_json::to_string_pretty(&result).unwrap());
    let rule = &told.sarif["runs"][0]["tool"]["driver"]["rules"][result["ruleIndex"].as_u64().unwrap() as usize];
    insta::assert_snapshot!("sarif_rule", serde_json::to_string_pretty(rule).unwrap());
    assert!(folder.join("pictures/a/step-0000.png").exists(), "the picture is where the result says");
}

#[test]
fn the_rules_are_those_in_play_with_their_texts() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &LEFT.replacen('{', r#"{ "rules": { "restless": "off", "left-behind": "note" },"#, 1));
    let told = Told::of(folder.path(), &["a.plan.json", "--without", "too-soon"]).valid();
    let rules = told.sarif["runs"][0]["tool"]["driver"]["rules"].as_array().unwrap();
    let ids: Vec<&str> = rules.iter().map(|rule| rule["id"].as_str().unwrap()).collect();
    let all = stillpage::rules::RULES.iter().map(|rule| rule.id);
    let expected: Vec<&str> = all.filter(|id| !["restless", "too-soon"].contains(id)).collect();
    assert_eq!(ids, expected);
    for rule in rules {
        let page = stillpage::rules::rule_named(rule["id"].as_str().unwrap()).unwrap();
        assert_eq!(rule["defaultConfiguration"]["level"], page.severity.word());
        for (field, heading) in [("fullDescription", "What is seen"), ("help", "What to do")] {
            let text = rule[field]["text"].as_str().unwrap();
            let first = page.section(heading).split_whitespace().next().unwrap();
            assert!(text.starts_with(first), "{}: {field} begins with {first}: {text}", page.id);
        }
        let help = rule["help"]["markdown"].as_str().unwrap();
        assert!(page.limits.iter().all(|limit| help.contains(&format!("- `{}`, ", limit.name))), "{help}");
    }
    assert_eq!(results(&told)[0]["level"], "note", "the plan's own level, not the rule's");
}

#[test]
fn a_region_leads_to_the_value_in_characters() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &LEFT.replace("square\", \"screen", "Größe 🚢\", \"screen"));
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    let run = &told.sarif["runs"][0];
    assert_eq!(run["columnKind"], "unicodeCodePoints");
    let region = &run["results"][0]["locations"][0]["physicalLocation"]["region"];
    let number = |field: &str| region[field].as_u64().unwrap() as usize;
    assert_eq!(number("startLine"), number("endLine"));
    let text = folder.read("a.plan.json");
    let line = text.lines().nth(number("startLine") - 1).unwrap();
    let marked: String =
        line.chars().skip(number("startColumn") - 1).take(number("endColumn") - number("startColumn")).collect();
    assert_eq!(marked, "\"square.png\"");
}

#[test]
fn paths_below_the_working_folder_never_name_the_machine() {
    let folder = Folder::usual();
    folder.plan("quay/a.plan.json", &LEFT.replace("square.png", "../square.png"));
    folder.plan("quay/b.plan.json", r#"{ "steps": [{ "screen": "none.png" }] }"#);
    folder.plan("quay/c.plan.json", r#"{ "steps": [{ "screen": "panel.png" }] }"#);
    folder.file("quay/panel.png", "no picture");
    folder.file("quay/panel.display.json", folder.read("panel.display.json"));
    // Links are taken out of a temporary folder's path, as the system tells it.
    let home = folder.path().canonicalize().unwrap();
    let [quay, pictures] = ["quay", "pictures"].map(|name| home.join(name).display().to_string());
    let told = Told::of(&home, &[&quay, "--pictures", &pictures]).valid();
    assert_eq!(told.status, 2);
    for (format, text) in ["sarif", "junit", "markdown"].into_iter().zip(&told.bytes[1..]) {
        let name = home.display().to_string();
        assert!(!text.contains(&name), "{format} names {name}:\n{text}");
    }
    let result = &results(&told)[0];
    assert_eq!(uri(&result["locations"][0]), "quay/a.plan.json");
    assert_eq!(uri(&result["relatedLocations"][0]), "pictures/quay/a/step-0000.png");
    let notes = told.sarif["runs"][0]["invocations"][0]["toolExecutionNotifications"].as_array().unwrap();
    let told: Vec<&Value> = notes.iter().map(|note| uri(&note["locations"][0])).collect();
    assert_eq!(told, ["quay/b.plan.json", "quay/c.plan.json"]);
}

#[test]
fn a_plan_outside_the_working_folder_keeps_the_path_that_was_given() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    folder.file("elsewhere/readme.txt", "");
    let elsewhere = folder.join("elsewhere");
    let told = Told::of(&elsewhere, &["../a.plan.json"]).valid();
    assert_eq!(uri(&results(&told)[0]["locations"][0]), "../a.plan.json");
    let whole = folder.join("a.plan.json").display().to_string();
    let told = Told::of(&elsewhere, &[&whole]).valid();
    let location = &results(&told)[0]["locations"][0];
    assert!(uri(location).as_str().unwrap().starts_with("file:///"), "{location}");
    assert_eq!(location["physicalLocation"]["artifactLocation"]["uriBaseId"], Value::Null);
}

#[test]
fn accepted_findings_are_suppressed_and_keep_their_fingerprints() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    let open = Told::of(folder.path(), &["a.plan.json"]).valid();
    assert_eq!(results(&open)[0]["suppressions"], json!([]));
    let accept = r#"{ "accept": [{ "rule": "left-behind", "because": "the frame hides it" }],"#;
    folder.plan("a.plan.json", &LEFT.replacen('{', accept, 1));
    let accepted = Told::of(folder.path(), &["a.plan.json"]).valid();
    assert_eq!(
        results(&accepted)[0]["suppressions"],
        json!([{ "kind": "inSource", "status": "accepted", "justification": "the frame hides it" }])
    );
    let fingerprints = |told: &Told| results(told)[0]["partialFingerprints"].clone();
    assert_eq!(fingerprints(&open), json!({ "finding/v1": open.json["plans"][0]["findings"][0]["fingerprint"] }));
    assert_eq!(fingerprints(&open), fingerprints(&accepted));
    let cold = Told::of(folder.path(), &["a.plan.json", "--temperature", "5", "--temperature", "6"]).valid();
    let cold: Vec<&Value> = results(&cold).iter().map(|result| &result["partialFingerprints"]).collect();
    assert_ne!(cold[0], cold[1], "the same finding at two temperatures is two results");
}

#[test]
fn what_could_not_be_read_is_a_notification() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "title": "Berth 4", "steps": [{ "screen": "sqare.png" }] }"#);
    let told = Told::of(folder.path(), &["a.plan.json", "nowhere.plan.json"]).valid();
    assert_eq!(told.status, 2);
    let invocation = &told.sarif["runs"][0]["invocations"][0];
    insta::assert_snapshot!("sarif_not_read", serde_json::to_string_pretty(invocation).unwrap());
    assert_eq!(told.sarif["runs"][0]["tool"]["driver"]["rules"], json!([]), "no rule was in play");
}

#[test]
fn what_was_not_checked_is_told_too() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "steps": [{}] }"#);
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    let invocation = &told.sarif["runs"][0]["invocations"][0];
    assert_eq!(invocation["executionSuccessful"], true);
    let notes = invocation["toolConfigurationNotifications"].as_array().unwrap();
    let not_checked = told.json["plans"][0]["summary"]["not_checked"].as_array().unwrap();
    assert!(!not_checked.is_empty());
    let texts: Vec<&str> = notes.iter().map(|note| note["message"]["text"].as_str().unwrap()).collect();
    let expected: Vec<String> =
        not_checked.iter().map(|text| format!("Not checked: {}.", text.as_str().unwrap())).collect();
    assert_eq!(texts, expected);
}

#[test]
fn braces_and_brackets_of_labels_are_no_placeholders_and_no_links() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &LEFT.replace("\"square\"", r#""{0} [here](1)""#));
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    let text = results(&told)[0]["message"]["text"].as_str().unwrap();
    assert!(text.starts_with("Step 0 \"{{0}} [here] (1)\": 16 px"), "{text}");
}

/// SARIF 2.1.0, 3.27.24 (`baselineState`): what has become of a result since the run that it is compared with.
#[test]
fn known_findings_are_told_in_the_standards_words() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    folder.run(&["review", "--write-known", "known.json"]).with_status(1);
    let states = || {
        let told = Told::of(folder.path(), &["a.plan.json", "--known", "known.json"]).valid();
        let state = |result: &Value| format!("{} {}", result["ruleId"], result["baselineState"]);
        results(&told).iter().map(state).collect::<Vec<_>>()
    };
    assert_eq!(states(), [r#""left-behind" "unchanged""#]);
    folder.plan("a.plan.json", &LEFT.replace("\"square\"", "\"another\""));
    assert_eq!(states(), [r#""left-behind" "new""#, r#""left-behind" "absent""#]);
    let plain = Told::of(folder.path(), &["a.plan.json"]).valid();
    assert!(results(&plain)[0].get("baselineState").is_none());
}
