//! The edge cases of `stray-ink`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    edges::{Edge, PEN, hold, square},
    pen::{findings, lines, pen_display, quick, short_line, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "stray-ink",
        limit: "",
        screens: square(),
        display: PEN,
        // The ink of a dot at [12, 4] that the picture lacks covers columns 11 and 12.
        plan: r#"{ "steps": [{ "screen": "a.png",
                "strokes": [{ "points": [[12, 4, 0]], "width_px": 2, "mode": "quick" }],
                "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] },
                { "after_ms": @, "updates": [{ "mode": "quick" }] }] }"#,
        silent: "1000",
        fires: "1000.5",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("stray-ink", &edges());
}

#[test]
fn ink_may_wait_for_a_commit_of_several_strokes() {
    let inking = json!({ "cause": "pen", "after_ms": 3000, "strokes": [stroke(31, 2.0)] });
    let clock = json!({ "cause": "clock", "after_ms": 3000, "updates": quick(&json!([0, 0, 8, 4])) });
    let commit =
        json!({ "screen": "short.png", "cause": "pen", "after_ms": 3000, "updates": quick(&json!("changed")) });
    let silent = json!([inking, clock, inking, commit]);
    assert_eq!(findings("stray-ink", &pen_display(), &short_line(), &silent), Vec::<Value>::new());
    let never = json!([inking, clock, inking, { "after_ms": 9000 }]);
    let found = findings("stray-ink", &pen_display(), &short_line(), &never);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(2)));
    assert_eq!(
        found[0]["message"],
        "50 px (3.23 mm2) of the line under the pen are never committed: the picture in memory lacks them"
    );
}

#[test]
fn a_commit_that_misses_earlier_ink_leaves_it_stray() {
    let steps = json!([
        { "cause": "pen", "strokes": [stroke(50, 2.0)] },
        { "screen": "short.png", "cause": "pen", "after_ms": 3000, "updates": quick(&json!([0, 0, 32, 32])) },
        { "after_ms": 3000 }]);
    assert_eq!(lines(&pen_display(), &short_line(), &steps), ["step 0 stray-ink error [32, 15, 19, 2]"]);
}
