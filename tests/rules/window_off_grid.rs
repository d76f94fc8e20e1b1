//! The edge cases of `window-off-grid`, beside the examples of its page.

use crate::{
    common::SQUARE,
    edges::{Edge, hold, lines_of, square},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "window-off-grid",
        limit: "",
        screens: square(),
        display: "",
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [0, 0, @, 8] }] }] }"#,
        silent: "8",
        fires: "9",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("window-off-grid", &edges());
}

#[test]
fn a_finding_that_is_a_note_by_its_nature_is_never_raised() {
    // Where nothing more is driven, an off-grid window is a note, whatever level the rule has.
    let found = lines_of(
        &[("a.png", SQUARE)],
        "",
        r#"{ "rules": { "window-off-grid": "error" }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [2, 2, 4, 4] }] }] }"#,
    );
    assert_eq!(found, ["step 0 window-off-grid note [2, 2, 4, 4]"]);
}
