//! The edge cases of `over-budget`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "over-budget",
        limit: "",
        screens: square(),
        display: "",
        plan: r#"{ "budgets": { "cleanings": @ }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "2",
        fires: "1",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("over-budget", &edges());
}
