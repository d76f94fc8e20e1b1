//! The edge cases of `restless`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, hold, square},
    flashing::found,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "restless",
        limit: "per_hour",
        screens: square(),
        display: r#"{ "modes": [{ "name": "quick", "to": [5] }] }"#,
        plan: r#"{ "rules": { "restless": { "per_hour": @ } }, "steps": [
                { "screen": "b.png", "updates": [{ "mode": "full" }] },
                { "screen": "a.png", "after_ms": 60000, "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 60000, "updates": [{ "mode": "full" }] }] }"#,
        silent: "12",
        fires: "11",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("restless", &edges());
}

#[test]
fn settling_after_a_touch_is_not_restless() {
    // Quick at the touch and grey half a second later, once a minute: the person asked for both.
    let touch = r#"{ "screen": "@.png", "after_ms": 60000, "cause": "touch", "updates": [{ "mode": "quick" }] },
        { "after_ms": 500, "updates": [{ "mode": "grey" }] }"#;
    let plan = format!(
        r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }}, {}, {}, {}] }}"#,
        touch.replace('@', "square"),
        touch.replace('@', "white"),
        touch.replace('@', "square")
    );
    let screens = [("white.png", WHITE), ("square.png", SQUARE)];
    assert_eq!(
        found("restless", &screens, r#"{ "limits": { "updates_before_cleaning": 50 } }"#, &plan),
        Vec::<String>::new()
    );
}
