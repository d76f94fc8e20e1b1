//! Descriptions of the first edition, kept as they shipped: they load unchanged, and say today what they said then.
//!
//! `tests/data/first-edition-displays` holds them, and the facts that the program of that time wrote of a small plan on two of
//! them. These facts are never taken again.

use std::{fs, path::PathBuf};

use serde_json::{Value, json};

use crate::common::{Folder, png_of};

fn kept() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/first-edition-displays")
}

/// A folder with all of them.
fn folder() -> Folder {
    let folder = Folder::new();
    for entry in fs::read_dir(kept()).unwrap().map(Result::unwrap) {
        folder.file(&entry.file_name().to_string_lossy(), fs::read(entry.path()).unwrap());
    }
    folder
}

#[test]
fn descriptions_of_the_first_edition_load_unchanged() {
    let folder = folder();
    let names: Vec<String> =
        folder.names_below(".").into_iter().filter(|name| name.ends_with(".display.json")).collect();
    assert_eq!(names.len(), 15);
    for name in names {
        let description: Value = serde_json::from_str(&folder.read(&name)).unwrap();
        let gives_certainty = |value: &Value| value.to_string().contains("certainty");
        assert!(!gives_certainty(&description), "{name} is of the second edition");
        folder.file("a.plan.json", json!({ "format": "refresh-plan/1", "display": name, "steps": [{}] }).to_string());
        let run = folder.run(&["review", "a.plan.json", "--gate", "never"]);
        assert_eq!((run.status, run.error.as_str()), (0, ""), "{name}");
    }
}

/// Text, a grey, and windows, at two temperatures: what the program wrote of it when these descriptions shipped.
#[test]
fn descriptions_of_the_first_edition_give_the_facts_that_they_gave() {
    for (name, size) in [("panel-5in", [960, 540]), ("watch-1in3", [240, 240])] {
        let folder = folder();
        small_plan(&folder, name, size);
        let temperatures = ["--temperature", "8", "--temperature", "25"];
        let call = ["review", "small.plan.json", "--facts", "facts.jsonl", "--gate", "never"];
        folder.run(&[&call[..], &temperatures].concat()).with_status(0);
        let then = fs::read_to_string(kept().join(format!("{name}.facts.jsonl"))).unwrap();
        assert_eq!(folder.read("facts.jsonl"), then, "{name}");
    }
}

fn small_plan(folder: &Folder, display: &str, [width, height]: [u32; 2]) {
    let bars = |x: u32, y: u32| (40..120).contains(&x) && (40..100).contains(&y) && (x / 6).is_multiple_of(2);
    folder.file("white.png", png_of(width, height, |_, _| 255));
    folder.file("bars.png", png_of(width, height, |x, y| if bars(x, y) { 0 } else { 255 }));
    folder.file("grey.png", png_of(width, height, |x, y| if bars(x, y) { 136 } else { 255 }));
    let show = |screen: &str, mode: &str, window: Value| json!({ "screen": screen, "after_ms": 3000, "updates": [{ "mode": mode, "window": window }] });
    let plan = json!({
        "format": "refresh-plan/1", "display": format!("{display}.display.json"), "begins": "white", "steps": [
            show("white.png", "full", json!("all")),
            { "repeat": 12, "steps": [show("bars.png", "quick", json!("changed")), show("white.png", "quick", json!("changed"))] },
            show("grey.png", "full", json!([38, 40, 90, 60])),
            show("white.png", "quick", json!("changed")),
            show("white.png", "full", json!("all")),
        ],
    });
    folder.file("small.plan.json", plan.to_string());
}
