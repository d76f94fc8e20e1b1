//! The edge cases of `nothing-changes`, beside the examples of its page.

use crate::edges::{review, square_of, told};

#[test]
fn what_drives_right_pixels_to_another_level_changes_something() {
    // Level 11 is out of reach of a two-level mode: one that drives every pixel makes it white, although memory keeps it.
    let found = |otherwise: &str| {
        let display = format!(r#"{{ "modes": [{{ "name": "quick", "drives": "all", "otherwise": "{otherwise}" }}] }}"#);
        let plan =
            r#"{ "begins": { "screen": "a.png" }, "steps": [{ "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#;
        told(&review(&[("a.png", &square_of("b"))], &display, plan), "nothing-changes")
    };
    assert_eq!(found("nearest"), Vec::<String>::new());
    assert_eq!(found("skipped").len(), 1, "{:?}", found("skipped"));
}
