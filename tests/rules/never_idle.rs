//! The edge cases of `never-idle`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "never-idle",
        limit: "seconds",
        screens: square(),
        display: "",
        // From 0 ms to the end of the third update, 120.05 ms after 1600 ms.
        plan: r#"{ "rules": { "never-idle": { "seconds": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] },
                { "screen": "b.png", "after_ms": 800, "updates": [{ "mode": "quick" }] },
                { "screen": "a.png", "after_ms": 800, "updates": [{ "mode": "quick" }] }] }"#,
        silent: "1.721",
        fires: "1.719",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("never-idle", &edges());
}
