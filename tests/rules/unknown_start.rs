//! The edge cases of `unknown-start`, beside the examples of its page.

use serde_json::json;

use crate::shipped::{folder, play};

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
