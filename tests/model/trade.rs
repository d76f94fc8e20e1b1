//! Facts of the trade that the shipped descriptions and the model must carry; what each family of panels must refuse stands
//! with the rules. All of them: common practice, no source.

use serde_json::{Value, json};

use crate::shipped::{NAMES, SIGN, WATCH, folder, modes, play, shipped};

/// Common practice, no source: greys need a greyscale mode, and the good ones flash: what cleans flashes.
#[test]
fn what_cleans_flashes() {
    for name in NAMES.into_iter().filter(|name| *name != "segments-15v") {
        let display = shipped(name);
        let cleaning: Vec<_> = modes(&display).iter().filter(|mode| mode["cleans"] == true).collect();
        assert_eq!(cleaning.len(), 1, "{name}");
        assert!(cleaning[0]["flashes"].as_u64().unwrap() > 0, "{name}");
    }
}

/// Common practice, no source: partial updates leave ghosts that add up; a full one clears them entirely.
#[test]
fn ghosts_add_up_until_a_full_update() {
    let step = |screen: &str, mode: &str| json!({ "screen": screen, "after_ms": 2000, "updates": [{ "mode": mode }] });
    let mut steps = vec![step("white.png", "full")];
    for _ in 0..60 {
        steps.extend([step("square.png", "quick"), step("white.png", "quick")]);
    }
    steps.push(step("white.png", "full"));
    let (_, facts) = play(WATCH.0, &folder(WATCH.1), &json!(steps));
    let worst = |at: usize| facts[at]["worst_residue_l"].as_f64().unwrap();
    let (early, late, cleaned) = (worst(2), worst(120), worst(121));
    assert!(early < 2.3 && late > 2.3, "from {early} to {late} L*");
    assert!(cleaned == 0.0, "{cleaned} L* after the full update");
}

/// Common practice, no source: a window can be given a full update, and then only the window flashes.
#[test]
fn a_full_update_of_a_window_drives_only_the_window() {
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (_, facts) = play(WATCH.0, &folder(WATCH.1), &steps);
    assert_eq!(facts[0]["updates"][0]["sent"], json!([[40, 40, 40, 40]]));
    assert_eq!(facts[0]["updates"][0]["driven_px"], 1600);
}

/// Common practice, no source: colour panels have no fast mode, and the simple kind no partial or windowed update.
#[test]
fn colour_panels_are_slow_and_know_no_windows() {
    for name in ["tag-red-2in6", "tag-yellow-2in6", "sign-7in3"] {
        let display = shipped(name);
        assert!(display["windows"].is_null(), "{name}");
        let tables = modes(&display).iter().map(|mode| mode["duration_ms"].as_object().unwrap());
        let durations = tables.flat_map(|table| table.values().map(|ms| ms.as_f64().unwrap()));
        assert!(durations.fold(f64::MAX, f64::min) >= 10_000.0, "{name}");
    }
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (findings, facts) = play(SIGN.0, &folder(SIGN.1), &steps);
    // The whole panel shows the right picture anyway.
    assert!(findings.contains(&"no-windows-here warning".to_owned()), "{findings:?}");
    assert_eq!(facts[0]["updates"][0]["sent"], json!([[0, 0, 800, 480]]));
    // Minutes apart, or not at all.
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full" }] },
        { "screen": "white.png", "after_ms": 60000, "updates": [{ "mode": "full" }] }]);
    assert!(play(SIGN.0, &folder(SIGN.1), &steps).0.contains(&"too-soon error".to_owned()));
}

/// Common practice, no source: with a controller of its own the update time hardly depends on the size of the panel.
#[test]
fn the_time_does_not_depend_on_the_size_where_the_controller_is_apart() {
    let of = |name: &str| -> Vec<Value> {
        modes(&shipped(name)).iter().map(|mode| json!([mode["name"], mode["duration_ms"]])).collect()
    };
    for name in ["reader-7in", "tablet-10in3", "desk-13in3"] {
        assert_eq!(of(name), of("panel-5in"), "{name}");
    }
}
