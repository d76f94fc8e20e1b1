//! The edge cases of `ends-ghosted`, beside the examples of its page.

use crate::edges::{Edge, GHOSTING, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "ends-ghosted",
            limit: "limit_l",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "ends-ghosted": { "limit_l": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "4.86",
            fires: "4.85",
        },
        Edge {
            rule: "ends-ghosted",
            limit: "area_mm2",
            screens: square(),
            display: GHOSTING,
            plan: r#"{ "rules": { "ends-ghosted": { "area_mm2": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("ends-ghosted", &edges());
}

/// What counts as a ghost is one figure, unless the rule has its own.
#[test]
fn the_limit_of_visible_ghosts_applies_where_no_other_is_set() {
    let display = r#"{ "modes": [{ "name": "quick", "residue": { "pairs": [[0, 15, -1.5]] } }] }"#;
    let found = |rules: &str| {
        let plan = format!(
            r#"{{ "rules": {{ {rules} }}, "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full" }}] }},
                {{ "screen": "b.png", "after_ms": 900, "updates": [{{ "mode": "quick" }}] }}] }}"#
        );
        told(&review(&square_and_white(), display, &plan), "ends-ghosted").len()
    };
    assert_eq!(found(""), 0);
    assert_eq!(found(r#""visible-ghost": { "limit_l": 1 }"#), 1);
    assert_eq!(found(r#""visible-ghost": { "limit_l": 1 }, "ends-ghosted": { "limit_l": 2 }"#), 0);
}
