//! Text for people in its three forms: causes by weight, every place in step order, one line for each finding.

use crate::common::Folder;

/// Two errors, one of them twice from one cause, a warning and notes; one finding is accepted.
const TROUBLED: &str = r#"{ "title": "Berth 4", "budgets": { "flashing_updates": 0 },
  "accept": [{ "rule": "nothing-changes", "because": "a heartbeat" }],
  "steps": [
    { "label": "square", "screen": "square.png", "cause": "key" },
    { "label": "late", "after_ms": 5000, "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] },
    { "label": "again", "after_ms": 5000, "updates": [{ "mode": "full" }] }
  ] }"#;
const SOUND: &str = r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#;

fn printed(folder: &Folder, arguments: &[&str]) -> String {
    folder.run(&[&["review"], arguments].concat()).out
}

#[test]
fn causes_come_first_and_the_other_forms_are_there_on_request() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TROUBLED);
    for (name, form) in [("by_weight", None), ("full", Some("--full")), ("brief", Some("--brief"))] {
        let arguments: Vec<&str> = ["a.plan.json"].into_iter().chain(form).collect();
        insta::assert_snapshot!(format!("text_{name}"), printed(&folder, &arguments));
    }
}

#[test]
fn several_plans_end_in_a_table_of_verdicts() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", TROUBLED);
    folder.plan("b.plan.json", SOUND);
    folder.plan("c.plan.json", r#"{ "steps": [{ "screen": "sqare.png" }] }"#);
    insta::assert_snapshot!("text_of_several_plans", printed(&folder, &["."]));
}

/// `path:line:col level rule message`: each line is one finding, in every plan, whatever stands in labels.
#[test]
fn a_brief_line_is_a_finding_and_a_finding_is_a_line() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &TROUBLED.replace("\"late\"", r#""late\nb.plan.json:1:1 error""#));
    folder.plan("b.plan.json", TROUBLED);
    let findings = folder.run(&["review", ".", "--format", "json"]).json();
    let open: Vec<String> = findings["plans"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|plan| plan["findings"].as_array().unwrap().iter().map(move |finding| (plan, finding)))
        .filter(|(_, finding)| finding["accepted"].is_null())
        .map(|(plan, finding)| {
            let words = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
            format!("{} {} {}", words(&plan["plan"]), words(&finding["level"]), words(&finding["rule"]))
        })
        .collect();
    let brief = printed(&folder, &[".", "--brief"]);
    let mut lines: Vec<String> = brief
        .lines()
        .map(|line| {
            let (place, words) = line.split_once(' ').unwrap();
            let [path, row, column] = place.split(':').collect::<Vec<_>>()[..] else { panic!("{line}") };
            assert!(row.parse::<u32>().is_ok() && column.parse::<u32>().is_ok(), "{line}");
            format!("{path} {}", words.split(' ').take(2).collect::<Vec<_>>().join(" "))
        })
        .collect();
    let mut open = open;
    open.sort();
    lines.sort();
    assert!(open.len() >= 8, "{open:?}");
    assert_eq!(lines, open);
}

/// The same on each of 30 steps is one cause with its number, three further places and how many more there are.
#[test]
fn what_comes_often_is_shown_once_and_counted() {
    let folder = Folder::usual();
    let idle: Vec<String> = (0..30)
        .map(|at| format!(r#"{{ "label": "{at}", "after_ms": 2000, "updates": [{{ "mode": "quick" }}] }}"#))
        .collect();
    let first = r#"{ "screen": "square.png", "updates": [{ "mode": "full" }] }"#;
    folder.plan("idle.plan.json", &format!(r#"{{ "steps": [{first}, {}] }}"#, idle.join(", ")));
    let text = printed(&folder, &["idle.plan.json"]);
    assert_eq!(text.matches("nothing-changes").count(), 1, "{text}");
    assert!(text.contains("\n⚠ nothing-changes (warning), 30 findings, the first at step 1 \"0\"\n"), "{text}");
    assert!(text.contains("\n  also at step 2 \"1\", step 3 \"2\", step 4 \"3\" and 26 more places\n"), "{text}");
    assert_eq!(printed(&folder, &["idle.plan.json", "--brief"]).lines().count(), 30);
}

#[test]
fn forms_of_text_are_refused_for_other_formats() {
    let folder = Folder::usual();
    folder.plan("b.plan.json", SOUND);
    for form in ["--full", "--brief"] {
        let error = folder.run(&["review", ".", form, "--format", "json"]).with_status(2).error;
        assert!(error.contains(form) && error.contains("text"), "{error}");
    }
}
