//! The edge cases of `commit-under-hand`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    edges::{Edge, PEN, hold, square},
    pen::{findings, pen_display, quick, screen, short_line, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "commit-under-hand",
        limit: "",
        screens: square(),
        display: PEN,
        // The ink of the first stroke is drawn from 20 to 140 ms; the commit, sent within 0.1 ms, follows it until 260 ms.
        plan: r#"{ "steps": [{ "screen": "a.png", "cause": "pen",
                "strokes": [{ "points": [[4, 4, 0]], "width_px": 2, "mode": "quick" }], "updates": [{ "mode": "quick" }] },
                { "after_ms": @, "cause": "pen", "strokes": [{ "points": [[4, 4, 0]], "width_px": 2, "mode": "quick" }] }] }"#,
        silent: "260",
        fires: "259",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("commit-under-hand", &edges());
}

/// `full` runs from 0.82 ms (2048 px of 4 bits at 10 Mbit/s) to 500.82 ms; the first piece ends at 100 + 120 ms.
#[test]
fn the_update_that_the_line_waits_for_is_named() {
    let steps = json!([{ "updates": [{ "mode": "full" }] }, { "after_ms": 100, "strokes": [stroke(31, 2.0)] }]);
    let found = findings("pen-lags", &pen_display(), &short_line(), &steps);
    let message = "the line appears 281 ms after the pen moves, including 261 ms waiting for `full` of step 0; the \
                   limit is 50 ms, above which people notice the lag";
    assert_eq!(found[0]["message"], message);
    // Beside the update the pen waits for nothing.
    let beside = json!([{ "updates": [{ "mode": "full", "window": [0, 0, 64, 8] }] }, { "after_ms": 100, "strokes": [stroke(31, 2.0)] }]);
    assert_eq!(findings("pen-lags", &pen_display(), &short_line(), &beside), Vec::<Value>::new());
}

#[test]
fn a_flash_beside_the_hand_or_without_a_pen_is_no_matter() {
    let commit = |window: Value| json!([{ "screen": "short.png", "cause": "pen", "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "full", "window": window }] }]);
    let rule = "commit-under-hand";
    assert_eq!(findings(rule, &pen_display(), &short_line(), &commit(json!([0, 0, 64, 8]))), Vec::<Value>::new());
    assert_eq!(findings(rule, &pen_display(), &short_line(), &commit(json!([0, 8, 64, 16]))).len(), 1);
    let page_turn = json!([{ "screen": "short.png", "cause": "touch", "updates": [{ "mode": "full" }] }]);
    assert_eq!(findings(rule, &pen_display(), &short_line(), &page_turn), Vec::<Value>::new());
}

#[test]
fn commits_that_run_on_under_stroke_after_stroke_are_one_finding() {
    let screens = [("a.png", screen(&[([7, 15, 25, 3], '#')])), ("b.png", screen(&[([7, 15, 25, 4], '#')]))];
    let note = |name: &str| json!({ "screen": name, "cause": "pen", "after_ms": 100, "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "grey", "window": [0, 8, 64, 16] }] });
    let mut display = pen_display();
    display["modes"][1]["flashes"] = json!(0);
    let found =
        findings("commit-under-hand", &display, &screens, &json!([note("a.png"), note("b.png"), note("a.png")]));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(2)));
    // A stroke that begins elsewhere is not held up.
    let mut elsewhere = note("b.png");
    elsewhere["strokes"] = json!([{ "points": [[40, 4, 0], [50, 4, 100]], "width_px": 2, "mode": "quick" }]);
    assert_eq!(
        findings("commit-under-hand", &display, &screens, &json!([note("a.png"), elsewhere])),
        Vec::<Value>::new()
    );
}

/// Every commit follows the ink of its own step, which the controller still drives: that is no collision.
#[test]
fn a_commit_waits_for_its_own_ink_without_a_collision() {
    let commit = |after_ms: u32| json!({ "screen": "short.png", "cause": "pen", "after_ms": after_ms, "strokes": [stroke(48, 2.0)], "updates": quick(&json!("changed")) });
    assert_eq!(findings("updates-collide", &pen_display(), &short_line(), &json!([commit(0)])), Vec::<Value>::new());
    // That of another update it is.
    let full = json!({ "updates": [{ "mode": "full" }] });
    assert_eq!(findings("updates-collide", &pen_display(), &short_line(), &json!([full, commit(10)])).len(), 1);
}

/// An earlier update that still runs may leave the line out only if the commit sends it: then the commit is not needless.
#[test]
fn a_commit_that_an_earlier_update_relies_on_is_not_left_out() {
    let commit = |after_ms: u32| json!({ "screen": "short.png", "cause": "pen", "after_ms": after_ms, "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "full", "window": [0, 8, 64, 16] }] });
    let page = json!({ "updates": [{ "mode": "full" }] });
    let help = |after_ms: u32| {
        let steps = json!([page, commit(after_ms)]);
        findings("commit-under-hand", &pen_display(), &short_line(), &steps)[0]["help"].as_str().unwrap().to_owned()
    };
    assert!(help(5000).starts_with("leave this update out"), "{}", help(5000));
    assert!(help(100).starts_with("commit with `quick`, which does not flash"), "{}", help(100));
}
