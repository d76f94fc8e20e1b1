//! The edge cases of `too-soon`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, hold, review, square, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "too-soon",
        limit: "ms",
        screens: square(),
        display: "",
        plan: r#"{ "rules": { "too-soon": { "ms": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 700, "updates": [{ "mode": "full" }] }] }"#,
        silent: "699.9",
        fires: "700.1",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("too-soon", &edges());
}

#[test]
fn an_update_that_overtakes_another_is_measured_from_the_begins_beside_its_own() {
    // They begin at 0, 500 and, over other pixels, 300 ms.
    let plan = |ms: u32| {
        format!(
            r#"{{ "rules": {{ "too-soon": {{ "ms": {ms} }} }}, "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "b.png", "after_ms": 100, "updates": [{{ "mode": "quick", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "c.png", "after_ms": 200, "updates": [{{ "mode": "quick", "window": [8, 0, 8, 8] }}] }}] }}"#
        )
    };
    let right: String = SQUARE.lines().map(|row| row.chars().rev().collect::<String>() + "\n").collect();
    let screens = [("a.png", SQUARE), ("b.png", WHITE), ("c.png", right.trim_end())];
    assert_eq!(told(&review(&screens, "", &plan(199)), "too-soon"), Vec::<String>::new());
    let found = told(&review(&screens, "", &plan(201)), "too-soon");
    assert!(found.len() == 1 && found[0].starts_with("2..2 ") && found[0].contains("200 ms"), "{found:?}");
}
