//! The edge cases of `too-many-since-cleaning`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "too-many-since-cleaning",
            limit: "updates",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "too-many-since-cleaning": { "updates": @ } }, "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "8",
            fires: "7",
        },
        Edge {
            rule: "too-many-since-cleaning",
            limit: "updates",
            screens: square(),
            display: r#"{ "limits": { "updates_before_cleaning": @ } }"#,
            plan: r#"{ "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "8",
            fires: "7",
        },
        Edge {
            rule: "too-many-since-cleaning",
            limit: "area_mm2",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "too-many-since-cleaning": { "area_mm2": @ } }, "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("too-many-since-cleaning", &edges());
}
