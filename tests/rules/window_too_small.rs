//! The edge cases of `window-too-small`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "window-too-small",
        limit: "",
        screens: square(),
        display: r#"{ "windows": { "step_px": [1, 1], "smallest_px": [4, 4], "most_in_a_step": 2 } }"#,
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [2, 2, @, 4] }] }] }"#,
        silent: "4",
        fires: "3",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("window-too-small", &edges());
}
