//! The edge cases of `small-target`, beside the examples of its page.

use crate::{
    common::Folder,
    edges::{Edge, hold, square},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "small-target",
        limit: "mm",
        screens: square(),
        display: "",
        // 8 px of 0.254 mm, the smaller side.
        plan: r#"{ "rules": { "small-target": { "mm": @ } }, "steps": [
                { "screen": "a.png", "touched": [0, 0, 12, 8], "updates": [{ "mode": "quick" }] }] }"#,
        silent: "2.032",
        fires: "2.033",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("small-target", &edges());
}

#[test]
fn a_target_is_told_once_however_often_it_is_touched() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [
            { "repeat": 3, "steps": [
                { "cause": "touch", "touched": [0, 0, 16, 8] }, { "cause": "touch", "touched": [8, 0, 16, 8] }] },
            { "cause": "touch", "touched": [16, 0, 40, 40] }] }"#,
    );
    let lines = folder.findings("a.plan.json");
    // What lies beyond the edge cannot be touched.
    assert_eq!(
        lines,
        [
            "step 0 small-target warning [0, 0, 16, 8]",
            "step 1 small-target warning [8, 0, 8, 8]",
            "step 6 small-target warning -"
        ]
    );
}

/// The answer to a touch often covers what was touched: the box is drawn on the screen before it.
#[test]
fn the_box_is_drawn_on_the_screen_that_was_touched() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] },
            { "screen": "white.png", "after_ms": 60000, "cause": "touch", "touched": [0, 0, 8, 8],
              "updates": [{ "mode": "full" }] }] }"#,
    );
    let arguments = ["review", "a.plan.json", "--only", "small-target", "--gate", "never"];
    folder.run(&[&arguments[..], &["--pictures", "pictures", "--also", "markdown=a.md"]].concat()).with_status(0);
    let mut drawn = folder.names_below("pictures");
    drawn.retain(|name| std::path::Path::new(name).extension().is_some_and(|ending| ending == "png"));
    assert!(drawn.len() == 1 && drawn[0].contains("step-0"), "{drawn:?}");
    let text = folder.read("a.md");
    assert!(text.contains("`small-target`") && text.contains(&drawn[0]), "{text}");
}

#[test]
fn a_key_has_no_touch_target() {
    let folder = Folder::usual();
    let plan = |cause: &str| format!(r#"{{ "steps": [{{ "cause": "{cause}", "touched": [0, 0, 8, 8] }}] }}"#);
    folder.plan("a.plan.json", &plan("key"));
    let refused = folder.run(&["review", "a.plan.json"]).with_status(2);
    assert!(refused.error.contains("a step that a key causes has no touch target"), "{}", refused.error);
    folder.plan("a.plan.json", &plan("touch"));
    assert_eq!(folder.findings("a.plan.json"), ["step 0 small-target warning [0, 0, 8, 8]"]);
}

#[test]
fn one_figure_is_to_be_built_and_the_minimum_is_said_only_where_a_plan_asks_for_less() {
    let help = |mm: &str| {
        let plan = format!(
            r#"{{ "rules": {{ "small-target": {{ "mm": {mm} }} }}, "steps": [
                {{ "screen": "a.png", "touched": [0, 0, 8, 4], "updates": [{{ "mode": "quick" }}] }}] }}"#
        );
        let screens = [("a.png", crate::common::SQUARE)];
        let found = crate::edges::told(&crate::edges::review(&screens, "", &plan), "small-target");
        found[0].split_once(" | ").unwrap().1.to_owned()
    };
    assert_eq!(help("6.35"), "make its touch area at least 25 x 25 px, even if what is drawn there is smaller");
    // 24 CSS px of 1/96 inch are 25 px of 1/100 inch (WCAG 2.2, 2.5.8).
    let less = "make its touch area at least 8 x 8 px, even if what is drawn there is smaller; the minimum of WCAG 2.2 (2.5.8) is 24 CSS \
                px, which is 25 px here";
    assert_eq!(help("2"), less);
}
