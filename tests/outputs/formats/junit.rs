//! JUnit XML as a page of test results shows it: a suite a plan, a case a rule, what the gate does.

use roxmltree::{Document, Node};

use super::Told;
use crate::common::Folder;

const LEFT: &str = r#"{ "title": "Berth 4", "steps": [
    { "label": "square", "screen": "square.png" },
    { "label": "late", "after_ms": 5000, "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] }] }"#;

fn case<'a>(document: &'a Document<'_>, name: &str) -> Node<'a, 'a> {
    let mut cases = document.descendants().filter(|node| node.has_tag_name("testcase"));
    cases.find(|case| case.attribute("name") == Some(name)).unwrap()
}

fn child<'a>(node: Node<'a, 'a>, name: &str) -> Option<&'a str> {
    node.children().find(|child| child.has_tag_name(name)).and_then(|child| child.text())
}

#[test]
fn a_whole_document() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    folder.plan("b.plan.json", r#"{ "steps": [{ "screen": "sqare.png" }, { "updates": [{ "mode": "quik" }] }] }"#);
    let arguments = [".", "--only", "left-behind", "--only", "window-off-grid", "--pictures", "pictures"];
    let told = Told::of(folder.path(), &arguments).valid();
    insta::assert_snapshot!("junit", told.junit);
}

#[test]
fn the_gate_decides_what_fails() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", LEFT);
    for (gate, fails) in [("error", "left-behind"), ("note", "left-behind window-off-grid"), ("never", "")] {
        let told = Told::of(folder.path(), &["a.plan.json", "--gate", gate]).valid();
        let document = Document::parse(&told.junit).unwrap();
        let failing: Vec<&str> = document
            .descendants()
            .filter(|node| node.has_tag_name("failure"))
            .map(|node| node.parent().unwrap().attribute("name").unwrap())
            .collect();
        assert_eq!(failing.join(" "), fails, "{gate}");
        assert_eq!(document.root_element().attribute("failures"), Some(&*failing.len().to_string()));
        assert_eq!(told.status, i32::from(!failing.is_empty()));
        let below = ["left-behind", "window-off-grid"].into_iter().filter(|rule| !failing.contains(rule));
        for rule in below {
            assert!(child(case(&document, rule), "system-out").is_some(), "{rule} is below the gate {gate}, and told");
        }
    }
}

#[test]
fn a_suite_has_a_case_for_every_rule_in_play() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &LEFT.replacen('{', r#"{ "rules": { "restless": "off" },"#, 1));
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    let document = Document::parse(&told.junit).unwrap();
    let names: Vec<&str> = document
        .descendants()
        .filter(|node| node.has_tag_name("testcase"))
        .map(|case| case.attribute("name").unwrap())
        .collect();
    let rules = stillpage::rules::RULES.iter().map(|rule| rule.id).filter(|id| *id != "restless");
    let expected: Vec<&str> = std::iter::once("can-be-read").chain(rules).collect();
    assert_eq!(names, expected);
    assert_eq!(document.root_element().attribute("tests"), Some(&*names.len().to_string()));
}

#[test]
fn an_input_that_cannot_be_read_is_an_error_of_its_own_suite() {
    let folder = Folder::usual();
    let told = Told::of(folder.path(), &["nowhere.plan.json"]).valid();
    let document = Document::parse(&told.junit).unwrap();
    let suite = document.descendants().find(|node| node.has_tag_name("testsuite")).unwrap();
    assert_eq!((suite.attribute("name"), suite.attribute("errors")), (Some("nowhere"), Some("1")));
    let text = child(case(&document, "can-be-read"), "error").unwrap();
    assert!(text.starts_with("nowhere.plan.json\nthere is no such file or folder\nwhat to do: "), "{text}");
}

#[test]
fn characters_that_xml_cannot_hold_are_replaced_and_the_others_kept() {
    let folder = Folder::usual();
    let label = r"<a> & \u0000\u001b\ufffe]]> Grün";
    folder.plan(
        "a.plan.json",
        &format!(r#"{{ "title": "\"{label}'", "steps": [{{ "label": "{label}", "screen": "square.png" }}] }}"#),
    );
    let told = Told::of(folder.path(), &["a.plan.json"]).valid();
    let document = Document::parse(&told.junit).unwrap();
    let shown = "<a> & \u{fffd}\u{fffd}\u{fffd}]]> Grün";
    let title = document.descendants().find(|node| node.attribute("name") == Some("title")).unwrap();
    assert_eq!(title.attribute("value"), Some(&*format!("\"{shown}'")));
    let failure = child(case(&document, "left-behind"), "failure").unwrap();
    assert!(failure.contains(&format!("step 0 \"{shown}\": 16 px")), "{failure}");
}
