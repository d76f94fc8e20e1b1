//! The edge cases of `wrong-start`, beside the examples of its page.

use serde_json::json;

use crate::{
    common::SQUARE,
    edges::{Edge, hold, review, screens, square_of, told},
    pen::{findings, pen_display, screen, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "wrong-start",
        limit: "area_mm2",
        // A grey square of 1.0323 mm2 becomes black.
        screens: screens(&[("a.png", &square_of("8")), ("b.png", SQUARE)]),
        display: r#"{ "modes": [{ "name": "quick", "from": "two-level" }] }"#,
        plan: r#"{ "rules": { "wrong-start": { "area_mm2": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 2000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#,
        silent: "1.033",
        fires: "1.032",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("wrong-start", &edges());
}

/// Another mode that drives all of its window is advised with the window of what changes.
#[test]
fn the_mode_that_is_advised_flashes_no_more_than_changes() {
    let help = |window: &str| {
        let display = r#"{ "modes": [{ "name": "quick", "from": "two-level" }] }"#;
        let plan = format!(
            r#"{{ "begins": {{ "screen": "a.png" }}, "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "quick"{window} }}] }}] }}"#
        );
        told(&review(&[("a.png", &square_of("8")), ("b.png", SQUARE)], display, &plan), "wrong-start").concat()
    };
    let wide = help("");
    assert!(
        wide.ends_with(
            "| use `full` or `grey` here, which can start from any level, with the window \"changed\", here [0, 2, 8, 4], so \
             that nothing else flashes"
        ),
        "{wide}"
    );
    let narrow = help(r#", "window": "changed""#);
    assert!(narrow.ends_with("| use `full` or `grey` here, which can start from any level"), "{narrow}");
}

/// What is advised to answer a key is slower than it may be: that is said, and for a step by the clock it is not.
#[test]
fn a_mode_that_would_answer_too_late_is_advised_with_its_times() {
    let help = |cause: &str, first_ms: u32| {
        let display = format!(
            r#"{{ "modes": [{{ "name": "quick", "from": "two-level" }}, {{ "name": "full", "first_visible_ms": 250 }},
                {{ "name": "grey", "first_visible_ms": {first_ms}, "duration_ms": 400 }}] }}"#
        );
        let plan = format!(
            r#"{{ "begins": {{ "screen": "a.png" }}, "steps": [{{ "screen": "b.png", "cause": "{cause}",
                "updates": [{{ "mode": "quick", "window": "changed" }}] }}] }}"#
        );
        told(&review(&[("a.png", &square_of("8")), ("b.png", SQUARE)], &display, &plan), "wrong-start").concat()
    };
    let slow = help("key", 200);
    let words = "; `slow-answer` then reports this step, because the answer appears only after 200 ms or more and is complete \
                 after 400 ms or more";
    assert!(slow.ends_with(words), "{slow}");
    for (cause, first_ms) in [("clock", 200), ("key", 90)] {
        assert!(help(cause, first_ms).ends_with("which can start from any level"), "{cause} {first_ms}");
    }
}

#[test]
fn ink_that_the_controller_draws_starts_somewhere_too() {
    let found = |shade: char, from: &str| {
        let mut display = pen_display();
        display["modes"][2]["from"] = json!(from);
        let page = [("page.png", screen(&[([16, 8, 40, 16], shade)]))];
        let steps = json!([
            { "screen": "page.png", "updates": [{ "mode": "full" }] },
            { "after_ms": 3000, "cause": "pen", "strokes": [stroke(48, 2.0)], "updates": [] }
        ]);
        findings("wrong-start", &display, &page, &steps)
    };
    let over_grey = found('8', "two-level");
    assert_eq!(over_grey.len(), 1, "{over_grey:?}");
    let text = |name: &str| over_grey[0][name].as_str().unwrap().to_owned();
    assert!(text("message").contains("are drawn over by the controller with `quick` from a level"), "{over_grey:?}");
    assert_eq!(over_grey[0]["at"]["pointer"], "/steps/1/strokes/0/mode", "{over_grey:?}");
    assert!(text("help").contains("first update the place to black and white"), "{over_grey:?}");
    // From column 16 on, where the grey begins, to the round end of the line behind column 48.
    assert_eq!(over_grey[0]["box"], json!([16, 15, 33, 2]), "{over_grey:?}");
    assert_eq!(found('.', "two-level").len(), 0, "white is a level that it can start from");
    assert_eq!(found('8', "any").len(), 0, "this ink starts from any");
}

#[test]
fn the_ghost_that_it_leaves_is_an_estimate_where_the_display_says_how_good() {
    let message = |certainty: &str| {
        let display = format!(r#"{{ "modes": [{{ "name": "quick", "from": "two-level" }}]{certainty} }}"#);
        let plan = r#"{ "begins": { "screen": "a.png" }, "steps": [{ "screen": "b.png", "updates": [{ "mode": "quick" }] }] }"#;
        told(&review(&[("a.png", &square_of("8")), ("b.png", SQUARE)], &display, plan), "wrong-start").concat()
    };
    let (known, unknown) = (message(r#", "certainty": { "residue": 4 }"#), message(""));
    assert!(known.contains("a ghost of about 3.00 L* (an estimate, good to a factor of 4) stays |"), "{known}");
    assert!(unknown.contains("a ghost of about 3.00 L* stays |"), "{unknown}");
}
