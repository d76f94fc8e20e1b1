//! The edge cases of `cleaning-overdue`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "cleaning-overdue",
        limit: "hours",
        screens: square(),
        display: "",
        plan: r#"{ "rules": { "cleaning-overdue": { "hours": @ } }, "steps": [
                { "screen": "a.png", "after_ms": 36000000, "updates": [{ "mode": "quick" }] }] }"#,
        silent: "10",
        fires: "9.999",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("cleaning-overdue", &edges());
}
