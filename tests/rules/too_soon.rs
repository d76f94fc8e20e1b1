//! The edge cases of `too-soon`, beside the examples of its page.

use stillpage::rules::Example;

use crate::{
    common::{Folder, SQUARE, WHITE},
    edges::{Edge, hold, review, square, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "too-soon",
        limit: "ms",
        screens: square(),
        display: "",
        plan: r#"{ "rules": { "too-soon": { "ms": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 700, "updates": [{ "mode": "full" }] }] }"#,
        silent: "699.9",
        fires: "700.1",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("too-soon", &edges());
}

#[test]
fn an_update_that_overtakes_another_is_measured_from_the_begins_beside_its_own() {
    // They begin at 0, 500 and, over other pixels, 300 ms.
    let plan = |ms: u32| {
        format!(
            r#"{{ "rules": {{ "too-soon": {{ "ms": {ms} }} }}, "steps": [
                {{ "screen": "a.png", "updates": [{{ "mode": "full", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "b.png", "after_ms": 20000, "updates": [{{ "mode": "quick", "window": [0, 0, 8, 8] }}] }},
                {{ "screen": "c.png", "after_ms": 200, "updates": [{{ "mode": "quick", "window": [8, 0, 8, 8] }}] }}] }}"#
        )
    };
    let right: String = SQUARE.lines().map(|row| row.chars().rev().collect::<String>() + "\n").collect();
    let screens = [("a.png", SQUARE), ("b.png", WHITE), ("c.png", right.trim_end())];
    assert_eq!(told(&review(&screens, "", &plan(199)), "too-soon"), Vec::<String>::new());
    let found = told(&review(&screens, "", &plan(201)), "too-soon");
    assert!(found.len() == 1 && found[0].starts_with("2..2 ") && found[0].contains("200 ms"), "{found:?}");
}

/// A panel whose every mode flashes, and that needs three minutes between two updates.
const SLOW_PAPER: &str = r#"{ "limits": { "ms_between_updates": 180000 },
    "modes": [
    { "name": "full", "duration_ms": 30000 },
    { "name": "quick", "flashes": 1, "from": "any", "to": "any", "drives": "all" }] }"#;

/// Three steps that flash the whole panel, the last one after so many milliseconds.
fn flashes(ms: u64) -> String {
    let step = |screen: &str, ms: u64| {
        format!(r#"{{ "screen": "{screen}.png", "after_ms": {ms}, "updates": [{{ "mode": "full" }}] }}"#)
    };
    format!(r#"{{ "steps": [{}, {}, {}] }}"#, step("a", 0), step("b", 3_600_000), step("a", ms))
}

#[test]
fn the_findings_of_one_step_ask_for_one_time_and_the_longest_is_right_for_all() {
    let screens = [("a.png", SQUARE), ("b.png", WHITE)];
    let found = review(&screens, SLOW_PAPER, &flashes(20_000));
    let rules = ["too-soon", "updates-collide", "restless"];
    for rule in rules {
        let told = told(&found, rule);
        let asks = "| set `after_ms` of step 2 to at least 600000";
        assert!(told.len() == 1 && told[0].contains(asks), "{rule}: {told:?}");
    }
    assert!(told(&found, "too-soon")[0].contains("but `restless` needs 600000)"), "{found:?}");
    // They wait for each other because they are too close: that is one cause.
    let of = |rule: &str| found["findings"].as_array().unwrap().iter().find(|found| found["rule"] == rule).unwrap();
    assert_eq!(of("updates-collide")["cause"], of("too-soon")["fingerprint"]);
    let left = |ms: u64| {
        let found = review(&screens, SLOW_PAPER, &flashes(ms));
        rules.iter().flat_map(|rule| told(&found, rule)).count()
    };
    assert_eq!([left(600_000), left(599_999)], [0, 1]);
}

#[test]
fn a_person_comes_when_a_person_comes() {
    let plan = flashes(20_000).replace(r#""after_ms": 20000,"#, r#""after_ms": 20000, "cause": "key","#);
    let folder = Folder::of_example(&Example {
        screens: vec![("a.png".into(), SQUARE.into()), ("b.png".into(), WHITE.into())],
        display: Some(SLOW_PAPER.into()),
        plan: plan.clone(),
        ..Example::default()
    });
    let before = folder.read("example.plan.json");
    folder.run(&["mend", "example.plan.json"]).with_status(0);
    assert_eq!(folder.read("example.plan.json"), before, "no time of a key is a correction");
    folder.plan("example.plan.json", &flashes(20_000));
    folder.run(&["mend", "example.plan.json"]).with_status(0);
    let mended = folder.read("example.plan.json");
    assert!(mended.contains(r#""after_ms": 600000"#), "{mended}");
}
