//! The edge cases of `shade-not-on-panel`, beside the examples of its page.

use crate::edges::{Edge, hold, screens, square_of};

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
            // 5.9362 between #888888 and #79807c: worked out apart, by a script of the formula that gives the 34 published
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
