//! The edge cases of `update-lost`, beside the examples of its page.

use serde_json::json;

use crate::{
    edges::{Edge, hold, review, square, square_and_white, told},
    pen::{findings, pen_display, short_line, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    let [later, places] = [
        // The second update comes while the first, of 500 ms, still runs over the same pixels.
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] },
            { "screen": "b.png", "after_ms": @, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] }] }"#,
        // Beside it, where there is one place.
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] },
            { "screen": "b.png", "after_ms": @, "updates": [{ "mode": "full", "window": [8, 0, 8, 8] }] }] }"#,
    ];
    let edge = |display, plan| Edge {
        rule: "update-lost",
        limit: "",
        screens: square(),
        display,
        plan,
        silent: "500",
        fires: "499.9",
    };
    vec![edge(r#"{ "when_busy": "drops" }"#, later), edge(r#"{ "when_busy": "drops", "parallel_updates": 1 }"#, places)]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("update-lost", &edges());
}

/// What is told of a plan on a controller that drops what it is too busy for; `display` are more of its fields.
fn lost(display: &str, steps: &str) -> Vec<String> {
    let display = format!(r#"{{ "when_busy": "drops"{display} }}"#);
    told(&review(&square_and_white(), &display, &format!(r#"{{ "steps": [{steps}] }}"#)), "update-lost")
}

fn one(found: &[String]) -> &str {
    assert_eq!(found.len(), 1, "{found:?}");
    &found[0]
}

const OPEN: &str = r#"{ "label": "open", "screen": "a.png", "updates": [{ "mode": "full", "window": [0, 0, 8, 8] }] }"#;

#[test]
fn it_says_what_was_in_the_way_and_what_is_missing() {
    let close = |cause: &str, after_ms: u64| {
        format!(
            r#"{OPEN}, {{ "screen": "b.png", "after_ms": {after_ms}, "cause": "{cause}",
                "updates": [{{ "mode": "quick", "window": [0, 0, 8, 8] }}] }}"#
        )
    };
    let found = lost("", &close("clock", 100));
    let found = one(&found);
    assert!(found.contains("`full` of step 0 still runs over the same pixels for another 400 ms"), "{found}");
    assert!(found.contains("when the step ends, 16 px (1.03 mm2) of its windows still show something else"), "{found}");
    assert!(found.ends_with("| set `after_ms` of this step to at least 500 (now 100)"), "{found}");
    // Done as it says, it is taken.
    assert_eq!(lost("", &close("clock", 500)), Vec::<String>::new());
    let found = lost("", &close("key", 100));
    assert!(
        one(&found).contains("a person cannot be asked to wait") && one(&found).contains("400 ms later"),
        "{found:?}"
    );
    // Where the one place and the pixels are free together, other pixels would not help.
    let found = lost(r#", "parallel_updates": 1"#, &close("clock", 100));
    assert!(one(&found).contains("it drives only 1 update at the same time and has no free place"), "{found:?}");
}

#[test]
fn a_cleaning_that_is_lost_leaves_the_picture_right() {
    let found = lost("", &format!(r#"{OPEN}, {{ "after_ms": 100, "updates": [{{ "mode": "full" }}] }}"#));
    let found = one(&found);
    assert!(found.contains("the glass shows the right levels there, but nothing was driven or cleaned"), "{found}");
}

#[test]
fn the_rest_of_a_step_is_lost_where_the_link_waits_for_the_panel() {
    let waits = r#", "link": { "waits_for_panel": true }"#;
    let first = r#"{ "mode": "quick", "window": [0, 0, 8, 4] }"#;
    let second = r#"{ "mode": "quick", "window": [0, 4, 8, 4] }"#;
    let found = lost(waits, &format!(r#"{{ "screen": "a.png", "updates": [{first}, {second}] }}"#));
    let found = one(&found);
    assert!(found.contains("the link stays busy while the panel is driven, for another 120 ms"), "{found}");
    let help = "add its boxes to the `quick` update before it, or request it in a step of its own, with an `after_ms` \
                of 121 or more";
    assert!(found.ends_with(help), "{found}");
    let after = |ms: &str| {
        lost(
            waits,
            &format!(r#"{{ "screen": "a.png", "updates": [{first}] }}, {{ "after_ms": {ms}, "updates": [{second}] }}"#),
        )
    };
    assert_eq!((after("121").len(), after("120").len()), (0, 1));
    let together = r#"{ "screen": "a.png", "updates": [{ "mode": "quick", "window": [[0, 0, 8, 4], [0, 4, 8, 4]] }] }"#;
    assert_eq!(lost(waits, together), Vec::<String>::new());
}

#[test]
fn a_transfer_of_an_earlier_step_is_in_the_way_too() {
    // 64 px of 4 bits at 1 kbit/s: the transfer takes 256 ms.
    let slow = r#", "link": { "megabits_per_s": 0.001 }"#;
    let found = lost(
        slow,
        &format!(
            r#"{OPEN}, {{ "screen": "b.png", "after_ms": 56, "updates": [{{ "mode": "quick", "window": [8, 0, 8, 8] }}] }}"#
        ),
    );
    assert!(one(&found).contains("the link still carries an earlier transfer for another 200 ms"), "{found:?}");
}

#[test]
fn a_line_under_the_pen_is_in_the_way_of_its_commit() {
    let mut display = pen_display();
    display["when_busy"] = json!("drops");
    let commit = json!([{ "screen": "short.png", "strokes": [stroke(31, 2.0)], "cause": "pen",
        "updates": [{ "mode": "full" }] }]);
    let found = findings("update-lost", &display, &short_line(), &commit);
    assert_eq!(found.len(), 1, "{found:?}");
    let message = found[0]["message"].as_str().unwrap();
    assert!(message.contains("the line that the controller draws under the pen still runs"), "{message}");
}
