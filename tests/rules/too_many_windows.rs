//! The edge cases of `too-many-windows`, beside the examples of its page.

use crate::edges::{Edge, hold, lines_of, review, square, square_and_white, told};

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

/// A step that sends three windows where the controller takes two, and does that when it is busy.
const THREE: &str = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [[2, 2, 2, 4], [4, 2, 1, 4], [5, 2, 1, 4]] }] }] }"#;

fn display(when_busy: &str) -> String {
    format!(
        r#"{{ "windows": {{ "step_px": [1, 1], "smallest_px": [1, 1], "most_in_a_step": 2 }}, "when_busy": "{when_busy}" }}"#
    )
}

#[test]
fn it_is_an_error_where_the_controller_drops_the_rest() {
    for (when_busy, line, words) in [
        ("waits", "step 0 too-many-windows warning -", "the controller takes 2 at once: the rest appear late |"),
        ("drops", "step 0 too-many-windows error -", "it drops the rest, and the old picture stays there |"),
    ] {
        let lines = lines_of(&square_and_white(), &display(when_busy), THREE);
        assert!(lines.contains(&line.to_owned()), "{when_busy}: {lines:?}");
        let found = told(&review(&square_and_white(), &display(when_busy), THREE), "too-many-windows");
        assert!(found[0].contains(words), "{found:?}");
    }
}
