//! The edge cases of `tiny-text`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::example_display,
    edges::{Edge, hold, review, screens, text, told},
    reading::finding,
};

pub(crate) fn edges() -> Vec<Edge> {
    let edge = |limit, plan, silent, fires| Edge {
        rule: "tiny-text",
        limit,
        // The face's small letters are 1082 of 2048 high: 5.2832 px of 10 px, 1.34194 mm.
        screens: screens(&[("a.svg", &text("fill='#000000' font-size='10'"))]),
        display: "",
        plan,
        silent,
        fires,
    };
    // 1.34194 mm are seen from 350 mm under atan(1.34194 / 350), 13.1807 minutes; 12 minutes are as high from 384.44 mm away.
    let by_angle = r#"{ "rules": { "tiny-text": { "arc_minutes": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#;
    let by_distance =
        r#"{ "viewing_distance_mm": @, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#;
    let by_height = r#"{ "rules": { "tiny-text": { "mm": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#;
    vec![
        edge("arc_minutes", by_angle, "13.180", "13.181"),
        edge("", by_distance, "384.4", "384.5"),
        edge("mm", by_height, "1.3419", "1.3420"),
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("tiny-text", &edges());
}

/// "The fluent range extends [...] from approximately 0.2 degrees [...]. Assuming a standard reading distance of 40 cm [...], the
/// corresponding physical x-heights are 1.4 mm": G. E. Legge and C. A. Bigelow, Journal of Vision 11(5):8 (2011), abstract.
#[test]
fn the_limit_is_the_published_height_at_the_published_distance() {
    let mut display = example_display([96, 40]);
    display["viewing_distance_mm"] = json!(400);
    let tiny = finding(r#"<text x="4" y="28" font-size="8">Ebb</text>"#, &display);
    let limit_mm = tiny["figures"]["limit_mm"].as_f64().unwrap();
    assert_eq!(format!("{limit_mm:.1}"), "1.4");
    // Figures in files have six decimals.
    assert!((limit_mm - 400.0 * 0.2_f64.to_radians().tan()).abs() < 1e-6, "{limit_mm}");
}

/// A face of 8 px has small letters of 8 * 1082 / 2048 = 4.2266 px, 1.0735 mm; 12 minutes at 350 mm, 1.2217 mm, want 9.10 px.
#[test]
fn the_size_that_is_advised_is_enough() {
    let tiny = finding(r#"<text x="4" y="28" font-size="8">Ebb</text>"#, &example_display([96, 40]));
    assert_eq!(
        tiny["message"],
        "the text `Ebb`: the lowercase letters (4.23 px) are 1.07 mm high on this panel; to be read at \
         full speed from 350 mm away they must be 1.22 mm high (12.0 minutes of arc instead of 10.5)"
    );
    assert_eq!(tiny["help"], "set it at 9.5 px instead of 8.00 px, or choose a font with larger lowercase letters");
    assert_eq!(finding(r#"<text x="4" y="28" font-size="9.5">Ebb</text>"#, &example_display([96, 40])), Value::Null);
}

#[test]
fn a_floor_is_named_with_whose_it_is_and_never_reads_as_kept() {
    let message = |rules: &str| {
        let plan = format!(
            r#"{{ "rules": {{ "tiny-text": {rules} }}, "steps": [{{ "screen": "a.svg", "updates": [{{ "mode": "full" }}] }}] }}"#
        );
        let found = review(&[("a.svg", &text("fill='#000000' font-size='10'"))], "", &plan);
        told(&found, "tiny-text").pop().unwrap()
    };
    let found = message(r#"{ "mm": 1.342 }"#);
    assert!(found.contains("are 1.3419 mm high on this panel, below the plan's limit of 1.3420 mm"), "{found}");
    // The stricter of the two counts.
    let found = message(r#"{ "mm": 1.35, "arc_minutes": 20 }"#);
    assert!(found.contains("they must be 2.04 mm high (20.0 minutes of arc instead of "), "{found}");
}
