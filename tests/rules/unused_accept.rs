//! The edge cases of `unused-accept`, beside the examples of its page.

use crate::edges::{review, square_and_white, told};

#[test]
fn an_entry_for_a_rule_that_is_switched_off_accepts_nothing() {
    let plan = r#"{ "begins": "white", "rules": { "visible-ghost": "off" },
        "accept": [{ "rule": "visible-ghost", "because": "nobody minds" }],
        "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    let found = told(&review(&square_and_white(), "", plan), "unused-accept");
    let [line] = &found[..] else { panic!("{found:?}") };
    assert!(line.contains("accepts findings of `visible-ghost`, but that rule is switched off"), "{line}");
}
