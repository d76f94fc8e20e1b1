//! The edge cases of `outside-temperature`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: "",
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "0",
            fires: "-0.1",
        },
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: "",
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "50",
            fires: "50.1",
        },
        Edge {
            rule: "outside-temperature",
            limit: "",
            screens: square(),
            display: r#"{ "modes": [{ "name": "full", "duration_ms": { "10": 900, "25": 500 } }] }"#,
            plan: r#"{ "temperature_c": @, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "10",
            fires: "9.9",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("outside-temperature", &edges());
}
