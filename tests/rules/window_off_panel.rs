//! The edge cases of `window-off-panel`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "window-off-panel",
        limit: "",
        screens: square(),
        display: "",
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [8, 0, @, 8] }] }] }"#,
        silent: "8",
        fires: "9",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("window-off-panel", &edges());
}
