//! Small plans on the displays that ship.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use serde_json::{Value, json};

use super::common::{Folder, png_of};

/// Displays by name with their sizes.
pub(crate) const LABEL: (&str, [u32; 2]) = ("label-2in1", [250, 122]);
pub(crate) const WATCH: (&str, [u32; 2]) = ("watch-1in3", [240, 240]);
pub(crate) const SIGN: (&str, [u32; 2]) = ("sign-7in3", [800, 480]);

/// A folder with a white, a black and a grey screen of that size, and a black square of 40 px at [40, 40].
pub(crate) fn folder([width, height]: [u32; 2]) -> Folder {
    let folder = Folder::new();
    folder.file("white.png", png_of(width, height, |_, _| 255));
    folder.file("black.png", png_of(width, height, |_, _| 0));
    folder.file("grey.png", png_of(width, height, |_, _| 119));
    let inside = |at: u32| (40..80).contains(&at);
    folder.file("square.png", png_of(width, height, |x, y| if inside(x) && inside(y) { 0 } else { 255 }));
    folder
}

/// What a plan of these steps gives: findings as rule and level, and the facts of every step.
pub(crate) fn play(display: &str, folder: &Folder, steps: &Value) -> (Vec<String>, Vec<Value>) {
    let plan = json!({ "format": "refresh-plan/1", "display": display, "begins": "white", "steps": steps });
    folder.file("a.plan.json", plan.to_string());
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--gate", "never", "--facts", "facts.jsonl"]);
    let report = run.with_status(0).json();
    let findings = report["plans"][0]["findings"].as_array().unwrap();
    let words =
        |finding: &Value| format!("{} {}", finding["rule"].as_str().unwrap(), finding["level"].as_str().unwrap());
    let facts = folder.read("facts.jsonl");
    (findings.iter().map(words).collect(), facts.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

pub(crate) fn shipped(name: &str) -> Value {
    let text = Folder::new().run(&["displays", name]).with_status(0).out;
    serde_json::from_str(&text).unwrap()
}

pub(crate) fn modes(display: &Value) -> &Vec<Value> {
    display["modes"].as_array().unwrap()
}

/// The displays that ship.
pub(crate) const NAMES: [&str; 15] = [
    "label-2in1",
    "label-7in5",
    "meter-2in9",
    "watch-1in3",
    "handheld-4in2",
    "tag-red-2in6",
    "tag-yellow-2in6",
    "sign-7in3",
    "segments-5v",
    "segments-15v",
    "flag-red",
    "panel-5in",
    "reader-7in",
    "tablet-10in3",
    "desk-13in3",
];
