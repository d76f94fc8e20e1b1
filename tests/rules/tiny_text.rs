//! The edge cases of `tiny-text`, beside the examples of its page.

use serde_json::Value;

use crate::{
    common::example_display,
    edges::{Edge, hold, screens, text},
    reading::finding,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "tiny-text",
        limit: "mm",
        // The face's small letters are 1082 of 2048 high: 5.2832 px of 10 px, 1.34194 mm.
        screens: screens(&[("a.svg", &text("fill='#000000' font-size='10'"))]),
        display: "",
        plan: r#"{ "rules": { "tiny-text": { "mm": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#,
        silent: "1.3419",
        fires: "1.3420",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("tiny-text", &edges());
}

/// A face of 8 px has small letters of 8 * 1082 / 2048 = 4.2266 px, 1.0735 mm; 1.2 mm want 8.94 px.
#[test]
fn the_size_that_is_advised_is_enough() {
    let tiny = finding(r#"<text x="4" y="28" font-size="8">Ebb</text>"#, &example_display([96, 40]));
    assert_eq!(tiny["help"], "set it in 9 px instead of 8.00 px, or choose a face with larger small letters");
    assert_eq!(finding(r#"<text x="4" y="28" font-size="9">Ebb</text>"#, &example_display([96, 40])), Value::Null);
}
