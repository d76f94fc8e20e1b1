//! The edge cases of `restless`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, hold, review, square, told},
    flashing::found,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "restless",
        limit: "per_hour",
        screens: square(),
        display: r#"{ "modes": [{ "name": "quick", "to": [5] }] }"#,
        plan: r#"{ "rules": { "restless": { "per_hour": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "full" }] },
                { "screen": "a.png", "after_ms": 60000, "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 60000, "updates": [{ "mode": "full" }] }] }"#,
        silent: "12",
        fires: "11",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("restless", &edges());
}

#[test]
fn settling_after_a_touch_is_not_restless() {
    // Quick at the touch and grey half a second later, once a minute: the person asked for both.
    let touch = r#"{ "screen": "@.png", "after_ms": 60000, "cause": "touch", "updates": [{ "mode": "quick" }] },
        { "after_ms": 500, "updates": [{ "mode": "grey" }] }"#;
    let plan = format!(
        r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }}, {}, {}, {}] }}"#,
        touch.replace('@', "square"),
        touch.replace('@', "white"),
        touch.replace('@', "square")
    );
    let screens = [("white.png", WHITE), ("square.png", SQUARE)];
    assert_eq!(
        found("restless", &screens, r#"{ "limits": { "updates_before_cleaning": 50 } }"#, &plan),
        Vec::<String>::new()
    );
}

#[test]
fn a_small_window_that_flashes_is_not_a_panel_that_flashes() {
    // 396 mm2 of screen; each minute a window flashes, for ten minutes.
    let row = ".".repeat(96);
    let white = vec![row.as_str(); 64].join("\n");
    let marked = format!("####{}", ".".repeat(92));
    let square = [vec![marked.as_str(); 4], vec![row.as_str(); 60]].concat().join("\n");
    let screens = [("white.png", &*white), ("square.png", &*square)];
    let display = r#"{ "limits": { "updates_before_cleaning": 50 }, "modes": [{ "name": "quick", "to": [5] }] }"#;
    let found = |window: &str| {
        let plan = format!(
            r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }}, {{ "repeat": 5, "steps": [
                {{ "screen": "square.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "grey", "window": {window} }}] }},
                {{ "screen": "white.png", "after_ms": 60000, "cause": "clock", "updates": [{{ "mode": "grey", "window": {window} }}] }}] }}] }}"#
        );
        told(&review(&screens, display, &plan), "restless")
    };
    assert_eq!(found("[0, 0, 8, 4]"), Vec::<String>::new());
    let half = found("[0, 0, 96, 32]");
    assert!(half.len() == 1 && half[0].contains("(counted by area, that is 5.00 flashes)"), "{half:?}");
    let whole = found("\"all\"");
    assert!(whole.len() == 1 && !whole[0].contains("by area"), "{whole:?}");
}
