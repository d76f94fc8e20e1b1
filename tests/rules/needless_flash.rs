//! The edge cases of `needless-flash`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "needless-flash",
        limit: "times",
        screens: square(),
        // 128 px flash; the window of 8 x 4 px, which holds the square of 16 px that changes, would do: a quarter.
        display: r#"{ "modes": [{ "name": "quick", "to": [5] }] }"#,
        plan: r#"{ "rules": { "needless-flash": { "times": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "full" }] },
                { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "full" }] }] }"#,
        silent: "4",
        fires: "3.999",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("needless-flash", &edges());
}
