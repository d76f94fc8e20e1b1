//! The edge cases of `too-many-since-cleaning`, beside the examples of its page.

use crate::edges::{Edge, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "too-many-since-cleaning",
            limit: "updates",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "too-many-since-cleaning": { "updates": @ } }, "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "8",
            fires: "7",
        },
        Edge {
            rule: "too-many-since-cleaning",
            limit: "updates",
            screens: square(),
            display: r#"{ "limits": { "updates_before_cleaning": @ } }"#,
            plan: r#"{ "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "8",
            fires: "7",
        },
        Edge {
            rule: "too-many-since-cleaning",
            limit: "area_mm2",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "too-many-since-cleaning": { "area_mm2": @ } }, "steps": [{ "repeat": 4, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] }, { "screen": "b.png", "updates": [{ "mode": "quick" }] }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("too-many-since-cleaning", &edges());
}

#[test]
fn the_latest_step_for_a_cleaning_is_named_and_obeying_it_is_enough() {
    let pair = r#"{ "screen": "a.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "quick" }] },
        { "screen": "b.png", "after_ms": 900, "cause": "key", "updates": [{ "mode": "quick" }] }"#;
    let plan = |between: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "b.png", "updates": [{{ "mode": "full" }}] }},
                {pair}, {pair}, {between} {pair}, {{ "after_ms": 8000 }}] }}"#
        )
    };
    let found = |plan: &str| told(&review(&square_and_white(), "", plan), "too-many-since-cleaning");
    // The limit is 5; the sixth update comes with step 6, and no pause before it.
    let said = found(&plan(""));
    let help = "| `full` on the window [0, 2, 8, 4] resets the count: use it after step 5 at the latest, so that the \
                count does not exceed 5. The plan has no pause before that (the first one comes after step 6): if a flash \
                at that moment is worse than leaving the place uncleaned, accept this finding";
    assert!(said.len() == 1 && said[0].ends_with(help), "{said:?}");
    let cleaned = r#"{ "after_ms": 2000, "updates": [{ "mode": "full", "window": [0, 2, 8, 4] }] },"#;
    assert_eq!(found(&plan(cleaned)), [""; 0]);
    let said = found(&plan(r#"{ "after_ms": 6000 },"#));
    let help = "resets the count: use it in the pause after step 4 (at least 2000 ms after that step), the last pause before the count \
                exceeds 5";
    assert!(said.len() == 1 && said[0].ends_with(help), "{said:?}");
}
