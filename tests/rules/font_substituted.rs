//! The edge cases of `font-substituted`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::{Folder, example_display},
    edges::told,
    reading::folder,
};

/// What the rule says of screens that follow each other.
fn said_of(screens: &[&str]) -> Vec<String> {
    let folder = folder(screens, &example_display([96, 40]));
    let steps: Vec<Value> = (0..screens.len()).map(|index| json!({ "screen": format!("{index}.svg") })).collect();
    folder.plan("a.plan.json", &json!({ "steps": steps }).to_string());
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "font-substituted"]);
    told(&run.json()["plans"][0], "font-substituted")
}

#[test]
fn a_face_is_reported_once_from_the_first_to_the_last_step_that_shows_it() {
    let text = |face: &str, words: &str| format!(r#"<text x="4" y="28" font-family="{face}">{words}</text>"#);
    let (one, other) = (text("Harbour", "Ebb"), text("Harbour", "Flood"));
    let both = format!("{}{}", text("Harbour", "Ebb"), text("Breakwater", "06:10"));
    let white = String::new();
    let found = said_of(&[&one, &other, &white, &both, &one, &white]);
    let faces: Vec<_> = found.iter().map(|found| found.split(':').next().unwrap()).collect();
    assert_eq!(faces, ["0..4 the plan has no font `Harbour`", "3..3 the plan has no font `Breakwater`"]);
}

#[test]
fn missing_characters_of_one_screen_are_one_finding_and_each_is_reported_once() {
    let text = |words: &str| format!(r#"<text x="4" y="28">{words}</text>"#);
    let found = said_of(&["\u{2c80}\u{2c82}", "\u{2c82}", "\u{2c84}"].map(text).each_ref().map(String::as_str));
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].starts_with("0..1 ") && found[1].starts_with("2..2 "), "{found:?}");
}

/// What is found in the screens stands with the first temperature, what an update does with each.
#[test]
fn what_does_not_depend_on_the_temperature_is_reported_once() {
    let folder: Folder =
        folder(&[r#"<text x="4" y="28" font-family="Harbour">Ebb</text>"#], &example_display([96, 40]));
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "0.svg" }] }"#);
    let arguments = ["review", "a.plan.json", "--format", "json", "--gate", "never"];
    let temperatures = ["--temperature", "30", "--temperature", "10", "--temperature", "20"];
    let found = folder.run(&[&arguments[..], &temperatures].concat()).json();
    let count = |plan: &Value, rule: &str| told(plan, rule).len();
    let plans = found["plans"].as_array().unwrap();
    let counts = |rule: &str| plans.iter().map(|plan| count(plan, rule)).collect::<Vec<_>>();
    assert_eq!((counts("font-substituted"), counts("left-behind")), (vec![1, 0, 0], vec![1, 1, 1]));
    for plan in &plans[1..] {
        assert_eq!(plan["summary"]["warning"], 0, "{plan}");
        let texts = plan["summary"]["not_checked"].to_string();
        assert!(texts.contains("the same at every temperature and are reported with 10 C"), "{texts}");
    }
    // A list of known findings that was written so brings nothing back, and nothing is gone.
    folder.run(&[&arguments[..], &temperatures, &["--write-known", "known.json"]].concat());
    let again = folder.run(&[&arguments[..], &temperatures, &["--known", "known.json"]].concat()).json();
    for plan in again["plans"].as_array().unwrap() {
        assert!(plan["findings"].as_array().unwrap().iter().all(|finding| finding["known"] == true), "{plan}");
    }
}
