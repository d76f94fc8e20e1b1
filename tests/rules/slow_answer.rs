//! The edge cases of `slow-answer`, beside the examples of its page.

use crate::edges::{Edge, hold, review, square, square_and_white, told};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "slow-answer",
            limit: "first_ms",
            screens: square(),
            display: "",
            // `full` shows after a quarter of its 500 ms, and 128 px of 4 bits take 0.05 ms at 10 Mbit/s.
            plan: r#"{ "rules": { "slow-answer": { "first_ms": @ } },
                "steps": [{ "screen": "a.png", "cause": "key", "updates": [{ "mode": "full" }] }] }"#,
            silent: "125.1",
            fires: "125",
        },
        Edge {
            rule: "slow-answer",
            limit: "whole_ms",
            screens: square(),
            display: "",
            plan: r#"{ "rules": { "slow-answer": { "first_ms": 1000, "whole_ms": @ } },
                "steps": [{ "screen": "a.png", "cause": "touch", "updates": [{ "mode": "full" }] }] }"#,
            silent: "500.1",
            fires: "500",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("slow-answer", &edges());
}

#[test]
fn a_key_whose_change_is_taken_back_before_it_showed_was_never_answered() {
    let quick = r#"[{ "mode": "quick", "window": "changed" }]"#;
    let plan = |cause: &str, after_ms: u32, first: &str, then: &str, last: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png", "cause": "{cause}", "updates": {first} }},
                {{ "screen": "{then}", "after_ms": {after_ms}, "updates": {last} }}] }}"#
        )
    };
    let found = |plan: &str| told(&review(&square_and_white(), "", plan), "slow-answer");
    let never = found(&plan("key", 400, "[]", "b.png", "[]"));
    assert!(never.len() == 1 && never[0].starts_with("0..0 the key is never answered: "), "{never:?}");
    assert!(never[0].contains("change back 400 ms later") && never[0].contains("the window [0, 2, 8, 4]"), "{never:?}");
    let silent = [
        plan("clock", 400, "[]", "b.png", "[]"),
        plan("key", 400, quick, "b.png", quick),
        // What comes a little later is an answer, and what stays away is left behind.
        plan("key", 400, "[]", "a.png", quick),
        plan("key", 1400, "[]", "b.png", "[]"),
        plan("key", 400, "\"choose\"", "b.png", "[]"),
    ];
    for plan in silent {
        assert_eq!(found(&plan), Vec::<String>::new(), "{plan}");
    }
}
