//! The edge cases of `grey-in-two-level-mode`, beside the examples of its page.

use serde_json::json;

use crate::{
    common::example_display,
    edges::{Edge, hold, lines_of, screens, square_of, told},
    reading::folder as drawings,
    shipped::{NAMES, WATCH, folder, modes, play, shipped},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "grey-in-two-level-mode",
        limit: "settle_ms",
        screens: screens(&[("a.png", &square_of("8"))]),
        display: "",
        plan: r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick" }] },
                { "after_ms": @, "updates": [{ "mode": "grey" }] }] }"#,
        silent: "1000",
        fires: "1000.5",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("grey-in-two-level-mode", &edges());
}

#[test]
fn fewer_filled_pixels_than_the_limit_are_a_note() {
    // The square of one level has 16 filled pixels.
    let lines = |fill_px: u32| {
        let plan = format!(
            r#"{{ "rules": {{ "grey-in-two-level-mode": {{ "fill_px": {fill_px} }} }},
                "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "quick" }}] }}] }}"#
        );
        lines_of(&[("a.png", &square_of("8"))], "", &plan)
    };
    assert_eq!(lines(16), ["step 0 grey-in-two-level-mode error [2, 2, 4, 4]"]);
    assert_eq!(lines(17), ["step 0 grey-in-two-level-mode note [2, 2, 4, 4]"]);
}

#[test]
fn a_settling_update_of_a_part_settles_that_part_only() {
    // The settling update covers the left half only; what it leaves out is reported alone.
    let found = lines_of(
        &[("a.png", "................\n....88888888....\n....88888888....\n....88888888....")],
        "",
        r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick" }] },
            { "after_ms": 500, "updates": [{ "mode": "grey", "window": [0, 0, 8, 4] }] }] }"#,
    );
    assert_eq!(found, ["step 0 grey-in-two-level-mode error [8, 1, 4, 3]"]);
}

/// A watch face of smoothed greys, minute by minute: 103 steps of the file, each of which draws the time and, in turns, one of
/// four figures elsewhere on the face. Each step was a finding before.
#[test]
fn the_soft_edges_of_one_drawing_are_one_finding_over_all_its_steps() {
    let text = |x: u32, y: u32, words: &str| {
        format!(r##"<text x="{x}" y="{y}" font-size="12" fill="#000000">{words}</text>"##)
    };
    let face = |minute: usize| {
        let (column, row) = (8 + 48 * (minute as u32 % 2), 40 - 20 * (minute as u32 / 2 % 2));
        let time = text(4, 12, &format!("{:02}:{:02}", 6 + minute / 60, minute % 60));
        time + &text(column, row.min(38), &(minute % 10).to_string())
    };
    let faces: Vec<String> = (0..103).map(face).collect();
    let faces: Vec<&str> = faces.iter().map(String::as_str).collect();
    let folder = drawings(&faces, &example_display([96, 40]));
    let step = |minute: usize| json!({ "screen": format!("{minute}.svg"), "after_ms": 60_000, "updates": [{ "mode": "quick" }] });
    folder.plan("a.plan.json", &json!({ "steps": (0..103).map(step).collect::<Vec<_>>() }).to_string());
    let run = folder.run(&["review", "a.plan.json", "--format", "json"]);
    let found = told(&run.json()["plans"][0], "grey-in-two-level-mode");
    assert!(found.len() == 1 && found[0].starts_with("0..102 "), "{found:?}");
    assert!(found[0].contains("all of them are soft edges of text or lines"), "{found:?}");
}

#[test]
fn soft_edges_far_from_each_other_are_two_drawings() {
    let [left, right] = [4, 60].map(|x| format!(r##"<text x="{x}" y="28" font-size="12" fill="#000000">7</text>"##));
    let both = format!("{left}{right}");
    let folder = drawings(&[&left, &both], &example_display([96, 40]));
    let step = |screen: &str, x: u32| json!({ "screen": screen, "after_ms": 60_000, "updates": [{ "mode": "quick", "window": [x, 8, 24, 24] }] });
    folder.plan("a.plan.json", &json!({ "steps": [step("0.svg", 0), step("1.svg", 56)] }).to_string());
    let lines = folder.findings("a.plan.json").into_iter();
    let lines: Vec<String> = lines.filter(|line| line.contains("grey-in-two-level-mode")).collect();
    assert!(lines.len() == 2 && lines.iter().all(|line| line.contains(" note [")), "{lines:?}");
}

/// Common practice, no source: a two-level partial update ends only at solid black or solid white.
#[test]
fn quick_updates_end_at_black_or_white() {
    let (findings, _) =
        play(WATCH.0, &folder(WATCH.1), &json!([{ "screen": "grey.png", "updates": [{ "mode": "quick" }] }]));
    assert!(findings.contains(&"grey-in-two-level-mode error".to_owned()), "{findings:?}");
    let mut quick = 0;
    for name in NAMES {
        let display = shipped(name);
        for mode in modes(&display).iter().filter(|mode| mode["name"] == "quick") {
            assert_eq!(mode["to"], "two-level", "{name}");
            quick += 1;
        }
    }
    assert_eq!(quick, 7, "the displays with greys or partial updates have one each");
}

#[test]
fn a_way_that_flashes_says_what_it_costs_where_flashes_have_a_budget() {
    let help = |more: &str| {
        let plan = format!(r#"{{ {more} "steps": [{{ "screen": "a.png", "updates": [{{ "mode": "quick" }}] }}] }}"#);
        let found = told(&crate::edges::review(&[("a.png", &square_of("8"))], "", &plan), "grey-in-two-level-mode");
        found[0].split_once(" | ").unwrap().1.to_owned()
    };
    let price = "(each such update is one of the 4 flashing updates that the plan's budget allows)";
    assert!(!help("").contains(price), "{}", help(""));
    assert_eq!(help(r#""budgets": { "flashing_updates": 4 },"#).matches(price).count(), 1, "it is said once");
}

/// A mode that skips greys shows nothing of a grey screen; if the next one comes 300 ms later, nobody ever sees it.
#[test]
fn an_area_that_another_picture_replaces_unseen_is_reported() {
    let found = |otherwise: &str, then: &str| {
        let display = format!(r#"{{ "modes": [{{ "name": "quick", "otherwise": "{otherwise}" }}] }}"#);
        let plan = format!(
            r#"{{ "begins": "white", "steps": [
                {{ "screen": "grey.png", "after_ms": 900, "updates": [{{ "mode": "quick" }}] }},
                {{ "screen": "{then}", "after_ms": 300, "updates": [{{ "mode": "grey" }}] }}] }}"#
        );
        let screens = [("grey.png", square_of("6")), ("white.png", crate::common::WHITE.to_owned())];
        let screens: Vec<(&str, &str)> = screens.iter().map(|(name, text)| (*name, text.as_str())).collect();
        told(&crate::edges::review(&screens, &display, &plan), "grey-in-two-level-mode").len()
    };
    assert_eq!(found("skipped", "white.png"), 1);
    // Black was seen in its place; and the same grey comes in time.
    assert_eq!(found("nearest", "white.png"), 0);
    assert_eq!(found("skipped", "grey.png"), 0);
}
