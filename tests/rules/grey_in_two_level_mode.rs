//! The edge cases of `grey-in-two-level-mode`, beside the examples of its page.

use serde_json::json;

use crate::{
    edges::{Edge, hold, lines_of, screens, square_of},
    shipped::{NAMES, WATCH, folder, modes, play, shipped},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "grey-in-two-level-mode",
        limit: "settle_ms",
        screens: screens(&[("a.png", &square_of("8"))]),
        display: "",
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick" }] },
                { "after_ms": @, "updates": [{ "mode": "grey" }] }] }"#,
        silent: "1000",
        fires: "1000.5",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("grey-in-two-level-mode", &edges());
}

#[test]
fn fewer_filled_pixels_than_the_limit_are_a_note() {
    // The square of one level has 16 filled pixels.
    let lines = |fill_px: u32| {
        let plan = format!(
            r#"{{ "rules": {{ "grey-in-two-level-mode": {{ "fill_px": {fill_px} }} }},
                "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "quick" }}] }}] }}"#
        );
        lines_of(&[("a.png", &square_of("8"))], "", &plan)
    };
    assert_eq!(lines(16), ["step 0 grey-in-two-level-mode error [2, 2, 4, 4]"]);
    assert_eq!(lines(17), ["step 0 grey-in-two-level-mode note [2, 2, 4, 4]"]);
}

#[test]
fn a_settling_update_of_a_part_settles_that_part_only() {
    // The settling update covers the left half only; what it leaves out is told alone.
    let found = lines_of(
        &[("a.png", "................\n....88888888....\n....88888888....\n....88888888....")],
        "",
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick" }] },
            { "after_ms": 500, "updates": [{ "mode": "grey", "window": [0, 0, 8, 4] }] }] }"#,
    );
    assert_eq!(found, ["step 0 grey-in-two-level-mode error [8, 1, 4, 3]"]);
}

/// Common practice, no source: a two-level partial update ends only at solid black or solid white.
#[test]
fn quick_updates_end_at_black_or_white() {
    let (findings, _) =
        play(WATCH.0, &folder(WATCH.1), &json!([{ "screen": "grey.png", "updates": [{ "mode": "quick" }] }]));
    assert!(findings.contains(&"grey-in-two-level-mode error".to_owned()), "{findings:?}");
    let mut quick = 0;
    for name in NAMES {
        let display = shipped(name);
        for mode in modes(&display).iter().filter(|mode| mode["name"] == "quick") {
            assert_eq!(mode["to"], "two-level", "{name}");
            quick += 1;
        }
    }
    assert_eq!(quick, 7, "the displays with greys or partial updates have one each");
}
