//! The edge cases of `under-driven`, beside the examples of its page.

use serde_json::json;

use crate::{
    edges::{Edge, hold, square},
    shipped::{folder, play},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "under-driven",
        limit: "share",
        screens: square(),
        display: r#"{ "modes": [{ "name": "full", "full_swing_ms": 1000 }] }"#,
        // The mode drives for 500 of these 1000 ms.
        plan: r#"{ "rules": { "under-driven": { "share": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "0.5",
        fires: "0.501",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("under-driven", &edges());
}

/// Common practice, no source: at 5 V a direct-driven segment is clear after 2 s and poor after 500 ms; at 15 V a few
/// hundred milliseconds are enough.
#[test]
fn segments_need_their_time() {
    let folder = folder([228, 124]);
    let drawing = folder.run(&["displays", "segments-5v.svg"]).with_status(0).out;
    folder.file("all.svg", drawing);
    let driven = |display: &str, drive_ms: u32| {
        let steps = json!([{ "screen": "all.svg", "updates": [{ "mode": "direct", "drive_ms": drive_ms }] }]);
        play(display, &folder, &steps).0.contains(&"under-driven error".to_owned())
    };
    assert_eq!([2000, 500].map(|ms| driven("segments-5v", ms)), [false, true]);
    assert_eq!([300, 100].map(|ms| driven("segments-15v", ms)), [false, true]);
}
