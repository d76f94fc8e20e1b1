//! The edge cases of `missed-rest`, beside the examples of its page.

use crate::edges::{Edge, GHOSTING, hold, square};

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
