//! The edge cases of `cannot-keep-up`, beside the examples of its page.

use crate::edges::{Edge, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "cannot-keep-up",
        limit: "wait_ms",
        screens: square(),
        display: "",
        // The waits are 0, 400 and 800 ms.
        plan: r#"{ "rules": { "cannot-keep-up": { "wait_ms": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "full" }] },
                { "screen": "a.png", "after_ms": 100, "updates": [{ "mode": "full" }] }] }"#,
        silent: "800.1",
        fires: "799.9",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("cannot-keep-up", &edges());
}

#[test]
fn one_long_wait_is_no_backlog() {
    let slow = r#"{ "modes": [{ "name": "full", "duration_ms": 15000 }] }"#;
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 1000, "updates": [{ "mode": "quick" }] },
        { "screen": "a.png", "after_ms": 14500, "updates": [{ "mode": "quick" }] }] }"#;
    let found = review(&square_and_white(), slow, plan);
    assert_eq!(told(&found, "cannot-keep-up"), Vec::<String>::new());
    assert_eq!(told(&found, "updates-collide").len(), 1);
}
