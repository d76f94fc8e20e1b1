//! The edge cases of `dull-page`, beside the examples of its page.

use crate::{
    common::WHITE,
    edges::{Edge, GHOSTING, hold, review, square, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "dull-page",
        limit: "limit_l",
        screens: square(),
        display: GHOSTING,
        plan: r#"{ "begins": "black", "rules": { "dull-page": { "limit_l": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }"#,
        silent: "4.86",
        fires: "4.85",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("dull-page", &edges());
}

#[test]
fn the_worst_step_is_named_where_it_is_not_the_first() {
    // The first columns are turned in a mode that leaves a twentieth, the others, which are more, in one that leaves a tenth.
    let part = [".".repeat(6), "#".repeat(10)].concat();
    let part = [part.as_str(); 8].join("\n");
    let display = r#"{ "modes": [
        { "name": "grey", "residue": { "lighter": 0.05 } }, { "name": "quick", "residue": { "lighter": 0.1 } }] }"#;
    let plan = r#"{ "begins": "black", "steps": [
        { "screen": "part.png", "updates": [{ "mode": "grey", "window": [0, 0, 8, 8] }] },
        { "screen": "white.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let screens = [("part.png", &*part), ("white.png", WHITE)];
    let found = told(&review(&screens, display, plan), "dull-page");
    assert!(
        found.len() == 1 && found[0].starts_with("0..1 on the whole page, the white has become darker"),
        "{found:?}"
    );
    assert!(found[0].contains("by up to 4.86 L* (at step 1):"), "{found:?}");
    let once = told(
        &review(
            &[("a.png", WHITE)],
            GHOSTING,
            r#"{ "begins": "black", "steps": [
        { "screen": "a.png", "updates": [{ "mode": "quick" }] }] }"#,
        ),
        "dull-page",
    );
    assert!(once.len() == 1 && once[0].contains("the white has become darker by 4.86 L*:"), "{once:?}");
}
