//! The edge cases of `outline-left`, beside the examples of its page.

use serde_json::Value;

use crate::edges::{Edge, hold, review, square, square_and_white, told};

/// A quick update that pushes what stands beside it: 0.1 of 48.557 L*, 4.856 L*, where black is drawn.
const PUSHING: &str = r#"{ "modes": [{ "name": "quick", "beside": { "lighter": 0.02, "darker": 0.1 } }] }"#;

pub(crate) fn edges() -> Vec<Edge> {
    let [by_strength, by_area] = [
        r#"{ "rules": { "outline-left": { "limit_l": @ } }, "steps": [
            { "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] }] }"#,
        r#"{ "rules": { "outline-left": { "area_mm2": @ } }, "steps": [
            { "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] }] }"#,
    ];
    let edge = |limit, plan, silent, fires| Edge {
        rule: "outline-left",
        limit,
        screens: square(),
        display: PUSHING,
        plan,
        silent,
        fires,
    };
    vec![
        edge("limit_l", by_strength, "4.86", "4.85"),
        // The square of 4 x 4 px has 16 px beside its sides.
        edge("area_mm2", by_area, "1.033", "1.032"),
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("outline-left", &edges());
}

fn ghosts(review: &Value) -> [Vec<String>; 2] {
    ["outline-left", "visible-ghost"].map(|rule| told(review, rule))
}

#[test]
fn what_was_erased_is_named_and_one_trouble_is_one_finding() {
    // Cleaned in the middle, so that the outline comes with the erasing alone.
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "label": "gone", "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let display = PUSHING.replace("0.02", "-0.1");
    let [outlines, ghosts] = ghosts(&review(&square_and_white(), &display, plan));
    assert_eq!(ghosts, Vec::<String>::new());
    assert_eq!(outlines.len(), 1, "{outlines:?}");
    let found = &outlines[0];
    assert!(
        found.starts_with(
            "1..1 an outline of 4.86 L* on 16 px (1.03 mm2) around the shape in [2, 2, 4, 4], erased at step 1 \"gone\""
        ),
        "{found}"
    );
    assert!(found.contains("it lies in pixels that changed when the pixels beside them were driven, and that no update has driven since"), "{found}");
    assert!(found.contains("removes it in"), "{found}");
}

#[test]
fn a_text_is_named() {
    let svg = |text: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width=\"96\" height=\"40\"><rect width='96' height='40' fill='#fff'/>\
             {text}</svg>"
        )
    };
    let ebb = svg("<text x='4' y='28' font-family='Arimo' font-size='20' shape-rendering='crispEdges'>Ebb</text>");
    let plan = r#"{ "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] },
        { "label": "gone", "screen": "b.svg", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let display = PUSHING.replace("0.02", "-0.1");
    let found = told(&review(&[("a.svg", &ebb), ("b.svg", &svg(""))], &display, plan), "outline-left");
    assert!(found.len() == 1 && found[0].contains("around the text `Ebb`, erased at step 1 \"gone\""), "{found:?}");
}

#[test]
fn what_was_mostly_driven_is_a_visible_ghost_and_says_what_was_not() {
    // The square itself stays dark too: 16 px of it beside 16 px of rim.
    let display = r#"{ "modes": [{ "name": "quick", "residue": { "lighter": 0.1 },
        "beside": { "lighter": -0.1, "darker": 0.1 } }] }"#;
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let [outlines, ghosts] = ghosts(&review(&square_and_white(), display, plan));
    assert_eq!(outlines, Vec::<String>::new());
    assert!(
        ghosts.len() == 1 && ghosts[0].contains("16 of the 32 px changed last when pixels beside them were driven"),
        "{ghosts:?}"
    );
}

#[test]
fn what_it_says_takes_it_away() {
    let plan = |last: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "quick", "window": "changed" }}] }},
                {{ "screen": "b.png", "after_ms": 900, "updates": [{{ "mode": "quick", "window": "changed" }}] }}{last}] }}"#
        )
    };
    let steps = |last: &str| {
        let found = told(&review(&square_and_white(), PUSHING, &plan(last)), "outline-left");
        assert_eq!(found.len(), 1, "{found:?}");
        (found[0].split(' ').next().unwrap().to_owned(), found[0].split(" | ").nth(1).unwrap().to_owned())
    };
    let still = r#", { "after_ms": 900 }, { "after_ms": 900 }"#;
    let (lasts, help) = steps(still);
    assert_eq!(lasts, "0..3");
    assert!(help.starts_with("`grey` on the window [0, 1, 8, 6] removes it in 400 ms"), "{help}");
    let grey = r#", { "after_ms": 900, "updates": [{ "mode": "grey", "window": [0, 1, 8, 6] }] }, { "after_ms": 900 }"#;
    assert_eq!(steps(grey).0, "0..1");
    // What drives only what changes never comes to it.
    let quick =
        r#", { "after_ms": 900, "updates": [{ "mode": "quick", "window": [0, 1, 8, 6] }] }, { "after_ms": 900 }"#;
    assert_eq!(steps(quick).0, "0..3");
}
