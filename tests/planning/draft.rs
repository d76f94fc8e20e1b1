//! `stillpage draft`: a folder of screens becomes a plan that the program reads and finds nothing wrong with but that it
//! is not decided, wherever it is written, and whatever the screens are called.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::path::Path;

use jsonc_parser::{ParseOptions, parse_to_serde_value};
use serde_json::{Value, json};

use crate::common::{Folder, SQUARE, WHITE};

fn value(text: &str) -> Value {
    parse_to_serde_value(text, &ParseOptions::default()).unwrap_or_else(|error| panic!("{error}: {text}"))
}

/// Screens of 16 x 8 px in `shots`, and the example display.
fn shots(names: &[&str]) -> Folder {
    let folder = Folder::usual();
    for (at, name) in names.iter().enumerate() {
        folder.screen(&format!("shots/{name}"), if at % 2 == 0 { WHITE } else { SQUARE });
    }
    folder
}

const DRAFT: [&str; 4] = ["draft", "shots", "--display", "panel.display.json"];

fn drafted(folder: &Folder, more: &[&str]) -> Value {
    let run = folder.run(&[&DRAFT, more].concat()).with_status(0);
    // What is printed is a plan in this folder.
    folder.file("drafted.plan.json", &run.out);
    value(&run.out)
}

fn rules_found(folder: &Folder, plan: &str) -> Vec<String> {
    let mut rules: Vec<String> =
        folder.findings(plan).iter().map(|line| line.split(' ').nth(2).unwrap().to_owned()).collect();
    rules.dedup();
    rules
}

#[test]
fn a_draft_is_a_plan_that_waits_for_decisions_alone() {
    let folder = shots(&["10.png", "9.png", "9b.png", ".hidden.png", "notes.txt", "inner/11.png"]);
    let plan = drafted(&folder, &[]);
    let step = |label: &str, after_ms: u64| match after_ms {
        0 => json!({ "label": label, "screen": format!("{label}.png"), "updates": "choose" }),
        _ => json!({ "label": label, "screen": format!("{label}.png"), "after_ms": after_ms, "updates": "choose" }),
    };
    assert_eq!(plan["steps"], json!([step("9", 0), step("9b", 1000), step("10", 1000)]));
    assert_eq!(
        (&plan["title"], &plan["screens"], &plan["begins"]),
        (&json!("shots"), &json!("shots"), &json!("unknown"))
    );
    assert_eq!(rules_found(&folder, "drafted.plan.json"), ["not-decided"]);
    let again = folder.run(&["draft", "shots", "--display", "panel.display.json"]).with_status(0);
    assert!(again.error.contains("left out: the screens in `inner`"), "{}", again.error);
}

#[test]
fn times_in_names_and_options_come_into_the_plan() {
    let folder = shots(&["0000000ms boot.png", "0012500ms.png", "0013000ms menu.png"]);
    let plan = drafted(&folder, &["--title", "A \"desk\"", "--begins", "black", "--rotation", "180"]);
    let steps = plan["steps"].as_array().unwrap();
    let said: Vec<_> = steps.iter().map(|step| (step["label"].as_str().unwrap(), step["after_ms"].as_u64())).collect();
    assert_eq!(said, [("boot", None), ("0012500ms", Some(12500)), ("menu", Some(500))]);
    assert_eq!(
        (&plan["title"], &plan["begins"], &plan["rotation"]),
        (&json!("A \"desk\""), &json!("black"), &json!(180))
    );
    assert_eq!(rules_found(&folder, "drafted.plan.json"), ["not-decided"]);
    assert_eq!(drafted(&folder, &["--begins", "0012500ms.png"])["begins"], json!({ "screen": "0012500ms.png" }));
    assert_eq!(rules_found(&folder, "drafted.plan.json"), ["not-decided"]);
    let folder = shots(&["a.png", "b.png"]);
    assert_eq!(drafted(&folder, &["--after", "60000"])["steps"][1]["after_ms"], json!(60000));
}

#[test]
fn paths_are_written_from_where_the_plan_stands() {
    let folder = shots(&["a.png", "b.png"]);
    std::fs::create_dir(folder.join("plans")).unwrap();
    let call = [&DRAFT[..], &["--out", "plans/a.plan.json"]].concat();
    let said = "plans/a.plan.json: 2 screens; the updates are still to be chosen: run `stillpage replan \
                plans/a.plan.json`\n";
    assert_eq!(folder.run(&call).with_status(0).out, said);
    let plan = value(&folder.read("plans/a.plan.json"));
    assert_eq!((&plan["screens"], &plan["display"]), (&json!("../shots"), &json!("../panel.display.json")));
    assert_eq!(rules_found(&folder, "plans/a.plan.json"), ["not-decided"]);
    // It is never written over by accident.
    folder.file("plans/a.plan.json", "mine");
    let refused = folder.run(&call).with_status(2);
    assert!(refused.error.contains("--force"), "{}", refused.error);
    assert_eq!(folder.read("plans/a.plan.json"), "mine");
    folder.run(&[&call[..], &["--force"]].concat()).with_status(0);
    assert_eq!(value(&folder.read("plans/a.plan.json")), plan);
}

#[test]
fn fonts_beside_drawings_are_named() {
    let folder = shots(&[]);
    let text = "<svg xmlns='http://www.w3.org/2000/svg' width=\"16\" height=\"8\"><rect width='16' height='8' fill='#fff'/></svg>";
    folder.screen("shots/a.svg", text);
    let font = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/fonts/Vollkorn-Medium-subset.ttf");
    folder.file("fonts/face.ttf", std::fs::read(font).unwrap());
    assert_eq!(drafted(&folder, &[])["fonts"], json!(["fonts"]));
    assert_eq!(rules_found(&folder, "drafted.plan.json"), ["not-decided"]);
    // Pictures need none.
    let folder = shots(&["a.png"]);
    folder.file("fonts/face.ttf", "no font");
    assert_eq!(drafted(&folder, &[])["fonts"], Value::Null);
}

#[test]
fn a_drawing_and_its_export_are_both_steps_and_are_told() {
    let folder = shots(&["a.png"]);
    folder.screen("shots/a.svg", "<svg xmlns='http://www.w3.org/2000/svg' width=\"16\" height=\"8\"/>");
    let run = folder.run(&DRAFT).with_status(0);
    let labels: Vec<Value> =
        value(&run.out)["steps"].as_array().unwrap().iter().map(|step| step["label"].clone()).collect();
    assert_eq!(labels, ["a.png", "a.svg"]);
    assert!(run.error.contains("`a.png` and `a.svg` each become a step"), "{}", run.error);
}

/// The screens of the fixtures, on the displays that they were drawn for.
#[test]
fn screens_of_the_fixtures_are_drafted() {
    for (screens, display) in [("tide-watch/screens/minutes", "watch-1in3"), ("pilot-board/screens", "sign-7in3")] {
        let folder = Folder::of_fixtures();
        folder.run(&["draft", screens, "--display", display, "--out", "a.plan.json"]).with_status(0);
        let found = rules_found(&folder, "a.plan.json");
        assert!(found.contains(&"not-decided".to_owned()), "{found:?}");
        // What else is reported is about the drawings, whatever the updates will be.
        let of_drawings =
            ["shade-not-on-panel", "thin-line", "greys-too-close", "faint-text", "tiny-text", "font-substituted"];
        let others: Vec<_> =
            found.iter().filter(|rule| *rule != "not-decided" && !of_drawings.contains(&rule.as_str())).collect();
        assert_eq!(others, [""; 0], "{display}");
    }
}

#[test]
fn faults_of_drafts() {
    let folder = shots(&["a.png", "b-10ms.png", "c-5ms.png"]);
    folder.screen("wide/first.png", "....\n....");
    folder.screen("above/within/a.png", WHITE);
    folder.file("empty/notes.txt", "");
    let calls: [(&str, &[&str]); 7] = [
        ("another_size", &["draft", "wide", "--display", "panel.display.json"]),
        ("no_screen", &["draft", "empty", "--display", "panel.display.json"]),
        ("only_folders", &["draft", "above", "--display", "panel.display.json"]),
        ("a_file", &["draft", "white.png", "--display", "panel.display.json"]),
        ("no_folder", &["draft", "shot", "--display", "panel.display.json"]),
        ("times_out_of_order", &DRAFT),
        ("begins", &["draft", "shots", "--display", "panel.display.json", "--begins", "whit"]),
    ];
    for (name, call) in calls {
        insta::assert_snapshot!(format!("call_{name}"), folder.run(call).with_status(2).error);
    }
    folder.screen("kept/01 open.png", WHITE);
    folder.screen("kept/02 \"menu\".png", SQUARE);
    insta::assert_snapshot!(
        "draft",
        folder.run(&["draft", "kept", "--display", "panel.display.json"]).with_status(0).out
    );
}
