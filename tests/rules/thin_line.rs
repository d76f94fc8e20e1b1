//! The edge cases of `thin-line`, beside the examples of its page.

use crate::edges::{Edge, hold, lines_of, screens};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "thin-line",
        limit: "px",
        // A line of one row of shade 170 has a coverage of 85 / 255 = 0.333 px.
        screens: screens(&[(
            "a.png",
            "................\n................\n..aaaaaaaaaa....\n................\n................",
        )]),
        display: r#"{ "ink": { "levels": 2, "reflectance": [0.04, 0.44] } }"#,
        plan: r#"{ "rules": { "thin-line": { "px": @ } }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "0.333",
        fires: "0.334",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("thin-line", &edges());
}

#[test]
fn a_pale_area_is_no_thin_line() {
    // The page: a line or a stem thinner than the limit. An area of 10 x 6 px is neither.
    let area = "................\n...aaaaaaaaaa...\n...aaaaaaaaaa...\n...aaaaaaaaaa...\n...aaaaaaaaaa...\n...aaaaaaaaaa...\n...aaaaaaaaaa...\n................";
    let found = lines_of(
        &[("a.png", area)],
        r#"{ "ink": { "levels": 2, "reflectance": [0.04, 0.44] } }"#,
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
    );
    assert_eq!(found, ["step 0 shade-not-on-panel warning [3, 1, 10, 6]"]);
}

/// The same line, white on black: a line of shade 85 has a third of a pixel, and the panel has no shade for that.
#[test]
fn a_white_line_on_a_black_bar_vanishes_too() {
    let bar = |line: &str| {
        format!(
            "................\n##############..\n##############..\n{line}\n##############..\n################\n................\n................"
        )
    };
    let found = |line: &str| {
        lines_of(
            &[("a.png", &bar(line))],
            r#"{ "ink": { "levels": 2, "reflectance": [0.04, 0.44] } }"#,
            r#"{ "rules": { "shade-not-on-panel": "off" }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
        )
    };
    assert_eq!(found("##55555555####.."), ["step 0 thin-line warning [2, 3, 8, 1]"]);
    // As bright as the paper, it stays.
    assert_eq!(found("##........####.."), [""; 0]);
}
