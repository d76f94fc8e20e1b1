//! The edge cases of `updates-collide`, beside the examples of its page.

use crate::{
    common::{Folder, SQUARE},
    edges::{Edge, hold, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "updates-collide",
        limit: "wait_ms",
        screens: square(),
        display: "",
        // The second update comes 100 ms after one of 500 ms.
        plan: r#"{ "rules": { "updates-collide": { "wait_ms": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "full" }] },
                { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "full" }] }] }"#,
        silent: "400.1",
        fires: "399.9",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("updates-collide", &edges());
}

#[test]
fn quick_now_and_grey_right_after_it_do_not_collide() {
    let grey = SQUARE.replace('#', "8");
    let plan = |second: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.png",
                "updates": [{{ "mode": "quick", "window": "changed" }}, {{ "mode": "{second}", "window": [0, 0, 8, 8] }}] }}] }}"#
        )
    };
    for display in ["", r#"{ "parallel_updates": 1 }"#, r#"{ "link": { "waits_for_panel": true } }"#] {
        let settled = review(&[("a.png", &grey)], display, &plan("grey"));
        assert_eq!(told(&settled, "updates-collide"), Vec::<String>::new(), "{display}");
    }
    // Beside it, one after the other is what a person sees as two halves.
    let halves = r#"{ "steps": [{ "screen": "a.png", "updates": [
        { "mode": "quick", "window": [0, 0, 8, 8] }, { "mode": "full", "window": [8, 0, 8, 8] }] }] }"#;
    let found = told(&review(&[("a.png", SQUARE)], r#"{ "parallel_updates": 1 }"#, halves), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("for a free place"), "{found:?}");
}

#[test]
fn where_one_place_is_all_there_is_other_windows_are_not_proposed() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] },
        { "screen": "b.png", "after_ms": 100, "updates": [{ "mode": "full" }] }] }"#;
    let found = told(&review(&square_and_white(), r#"{ "parallel_updates": 1 }"#, plan), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("for a free place"), "{found:?}");
    let found = told(&review(&square_and_white(), "", plan), "updates-collide");
    assert!(found.len() == 1 && found[0].contains("over the same place"), "{found:?}");
}

/// A device that begins late although nothing keeps it is not told that something does.
#[test]
fn a_measured_start_that_nothing_explains_names_no_other_update() {
    let folder = Folder::usual();
    let lines = r#"{}
        { "record": "frame", "at": 0, "file": "square.png" }
        { "record": "update", "at": 0, "mode": "quick", "started": 100, "finished": 220 }"#;
    let lines: Vec<&str> = lines.lines().map(str::trim).collect();
    folder.file("a.trace.jsonl", crate::common::whole_trace(&lines.join("\n")));
    let call = ["review", "a.trace.jsonl", "--format", "json", "--gate", "never", "--only", "updates-collide"];
    let report = folder.run(&call).with_status(0).json();
    let finding = &report["plans"][0]["findings"][0];
    let message = finding["message"].as_str().unwrap();
    assert!(message.contains("the device itself began so late") && !message.contains("transfer"), "{message}");
    assert!(!finding["help"].as_str().unwrap().contains("after_ms"), "{finding}");
}

/// Quick now and clean right after it was asked for just so; an update that waits to drive nothing was not.
#[test]
fn an_update_of_the_same_step_that_drives_nothing_waits_for_nothing() {
    let found = |updates: &str| {
        let plan = format!(r#"{{ "begins": "white", "steps": [{{ "screen": "a.png", "updates": [{updates}] }}] }}"#);
        told(&review(&square_and_white(), "", &plan), "updates-collide").len()
    };
    let (quick, full) = (r#"{ "mode": "quick" }"#, r#"{ "mode": "full" }"#);
    assert_eq!(found(&format!("{quick}, {full}")), 0);
    assert_eq!(found(&format!("{full}, {quick}")), 1);
}
