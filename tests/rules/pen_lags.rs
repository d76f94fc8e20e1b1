//! The edge cases of `pen-lags`, beside the examples of its page.

use serde_json::json;

use crate::{
    edges::{Edge, PEN, hold, square},
    pen::{findings, pen_display, short_line, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "pen-lags",
            limit: "ms",
            screens: square(),
            display: PEN,
            plan: r#"{ "rules": { "pen-lags": { "ms": @ } }, "steps": [{ "screen": "a.png",
                "strokes": [{ "points": [[4, 4, 0], [6, 4, 120]], "width_px": 2, "mode": "quick" }], "updates": [{ "mode": "quick" }] }] }"#,
            silent: "20",
            fires: "19.9",
        },
        Edge {
            rule: "pen-lags",
            limit: "",
            screens: square(),
            display: r#"{ "controller_ink": { "delay_ms": @ } }"#,
            plan: r#"{ "steps": [{ "screen": "a.png",
                "strokes": [{ "points": [[4, 4, 0], [6, 4, 120]], "width_px": 2, "mode": "quick" }], "updates": [{ "mode": "quick" }] }] }"#,
            silent: "50",
            fires: "50.1",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("pen-lags", &edges());
}

#[test]
fn a_slow_controller_is_told_once_for_the_whole_plan() {
    let mut display = pen_display();
    display["controller_ink"] = json!({ "delay_ms": 80 });
    let note = json!({ "after_ms": 3000, "strokes": [stroke(31, 2.0)] });
    let found = findings("pen-lags", &display, &short_line(), &json!([note, { "after_ms": 100 }, note, note]));
    assert_eq!(found.len(), 1);
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(3)));
    assert_eq!(
        found[0]["message"],
        "the line appears 80 ms after the pen moves; the limit is 50 ms, above which people notice the lag"
    );
}
