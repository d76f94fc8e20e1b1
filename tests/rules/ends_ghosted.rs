//! The edge cases of `ends-ghosted`, beside the examples of its page.

use crate::edges::{Edge, GHOSTING, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "ends-ghosted",
            limit: "limit_l",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "ends-ghosted": { "limit_l": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "4.86",
            fires: "4.85",
        },
        Edge {
            rule: "ends-ghosted",
            limit: "area_mm2",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "ends-ghosted": { "area_mm2": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("ends-ghosted", &edges());
}
