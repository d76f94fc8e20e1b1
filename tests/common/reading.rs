//! Drawings with texts, and what is said of these.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use serde_json::{Value, json};

use super::common::{Folder, example_display};

/// A screen of 96 x 40 px around some elements.
pub(crate) fn screen(inside: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"96\" height=\"40\" font-family=\"Arimo\" font-size=\"16\">\
         <rect width=\"96\" height=\"40\" fill=\"#ffffff\"/>{inside}</svg>"
    )
}

pub(crate) fn folder(screens: &[&str], display: &Value) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", display);
    for (index, inside) in screens.iter().enumerate() {
        folder.screen(&format!("{index}.svg"), &screen(inside));
    }
    folder
}

/// The lines of the three rules for screens that follow each other.
pub(crate) fn lines_on(screens: &[&str], display: &Value) -> Vec<String> {
    let folder = folder(screens, display);
    let steps: Vec<Value> = (0..screens.len())
        .map(|index| json!({ "screen": format!("{index}.svg"), "after_ms": 5000, "updates": [{ "mode": "full" }] }))
        .collect();
    folder.plan("a.plan.json", &json!({ "steps": steps }).to_string());
    let rules = ["faint-text", "tiny-text", "font-substituted"];
    let lines = folder.findings("a.plan.json").into_iter();
    lines.filter(|line| rules.contains(&line.split(' ').nth(2).unwrap())).collect()
}

pub(crate) fn lines(inside: &str) -> Vec<String> {
    lines_on(&[inside], &example_display([96, 40]))
}

/// The first finding of a plan with one screen.
pub(crate) fn finding(inside: &str, display: &Value) -> Value {
    let folder = folder(&[inside], display);
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "0.svg", "updates": [{ "mode": "full" }] }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "faint-text", "--only", "tiny-text"]);
    run.json()["plans"][0]["findings"][0].clone()
}
