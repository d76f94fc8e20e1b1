//! The edge cases of `box-swells`, beside the examples of its page.

use crate::edges::{Edge, hold, review, rows_of, told};

/// A drawing with soft edges at the upper left of 32 x 16 px, and the same with a bar at the lower right.
fn drawn() -> Vec<(&'static str, String)> {
    let with = |bar: &str| {
        let mut rows: Vec<String> =
            rows_of(".8##8...........................", 1..4).lines().map(str::to_owned).collect();
        rows[13] = format!("........................{bar}");
        rows.join("\n")
    };
    // The drawing alone: the first screen's rows are those without a bar.
    vec![
        ("a.png", with("........")),
        ("b.png", with("########")),
        ("c.png", with("####....")),
        ("d.png", with("..####..")),
    ]
}

/// The window of the tick is 32 x 13 px, that of the bar alone 8 x 1 px: 52 times as much, and 0.8125 of the panel.
pub(crate) fn edges() -> Vec<Edge> {
    let [by_times, by_share] = ["times", "share"].map(|limit| {
        let plan = r#"{ "rules": { "box-swells": { "LIMIT": @ } }, "steps": [
            { "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] },
            { "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
        &*plan.replace("LIMIT", limit).leak()
    });
    let edge = |limit, plan, silent, fires| Edge {
        rule: "box-swells",
        limit,
        screens: drawn(),
        display: "",
        plan,
        silent,
        fires,
    };
    vec![edge("times", by_times, "52", "51.9"), edge("share", by_share, "0.813", "0.8125")]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("box-swells", &edges());
}

fn found(display: &str, plan: &str) -> Vec<String> {
    let screens = drawn();
    let screens: Vec<(&str, &str)> = screens.iter().map(|(name, text)| (*name, text.as_str())).collect();
    told(&review(&screens, display, plan), "box-swells")
}

#[test]
fn one_cause_is_one_finding_over_all_its_steps() {
    let plan = r#"{ "steps": [
        { "label": "page", "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "label": "tick", "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "c.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "d.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let words = "1..3 \"changed\" sends 416 px (26.8 mm2), 52.0 times as much as the box [24, 13, 8, 1] around what \
                 this step changes, in 3 steps up to step 3: it also covers 6 px (0.39 mm2) that still differ from the \
                 glass, because `quick` could not show their levels at step 0 \"page\" | redraw those pixels once, \
                 soon after step 0 \"page\", with `grey` on [0, 1, 8, 3], or use that mode in step 0 \"page\" already; \
                 or draw them in levels that `quick` can show";
    assert_eq!(found("", plan), [words]);
}

#[test]
fn only_what_an_update_could_not_reach_counts() {
    let plan = |first: &str, second: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png", "updates": {first} }},
                {{ "screen": "b.png", "after_ms": 9000, "updates": {second} }}] }}"#
        )
    };
    let quick = r#"[{ "mode": "quick", "window": "changed" }]"#;
    assert_eq!(found("", &plan(quick, quick)).len(), 1);
    // Nothing was sent for the drawing: that is left behind.
    assert_eq!(found("", &plan("[]", quick)), [""; 0]);
    // The tick settles the edges, and is as large for that.
    assert_eq!(found("", &plan(quick, r#"[{ "mode": "grey", "window": "changed" }]"#)), [""; 0]);
    // The window is named.
    assert_eq!(found("", &plan(quick, r#"[{ "mode": "quick", "window": [24, 13, 8, 1] }]"#)), [""; 0]);
    // A mode that leaves them alone and one that looks for the nearest level it has are alike here.
    let skipping = r#"{ "modes": [{ "name": "quick", "otherwise": "skipped" }] }"#;
    assert_eq!(found(skipping, &plan(quick, quick)).len(), 1);
    // Without windows the whole panel is refreshed anyway.
    assert_eq!(found(r#"{ "modes": [{ "name": "quick", "windowed": false }] }"#, &plan(quick, quick)), [""; 0]);
}

#[test]
fn what_changes_again_beside_old_edges_makes_no_large_box() {
    // The tick is in the drawing's own rows and columns.
    let plan = r#"{ "steps": [
        { "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "white.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    let white = rows_of(&".".repeat(32), 0..0);
    let first = drawn().swap_remove(0).1;
    assert_eq!(told(&review(&[("a.png", &first), ("white.png", &white)], "", plan), "box-swells"), [""; 0]);
}

#[test]
fn a_plan_that_does_what_it_says_is_silent() {
    let plan = r#"{ "steps": [
        { "label": "page", "screen": "a.png", "updates": [{ "mode": "quick", "window": "changed" }] },
        { "label": "settle", "after_ms": 500, "updates": [{ "mode": "grey", "window": [0, 1, 8, 3] }] },
        { "label": "tick", "screen": "b.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] },
        { "screen": "c.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#;
    assert_eq!(found("", plan), [""; 0]);
}
