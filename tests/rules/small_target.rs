//! The edge cases of `small-target`, beside the examples of its page.

use crate::{
    common::Folder,
    edges::{Edge, hold, square},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "small-target",
        limit: "mm",
        screens: square(),
        display: "",
        // 8 px of 0.254 mm, the smaller side.
        plan: r#"{ "rules": { "small-target": { "mm": @ } }, "steps": [
                { "screen": "a.png", "touched": [0, 0, 12, 8], "updates": [{ "mode": "quick" }] }] }"#,
        silent: "2.032",
        fires: "2.033",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("small-target", &edges());
}

#[test]
fn a_target_is_told_once_however_often_it_is_touched() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [
            { "repeat": 3, "steps": [
                { "cause": "touch", "touched": [0, 0, 16, 8] }, { "cause": "touch", "touched": [8, 0, 16, 8] }] },
            { "cause": "touch", "touched": [16, 0, 40, 40] }] }"#,
    );
    let lines = folder.findings("a.plan.json");
    // What lies beyond the edge cannot be touched.
    assert_eq!(
        lines,
        [
            "step 0 small-target warning [0, 0, 16, 8]",
            "step 1 small-target warning [8, 0, 8, 8]",
            "step 6 small-target warning -"
        ]
    );
}
