//! The edge cases of `dull-page`, beside the examples of its page.

use crate::edges::{Edge, GHOSTING, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "dull-page",
        limit: "limit_l",
        screens: square(),
        display: GHOSTING,
        plan: r#"{ "begins": "black", "rules": { "dull-page": { "limit_l": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }"#,
        silent: "4.86",
        fires: "4.85",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("dull-page", &edges());
}
