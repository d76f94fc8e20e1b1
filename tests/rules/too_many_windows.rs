//! The edge cases of `too-many-windows`, beside the examples of its page.

use crate::edges::{Edge, hold, square};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "too-many-windows",
        limit: "",
        screens: square(),
        display: r#"{ "windows": { "step_px": [1, 1], "smallest_px": [1, 1], "most_in_a_step": @ } }"#,
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [[2, 2, 2, 4], [4, 2, 1, 4], [5, 2, 1, 4]] }] }] }"#,
        silent: "3",
        fires: "2",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("too-many-windows", &edges());
}
