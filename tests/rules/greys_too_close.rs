//! The edge cases of `greys-too-close`, beside the examples of its page.

use crate::edges::{Edge, hold, screens};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "greys-too-close",
        limit: "l",
        // Neighbours of 16 levels between reflectances of 0.04 and 0.44 lie (72.2285 - 23.6714) / 15 = 3.2371 L* apart.
        screens: screens(&[("a.png", &two_fields("8", "9"))]),
        display: "",
        plan: r#"{ "rules": { "greys-too-close": { "l": @ } }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "3.237",
        fires: "3.238",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("greys-too-close", &edges());
}

/// Two fields of these digits' shades that touch.
fn two_fields(left: &str, right: &str) -> String {
    let row = format!("....{}{}....", left.repeat(4), right.repeat(4));
    vec![row; 8].join("\n")
}
