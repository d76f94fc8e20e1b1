//! Small plans with strokes, on a screen of 64 x 32 px.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use serde_json::{Value, json};

use super::common::{Folder, example_display};

pub(crate) const PEN_RULES: [&str; 5] =
    ["ink-under-grey", "stray-ink", "line-width-jumps", "pen-lags", "commit-under-hand"];

/// A screen of 64 x 32 px: boxes of shades on white, the later over the earlier.
pub(crate) fn screen(boxes: &[([usize; 4], char)]) -> String {
    let mut rows = vec![vec!['.'; 64]; 32];
    for ([x, y, width, height], shade) in boxes {
        for row in &mut rows[*y..y + height] {
            row[*x..x + width].fill(*shade);
        }
    }
    rows.into_iter().map(String::from_iter).collect::<Vec<_>>().join("\n")
}

/// The example display whose controller draws under the pen; `quick` has any grey, and leaves a tenth of a swing to lighter.
pub(crate) fn marker_display() -> Value {
    let mut display = pen_display();
    display["modes"][2]["to"] = json!("any");
    display["modes"][2]["residue"]["lighter"] = json!(0.1);
    display
}

pub(crate) fn pen_display() -> Value {
    let mut display = example_display([64, 32]);
    display["controller_ink"] = json!({ "delay_ms": 20 });
    display
}

pub(crate) fn folder(display: &Value, screens: &[(&str, String)], steps: &Value) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", display);
    for (name, text) in screens {
        folder.screen(name, text);
    }
    folder.plan("a.plan.json", &json!({ "steps": steps }).to_string());
    folder
}

/// The findings of the rules of the pen, a line each.
pub(crate) fn lines(display: &Value, screens: &[(&str, String)], steps: &Value) -> Vec<String> {
    let found = folder(display, screens, steps).findings("a.plan.json").into_iter();
    found.filter(|line| PEN_RULES.contains(&line.split(' ').nth(2).unwrap())).collect()
}

/// The findings of one rule, whole.
pub(crate) fn findings(rule: &str, display: &Value, screens: &[(&str, String)], steps: &Value) -> Vec<Value> {
    let folder = folder(display, screens, steps);
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", rule]);
    run.json()["plans"][0]["findings"].as_array().unwrap().clone()
}

/// A level stroke of that width at row 16, from column 8 to another.
pub(crate) fn stroke(to: u32, width: f64) -> Value {
    json!({ "points": [[8, 16, 0], [to, 16, 120]], "width_px": width, "mode": "quick" })
}

pub(crate) fn quick(window: &Value) -> Value {
    json!([{ "mode": "quick", "window": window }])
}

pub(crate) fn short_line() -> Vec<(&'static str, String)> {
    vec![("short.png", screen(&[([7, 15, 25, 2], '#'), ([8, 4, 4, 4], '#')]))]
}
