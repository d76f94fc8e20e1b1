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

#[test]
fn the_place_of_the_whole_line_is_left_out_of_the_update_that_it_waits_for() {
    // Columns 8 to 31 of rows 15 and 16; the commit sends [0, 15, 32, 2].
    let steps = |window: &serde_json::Value| {
        json!([{ "updates": [{ "mode": "full", "window": window }] }, { "screen": "short.png", "after_ms": 100, "cause": "pen",
            "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "quick", "window": [[0, 15, 32, 2], [8, 4, 8, 4]] }] }])
    };
    let mut display = pen_display();
    display["windows"]["most_in_a_step"] = json!(8);
    let found = findings("pen-lags", &display, &short_line(), &steps(&json!("all")));
    let help = found[0]["help"].as_str().unwrap();
    assert!(
        help.starts_with(
            "this step updates [0, 15, 32, 2] itself, so give `full` of step 0 only the boxes [0, 0, 64, 15], \
             [0, 17, 64, 15] and [32, 15, 32, 2]; or move"
        ),
        "{help}"
    );
    let beside = json!([[0, 0, 64, 15], [0, 17, 64, 15], [32, 15, 32, 2]]);
    assert_eq!(findings("pen-lags", &display, &short_line(), &steps(&beside)), Vec::<serde_json::Value>::new());
    // A commit that does not cover the line cannot stand in for the update: both are to be changed.
    let part = json!([{ "updates": [{ "mode": "full" }] }, { "screen": "short.png", "after_ms": 100, "cause": "pen",
        "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "quick", "window": [0, 15, 16, 2] }] }]);
    let found = findings("pen-lags", &display, &short_line(), &part);
    let help = found[0]["help"].as_str().unwrap();
    let both = "leave the line, [0, 15, 32, 2], out of `full` of step 0 and send it with the updates of this step; or";
    assert!(help.starts_with(both), "{help}");
}
