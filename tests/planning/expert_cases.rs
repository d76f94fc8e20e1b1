//! Plans as somebody makes them who has done it for years, beside what `replan` chooses for the same screens: ours costs no
//! more, and has no more errors. How to choose is common practice, no source; the reasoning stands at each case.
//!
//! The displays are those of the first edition of this project, kept as test data: their figures do not change any more.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::common::{Folder, root};

/// A display of the first edition, as `panel.display.json`.
fn folder_with(display: &str) -> Folder {
    let folder = Folder::new();
    let path = root().join(format!("tests/data/first-edition-displays/{display}.display.json"));
    folder.file("panel.display.json", std::fs::read(path).unwrap());
    folder
}

/// A drawing on white: boxes with their shades.
fn drawing([width, height]: [u32; 2], boxes: &[([u32; 4], &str)]) -> String {
    let mut text = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"><rect width="{width}" height="{height}" fill="#fff"/>"##
    );
    for ([left, top, width, height], shade) in boxes {
        let _ = write!(text, r#"<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="{shade}"/>"#);
    }
    text + "</svg>"
}

/// Errors, warnings and cost of a plan before and after `replan --all`.
struct Compared {
    errors: [f64; 2],
    warnings: [f64; 2],
    cost: [f64; 2],
    out: String,
}

fn compare(folder: &Folder, plan: &str, more: &[&str]) -> Compared {
    let arguments = [&["replan", plan, "--all"], more].concat();
    let out = folder.run(&arguments).with_status(0).out;
    let figure = |name: &str| {
        let line = out.lines().find(|line| line.starts_with(name)).unwrap_or_else(|| panic!("no {name} in:\n{out}"));
        let numbers: Vec<f64> = line.split_whitespace().rev().take(2).map(|number| number.parse().unwrap()).collect();
        [numbers[1], numbers[0]]
    };
    Compared { errors: figure("errors"), warnings: figure("warnings"), cost: figure("cost"), out }
}

/// What is chosen for the same plan with everything open: the expert's plan is not among what is known then.
fn compare_with_open(folder: &Folder, plan: &Value, more: &[&str]) -> (Compared, Compared) {
    folder.file("expert.plan.json", plan.to_string());
    let mut open = plan.clone();
    for step in open["steps"].as_array_mut().unwrap() {
        step["updates"] = json!("choose");
    }
    folder.file("open.plan.json", open.to_string());
    let known = compare(folder, "expert.plan.json", more);
    let chosen = compare(folder, "open.plan.json", more);
    eprintln!(
        "by hand: cost {:.2}, {} warnings; chosen: cost {:.2}, {} warnings",
        known.cost[0], known.warnings[0], chosen.cost[1], chosen.warnings[1]
    );
    assert!(known.cost[1] <= known.cost[0] && known.errors[1] <= known.errors[0], "{}", known.out);
    assert!(chosen.errors[1] <= known.errors[0], "{}", chosen.out);
    assert!(chosen.cost[1] <= known.cost[0], "{}", chosen.out);
    (known, chosen)
}

/// Typing on a control panel with a slow link. A key turns black when it is pressed; when it is let go, its letter appears far
/// away and the key turns white again. One box around both would take most of the panel over the link, and the letter would
/// come late: the letter goes first, in a box of its own, and the key's release follows it as a second update.
#[test]
fn typing_shows_the_letter_first() {
    let size = [960, 540];
    let folder = folder_with("panel-5in");
    let letter = |at: usize| ([40 + 28 * at as u32, 40, 20, 32], "#000");
    let key = |at: usize| [20 + 92 * (at as u32 * 3 % 10), 300 + 76 * (at as u32 * 7 % 3), 84, 68];
    let window = |[x, y, width, height]: [u32; 4]| json!([x, y, width, height]);
    let mut steps = Vec::new();
    folder.file("empty.svg", drawing(size, &[]));
    steps.push(json!({ "screen": "empty.svg", "cause": "system", "updates": [{ "mode": "full" }] }));
    for at in 0..16 {
        let written: Vec<_> = (0..at).map(letter).collect();
        let pressed = [written.clone(), vec![(key(at), "#000")]].concat();
        folder.file(&format!("down{at:02}.svg"), drawing(size, &pressed));
        folder.file(&format!("up{at:02}.svg"), drawing(size, &[written, vec![letter(at)]].concat()));
        let quick = |rect| json!({ "mode": "quick", "window": window(rect) });
        steps.push(json!({
            "screen": format!("down{at:02}.svg"), "after_ms": if at == 0 { 5000 } else { 220 }, "cause": "touch",
            "touched": window(key(at)), "updates": [quick(key(at))],
        }));
        steps.push(json!({
            "screen": format!("up{at:02}.svg"), "after_ms": 90, "cause": "touch", "touched": window(key(at)),
            "updates": [quick(letter(at).0), quick(key(at))],
        }));
    }
    let plan =
        json!({ "format": "refresh-plan/1", "display": "panel.display.json", "begins": "white", "steps": steps });
    compare_with_open(&folder, &plan, &[]);
}
