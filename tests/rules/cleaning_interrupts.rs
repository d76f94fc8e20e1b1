//! The edge cases of `cleaning-interrupts`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "cleaning-interrupts",
        limit: "quiet_ms",
        screens: square(),
        display: "",
        plan: r#"{ "rules": { "cleaning-interrupts": { "quiet_ms": @ } }, "steps": [
                { "screen": "a.png", "cause": "key", "updates": [{ "mode": "quick" }] },
                { "after_ms": 900, "updates": [{ "mode": "full" }] }] }"#,
        silent: "900",
        fires: "900.1",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("cleaning-interrupts", &edges());
}
