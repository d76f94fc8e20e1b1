//! The edge cases of `missed-rest`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, GHOSTING, hold, review, square, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "missed-rest",
        limit: "pause_ms",
        screens: square(),
        display: GHOSTING,
        // From the end of the quick update, after 120.05 ms, to the next request.
        plan: r#"{ "rules": { "missed-rest": { "pause_ms": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] },
                { "screen": "a.png", "after_ms": 5000, "updates": [{ "mode": "full" }] }] }"#,
        silent: "4880",
        fires: "4879",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("missed-rest", &edges());
}

/// Two times three seconds with a ghost on the glass: an update of what was left behind divides them.
#[test]
fn an_update_that_drives_something_ends_a_pause() {
    let dot = WHITE.replacen("..", "##", 1);
    let found = |updates: &str| {
        let plan = format!(
            r#"{{ "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "b.png", "after_ms": 900, "updates": [{{ "mode": "quick" }}] }},
                {{ "screen": "dot.png", "after_ms": 900, "updates": [] }},
                {{ "after_ms": 3000, "updates": [{updates}] }},
                {{ "screen": "a.png", "after_ms": 3000, "updates": [{{ "mode": "full" }}] }}] }}"#
        );
        told(&review(&[("a.png", SQUARE), ("b.png", WHITE), ("dot.png", &dot)], GHOSTING, &plan), "missed-rest").len()
    };
    assert_eq!(found(""), 1);
    assert_eq!(found(r#"{ "mode": "quick", "window": [0, 0, 8, 2] }"#), 0);
}
