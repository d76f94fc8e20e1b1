//! The edge cases of `never-idle`, beside the examples of its page.

use crate::edges::{Edge, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "never-idle",
        limit: "seconds",
        screens: square(),
        display: "",
        // From 0 ms to the end of the third update, 120.05 ms after 1600 ms.
        plan: r#"{ "rules": { "never-idle": { "seconds": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] },
                { "screen": "b.png", "after_ms": 800, "updates": [{ "mode": "quick" }] },
                { "screen": "a.png", "after_ms": 800, "updates": [{ "mode": "quick" }] }] }"#,
        silent: "1.721",
        fires: "1.719",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("never-idle", &edges());
}

#[test]
fn the_step_where_the_unrest_begins_is_named() {
    // Two keys, and then a cursor that blinks by itself: what is wrong begins at step 2.
    let plan = |times: u32| {
        format!(
            r#"{{ "rules": {{ "never-idle": {{ "seconds": 8 }} }}, "steps": [
                {{ "label": "one", "screen": "a.png", "cause": "key", "updates": [{{ "mode": "quick" }}] }},
                {{ "label": "two", "screen": "b.png", "after_ms": 800, "cause": "key", "updates": [{{ "mode": "quick" }}] }},
                {{ "repeat": {times}, "steps": [
                    {{ "label": "on", "screen": "a.png", "after_ms": 800, "updates": [{{ "mode": "quick" }}] }},
                    {{ "label": "off", "screen": "b.png", "after_ms": 800, "updates": [{{ "mode": "quick" }}] }}] }}] }}"#
        )
    };
    let found = |times: u32| told(&review(&square_and_white(), "", &plan(times)), "never-idle");
    let long = found(6);
    assert!(long.len() == 1 && long[0].starts_with("2..13 12 updates"), "{long:?}");
    assert!(long[0].contains("from step 2 \"on\" on"), "{long:?}");
    // The cursor alone is not busy for so long: it is so only with the keys before it.
    let short = found(5);
    assert!(short.len() == 1 && short[0].contains("from step 0 \"one\" on"), "{short:?}");
    assert_eq!(found(4), Vec::<String>::new());
}

#[test]
fn what_a_person_asks_for_in_a_row_is_not_called_an_animation() {
    let plan = |cause: &str| {
        format!(
            r#"{{ "rules": {{ "never-idle": {{ "seconds": 2 }} }}, "steps": [{{ "repeat": 4, "steps": [
                {{ "screen": "a.png", "after_ms": 800, "cause": "{cause}", "updates": [{{ "mode": "quick" }}] }},
                {{ "screen": "b.png", "after_ms": 800, "cause": "{cause}", "updates": [{{ "mode": "quick" }}] }}] }}] }}"#
        )
    };
    let help = |cause: &str| {
        let found = told(&review(&square_and_white(), "", &plan(cause)), "never-idle");
        found[0].split_once(" | ").unwrap().1.to_owned()
    };
    assert!(
        help("key").starts_with("leave pauses between the updates, or answer several touches or keys"),
        "{}",
        help("key")
    );
    assert!(help("clock").contains("let an animation stop"), "{}", help("clock"));
}
