//! The edge cases of `unknown-start`, beside the examples of its page.

use serde_json::json;

use crate::{
    common::Folder,
    shipped::{folder, play},
};

/// A meter that loses its memory must be cleaned after it was off: common practice, no source.
#[test]
fn a_meter_that_was_off_must_be_cleaned_first() {
    let steps = |mode: &str| {
        json!([{ "screen": "square.png", "updates": [{ "mode": "full" }], "power": "off" },
            { "screen": "white.png", "after_ms": 60000, "updates": [{ "mode": mode }] }])
    };
    let folder = folder([296, 128]);
    let has = |mode: &str| play("meter-2in9", &folder, &steps(mode)).0.contains(&"unknown-start error".to_owned());
    assert!(has("quick") && !has("full"));
}

/// A flag keeps its state without power: common practice, no source.
#[test]
fn a_flag_keeps_its_state_without_power() {
    let folder = folder([72, 72]);
    folder.file("flag.svg", folder.run(&["displays", "flag-red.svg"]).with_status(0).out);
    let steps = json!([{ "screen": "white.png", "updates": [{ "mode": "full" }], "power": "off" },
        { "screen": "flag.svg", "after_ms": 60000, "updates": [{ "mode": "direct" }] }]);
    let (findings, facts) = play("flag-red", &folder, &steps);
    assert!(findings.is_empty(), "{findings:?}");
    assert!(facts[1]["updates"][0]["driven_px"].as_u64().unwrap() > 500);
}

#[test]
fn a_plan_without_a_beginning_is_told_that_it_says_none() {
    let folder = Folder::usual();
    let found = |begins: &str, mode: &str, window: &str| {
        folder.file(
            "a.plan.json",
            format!(
                r#"{{ "format": "refresh-plan/1", {begins} "display": "panel.display.json", "steps": [{{ "screen": "square.png",
                    "updates": [{{ "mode": "{mode}", "window": {window} }}] }}] }}"#
            ),
        );
        let review = ["review", "a.plan.json", "--format", "json", "--gate", "never", "--only", "unknown-start"];
        let report = folder.run(&review).with_status(0).json();
        let findings = report["plans"][0]["findings"].as_array().unwrap().clone();
        assert_eq!(findings.len(), 1, "{findings:?}");
        ["message", "help"].map(|name| findings[0][name].as_str().unwrap().to_owned())
    };
    for (mode, window) in [("quick", "[0, 0, 8, 8]"), ("full", "[0, 0, 8, 8]")] {
        let [message, help] = found("", mode, window);
        assert!(message.contains("the plan has no `begins`"), "{message}");
        assert!(
            help.starts_with("if the glass is clean white before the first step, write `\"begins\": \"white\"`"),
            "{help}"
        );
        let [message, help] = found(r#""begins": "unknown","#, mode, window);
        assert!(!message.contains("no `begins`") && !help.contains("white"), "{message} {help}");
        // Another window than the whole panel leaves the rest unknown.
        assert!(help.starts_with("begin with a cleaning update of the whole panel"), "{help}");
    }
}

/// The cleaning at the beginning made the whole panel known; that it forgets in its sleep is no unknown beginning.
#[test]
fn what_was_cleaned_before_the_panel_forgot_it_was_known() {
    let folder = folder([296, 128]);
    let is_found = |updates: &str| {
        let steps = format!(
            r#"{{ "screen": "square.png", "updates": [{updates}], "power": "off" }},
                {{ "screen": "square.png", "after_ms": 60000 }}"#
        );
        let head = r#""format": "refresh-plan/1", "display": "meter-2in9", "begins": "unknown""#;
        folder.file("sleep.plan.json", format!(r#"{{ {head}, "steps": [{steps}] }}"#));
        let found = folder.findings("sleep.plan.json");
        found.iter().any(|line| line.contains("unknown-start error"))
    };
    assert!(!is_found(r#"{ "mode": "full" }"#));
    assert!(is_found(""));
}
