//! Facts of the trade that the shipped descriptions and the model must carry, and what each family of panels must refuse.
//! All of them: common practice, no source.

mod common;

use common::{Folder, png_of};
use serde_json::{Value, json};

/// Displays by name with their sizes.
const LABEL: (&str, [u32; 2]) = ("label-2in1", [250, 122]);
const WATCH: (&str, [u32; 2]) = ("watch-1in3", [240, 240]);
const SIGN: (&str, [u32; 2]) = ("sign-7in3", [800, 480]);

/// A folder with a white, a black and a grey screen of that size, and a black square of 40 px at [40, 40].
fn folder([width, height]: [u32; 2]) -> Folder {
    let folder = Folder::new();
    folder.file("white.png", png_of(width, height, |_, _| 255));
    folder.file("black.png", png_of(width, height, |_, _| 0));
    folder.file("grey.png", png_of(width, height, |_, _| 119));
    let inside = |at: u32| (40..80).contains(&at);
    folder.file("square.png", png_of(width, height, |x, y| if inside(x) && inside(y) { 0 } else { 255 }));
    folder
}

/// What a plan of these steps gives: findings as rule and level, and the facts of every step.
fn play(display: &str, folder: &Folder, steps: &Value) -> (Vec<String>, Vec<Value>) {
    let plan = json!({ "format": "refresh-plan/1", "display": display, "begins": "white", "steps": steps });
    folder.file("a.plan.json", plan.to_string());
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--gate", "never", "--facts", "facts.jsonl"]);
    let report = run.with_status(0).json();
    let findings = report["plans"][0]["findings"].as_array().unwrap();
    let words =
        |finding: &Value| format!("{} {}", finding["rule"].as_str().unwrap(), finding["level"].as_str().unwrap());
    let facts = folder.read("facts.jsonl");
    (findings.iter().map(words).collect(), facts.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

fn shipped(name: &str) -> Value {
    let text = Folder::new().run(&["displays", name]).with_status(0).out;
    serde_json::from_str(&text).unwrap()
}

fn modes(display: &Value) -> &Vec<Value> {
    display["modes"].as_array().unwrap()
}

const NAMES: [&str; 15] = [
    "label-2in1",
    "label-7in5",
    "meter-2in9",
    "watch-1in3",
    "handheld-4in2",
    "tag-red-2in6",
    "tag-yellow-2in6",
    "sign-7in3",
    "segments-5v",
    "segments-15v",
    "flag-red",
    "panel-5in",
    "reader-7in",
    "tablet-10in3",
    "desk-13in3",
];

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
        let durations = modes(&display).iter().map(|mode| mode["duration_ms"].as_f64().unwrap());
        assert!(durations.fold(f64::MAX, f64::min) >= 10_000.0, "{name}");
    }
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (findings, facts) = play(SIGN.0, &folder(SIGN.1), &steps);
    assert!(findings.contains(&"no-windows-here error".to_owned()), "{findings:?}");
    assert_eq!(facts[0]["updates"][0]["sent"], json!([[0, 0, 800, 480]]));
    // Minutes apart, or not at all.
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full" }] },
        { "screen": "white.png", "after_ms": 60000, "updates": [{ "mode": "full" }] }]);
    assert!(play(SIGN.0, &folder(SIGN.1), &steps).0.contains(&"too-soon error".to_owned()));
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

/// Common practice, no source: a highlighter drawn as solid black ink and then committed as grey leaves the line's ghost.
#[test]
fn a_highlighter_drawn_in_black_leaves_its_line() {
    let (width, height) = (1872, 1404);
    let folder = Folder::new();
    folder.file("white.png", png_of(width, height, |_, _| 255));
    let marked = |x: u32, y: u32| (200..800).contains(&x) && (380..420).contains(&y);
    folder.file("marked.png", png_of(width, height, |x, y| if marked(x, y) { 187 } else { 255 }));
    let steps = json!([
        { "screen": "white.png", "updates": [{ "mode": "full" }] },
        { "screen": "marked.png", "after_ms": 3000, "cause": "pen",
          "strokes": [{ "points": [[220, 400, 0], [780, 400, 300]], "width_px": 36, "mode": "quick", "shade": "black" }],
          "updates": [{ "mode": "grey-quiet", "window": "changed" }] }
    ]);
    let (findings, _) = play("tablet-10in3", &folder, &steps);
    assert!(findings.contains(&"ink-under-grey warning".to_owned()), "{findings:?}");
}

/// A label knows nothing but full updates of the whole panel: common practice, no source.
#[test]
fn a_label_refuses_windows() {
    let steps = json!([{ "screen": "square.png", "updates": [{ "mode": "full", "window": [40, 40, 40, 40] }] }]);
    let (findings, _) = play(LABEL.0, &folder(LABEL.1), &steps);
    assert!(findings.contains(&"no-windows-here error".to_owned()), "{findings:?}");
    let (findings, _) =
        play(LABEL.0, &folder(LABEL.1), &json!([{ "screen": "grey.png", "updates": [{ "mode": "full" }] }]));
    assert!(findings.contains(&"shade-not-on-panel warning".to_owned()), "{findings:?}");
}

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
