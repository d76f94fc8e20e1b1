//! The edge cases of `shade-not-on-panel`, beside the examples of its page.

use serde_json::json;

use crate::{
    common::example_display,
    edges::{Edge, hold, review, screens, square_of, told},
    reading::folder,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "shade-not-on-panel",
            limit: "grey",
            screens: screens(&[("a.png", &square_of("7"))]),
            display: r#"{ "ink": { "levels": 4, "reflectance": [0.04, 0.44] } }"#,
            // The nearest of the shades 0, 85, 170 and 255 to 119 is 34 away.
            plan: r#"{ "rules": { "shade-not-on-panel": { "grey": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "34",
            fires: "33",
        },
        Edge {
            rule: "shade-not-on-panel",
            limit: "area_mm2",
            screens: screens(&[("a.png", &square_of("7"))]),
            display: r#"{ "ink": { "levels": 4, "reflectance": [0.04, 0.44] } }"#,
            plan: r#"{ "rules": { "shade-not-on-panel": { "area_mm2": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "1.033",
            fires: "1.032",
        },
        Edge {
            rule: "shade-not-on-panel",
            limit: "colour",
            screens: screens(&[("a.png", &square_of("8"))]),
            display: r##"{ "family": "colour", "ink": { "colours": [{ "name": "black", "srgb": "#000000" },
                { "name": "white", "srgb": "#ffffff" }, { "name": "slate", "srgb": "#79807c" }] } }"##,
            // 5.9362 between #888888 and #79807c: computed apart, by a script of the formula that gives the 34 published
            // pairs of Sharma, Wu and Dalal (2005).
            plan: r#"{ "rules": { "shade-not-on-panel": { "colour": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "5.937",
            fires: "5.936",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("shade-not-on-panel", &edges());
}

/// What is said of a square of this digit's shade on a ground of that one's.
fn said_of(square: &str, ground: &str, display: &str) -> String {
    let screen = square_of(square).replace('.', ground);
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    told(&review(&[("a.png", &screen)], display, plan), "shade-not-on-panel").pop().unwrap_or_default()
}

const FOUR_GREYS: &str = r#"{ "ink": { "levels": 4, "reflectance": [0.04, 0.44] } }"#;

#[test]
fn it_says_what_the_shade_becomes() {
    let found = said_of("7", ".", FOUR_GREYS);
    assert!(found.contains("119 becomes grey 1 of 3 (off by 34) |"), "{found}");
}

#[test]
fn it_says_what_vanishes_in_its_ground() {
    // 119 and 85 are one level of four; 221 is nearer to 255 than to 170.
    let found = said_of("7", "5", FOUR_GREYS);
    assert!(
        found.contains("; what is drawn in 119 disappears, because what surrounds it becomes grey 1 of 3 too |"),
        "{found}"
    );
    let found = said_of("d", ".", FOUR_GREYS);
    assert!(
        found.contains(
            "221 becomes white (off by 34); what is drawn in 221 disappears, because what surrounds it becomes white too |"
        ),
        "{found}"
    );
    // The same square on a ground of another level is still seen, also where the ground's own shade is off.
    for ground in ["5", "0"] {
        assert!(!said_of("d", ground, FOUR_GREYS).contains("disappears"), "on {ground}");
    }
}

#[test]
fn a_curve_in_a_colour_that_the_palette_lacks_vanishes() {
    let mut display = example_display([96, 40]);
    display["family"] = json!("colour");
    display["ink"] = json!({ "colours": [{ "name": "black", "srgb": "#000000" }, { "name": "white", "srgb": "#ffffff" },
        { "name": "red", "srgb": "#c00000" }] });
    let curve = |colour: &str| {
        let path = format!(r#"<path d="M4 30 C 30 0, 60 40, 92 8" fill="none" stroke-width="5" stroke="{colour}"/>"#);
        let folder = folder(&[&path], &display);
        folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "0.svg", "updates": [{ "mode": "full" }] }] }"#);
        let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "shade-not-on-panel"]);
        told(&run.json()["plans"][0], "shade-not-on-panel").pop().unwrap()
    };
    let found = curve("#fff0b0");
    assert!(
        found.contains("#fff0b0 becomes white")
            && found.contains("what is drawn in #fff0b0 disappears, because what surrounds it becomes white too"),
        "{found}"
    );
    let found = curve("#b05050");
    assert!(found.contains("#b05050 becomes red") && !found.contains("disappears"), "{found}");
}
