//! The edge cases of `flashes-too-fast`, beside the examples of its page.

use serde_json::Value;
use stillpage::rules::Example;

use crate::{
    common::{Folder, WHITE},
    edges::{Edge, hold, review, square},
    flashing::{LARGE, black, found},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "flashes-too-fast",
            limit: "sr",
            screens: square(),
            // 16 x 8 px of 2.54 mm from 2 m: 825.8 mm2, 0.00020645 sr.
            display: r#"{ "pixels_per_inch": 10, "viewing_distance_mm": 2000, "modes": [{ "name": "grey", "flashes": 4 }] }"#,
            plan: r#"{ "rules": { "flashes-too-fast": { "sr": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "grey" }] }] }"#,
            silent: "0.0002065",
            fires: "0.0002064",
        },
        Edge {
            rule: "flashes-too-fast",
            limit: "per_second",
            screens: square(),
            display: r#"{ "pixels_per_inch": 10, "viewing_distance_mm": 200, "modes": [{ "name": "grey", "flashes": 4 }] }"#,
            plan: r#"{ "rules": { "flashes-too-fast": { "per_second": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "grey" }] }] }"#,
            silent: "4",
            fires: "3",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("flashes-too-fast", &edges());
}

#[test]
fn a_mode_that_breaks_the_threshold_alone_stays_a_warning_after_a_quick_update() {
    // Quick now and grey soon after is good practice: the quick swing adds half a flash to a mode that is reported anyway.
    let display = format!(r#"{{ {LARGE}, "modes": [{{ "name": "grey", "flashes": 4 }}] }}"#);
    let lines = found(
        "flashes-too-fast",
        &[("white.png", WHITE), ("black.png", &black())],
        &display,
        r#"{ "steps": [{ "screen": "black.png", "updates": [{ "mode": "quick" }] },
            { "after_ms": 300, "updates": [{ "mode": "grey" }] }] }"#,
    );
    assert_eq!(lines, ["step 1 flashes-too-fast warning [0, 0, 16, 8]"]);
}

#[test]
fn such_a_mode_again_within_a_second_is_an_error_of_the_plan() {
    let display = format!(r#"{{ {LARGE}, "modes": [{{ "name": "grey", "flashes": 4 }}] }}"#);
    let lines = found(
        "flashes-too-fast",
        &[("white.png", WHITE), ("black.png", &black())],
        &display,
        r#"{ "steps": [{ "screen": "black.png", "updates": [{ "mode": "grey" }] },
            { "screen": "white.png", "after_ms": 450, "updates": [{ "mode": "grey" }] }] }"#,
    );
    assert_eq!(lines, ["step 0 flashes-too-fast warning [0, 0, 16, 8]", "step 1 flashes-too-fast error [0, 0, 16, 8]"]);
}

const PALETTE: &str = r##""family": "colour", "ink": { "colours": [
    { "name": "black", "srgb": "#1a0d23" }, { "name": "white", "srgb": "#b9cacd" }, { "name": "red", "srgb": "#790900" }] }"##;

/// The findings of red and of general flashes of a plan on the palette, by what their messages say.
fn kinds(screens: &[(&str, &str)], modes: &str, plan: &str) -> (usize, usize) {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: Some(format!("{{ {LARGE}, {PALETTE}, \"modes\": [{modes}] }}")),
        plan: plan.to_owned(),
        ..Example::default()
    };
    let run = Folder::of_example(&example).run(&["review", "example.plan.json", "--format", "json", "--gate", "never"]);
    let report: Value = run.with_status(0).json();
    let of_rule = report["plans"][0]["findings"].as_array().unwrap().iter();
    let messages: Vec<&str> = of_rule
        .filter(|finding| finding["rule"] == "flashes-too-fast")
        .map(|finding| finding["message"].as_str().unwrap())
        .collect();
    let red = messages.iter().filter(|message| message.contains("red flashes")).count();
    (red, messages.len() - red)
}

/// A red screen.
fn red_svg() -> &'static str {
    r##"<svg xmlns="http://www.w3.org/2000/svg" width="16" height="8"><rect width="16" height="8" fill="#790900"/></svg>"##
}

#[test]
fn a_flash_is_red_only_where_red_ink_stands() {
    let flashing = r#"{ "name": "grey", "flashes": 4 }"#;
    let plan = r#"{ "steps": [{ "screen": "@", "updates": [{ "mode": "grey" }] }] }"#;
    let of = |screen: &str| {
        kinds(
            &[("white.png", WHITE), ("black.png", &black()), ("red.svg", red_svg())],
            flashing,
            &plan.replace('@', screen),
        )
    };
    assert_eq!(of("black.png"), (0, 1), "no red anywhere");
    assert_eq!(of("red.svg"), (1, 1));
}

#[test]
fn colours_swing_by_their_light_and_not_by_their_number() {
    // By number it only rises from black, 0, by way of white, 1, to red, 2. By light it goes up and down again.
    let quiet = r#"{ "name": "quick", "to": "any", "duration_ms": 60 }"#;
    let screens = [("white.png", WHITE), ("black.png", &*black()), ("red.svg", red_svg())];
    let step =
        |screen: &&str| format!(r#"{{ "screen": "{screen}", "after_ms": 70, "updates": [{{ "mode": "quick" }}] }}"#);
    let steps: Vec<String> = ["black.png", "white.png", "red.svg"].iter().cycle().take(12).map(step).collect();
    let (red, general) = kinds(&screens, quiet, &format!(r#"{{ "steps": [{}] }}"#, steps.join(", ")));
    assert!(red > 0 && general > 0, "{red} red, {general} general");
}

#[test]
fn a_field_that_lies_across_tiles_is_counted_whole() {
    // At 290 mm and 20 px to the inch the field is 39.8 x 29.9 px; the window has 39 x 29 px of 1.27 mm, 0.02169 sr, and
    // begins on the last pixel of a tile.
    let screen = vec![".".repeat(64); 48].join("\n");
    let lines = found(
        "flashes-too-fast",
        &[("white.png", &screen), ("black.png", &screen.replace('.', "#"))],
        r#"{ "pixels_per_inch": 20, "viewing_distance_mm": 290, "windows": { "step_px": [1, 1], "smallest_px": [1, 1] },
            "modes": [{ "name": "grey", "flashes": 4 }] }"#,
        r#"{ "rules": { "flashes-too-fast": { "sr": 0.0216 } },
            "steps": [{ "screen": "black.png", "updates": [{ "mode": "grey", "window": [7, 7, 39, 29] }] }] }"#,
    );
    assert_eq!(lines, ["step 0 flashes-too-fast warning [7, 7, 39, 29]"]);
}

#[test]
fn a_cleaning_that_comes_too_soon_after_what_changed_is_told_when_it_may_come() {
    let display =
        format!(r#"{{ {LARGE}, "modes": [{{ "name": "full", "flashes": 3 }}, {{ "name": "grey", "flashes": 1 }}] }}"#);
    let screens = [("white.png", WHITE), ("black.png", &*black())];
    let plan = |ms: u32| {
        format!(
            r#"{{ "steps": [{{ "screen": "black.png", "updates": [{{ "mode": "quick" }}] }},
                {{ "after_ms": {ms}, "updates": [{{ "mode": "full" }}] }}] }}"#
        )
    };
    let example = |ms: u32| Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: Some(display.clone()),
        plan: plan(ms),
        ..Example::default()
    };
    let report = |ms: u32| {
        let arguments = ["review", "example.plan.json", "--format", "json", "--only", "flashes-too-fast"];
        Folder::of_example(&example(ms)).run(&arguments).json()["plans"][0]["findings"].clone()
    };
    let found = report(300);
    let (message, help) = (found[0]["message"].as_str().unwrap(), found[0]["help"].as_str().unwrap());
    assert!(
        message.starts_with(
            "the changes of content (half a flash each) and the flashes of `full` together make 3.5 flashes"
        ),
        "{message}"
    );
    // The quick update ends after 120.1 ms.
    assert!(
        help.starts_with("set `after_ms` of step 1 to at least 1121: then at least a second has passed since"),
        "{help}"
    );
    assert_eq!(report(1121), serde_json::json!([]));
}

#[test]
fn the_number_that_is_told_is_that_of_the_whole_area() {
    // 2 flashes of 300 ms each, three times one after the other: all 64 px of the first two windows have 4 within a second, the
    // 16 px of the third 6. A pixel has 6.4516 mm2, 0.00016129 sr from 200 mm: 64 px are 0.0103 sr, 16 px 0.0026 sr.
    let of_step = |sr: &str, step: u64| {
        let display = format!(r#"{{ {LARGE}, "modes": [{{ "name": "grey", "flashes": 2, "duration_ms": 300 }}] }}"#);
        let window = |height: u32| format!(r#"{{ "updates": [{{ "mode": "grey", "window": [0, 0, 8, {height}] }}] }}"#);
        let steps = [window(8), window(8), window(2)].join(", ");
        let plan = format!(r#"{{ "rules": {{ "flashes-too-fast": {{ "sr": {sr} }} }}, "steps": [{steps}] }}"#);
        let found = review(&[("white.png", WHITE)], &display, &plan);
        let findings = found["findings"].as_array().unwrap();
        let of_last = |finding: &&Value| finding["rule"] == "flashes-too-fast" && finding["step"] == step;
        findings.iter().find(of_last).cloned()
    };
    // The last one covers too little to take part in what is large enough.
    assert_eq!(of_step("0.006", 2), None);
    for (sr, step, flashes, px, margin) in [("0.006", 1, 4, 64, 4.0 / 3.0), ("0.002", 2, 6, 16, 2.0)] {
        let finding = of_step(sr, step).unwrap_or_else(|| panic!("step {step} with {sr} sr"));
        let message = finding["message"].as_str().unwrap();
        let words = format!("make {flashes} flashes within one second (3 are allowed) on {px} px ");
        assert!(message.contains(&words), "{message}");
        assert!((finding["margin"].as_f64().unwrap() - margin).abs() < 1e-4, "{finding}");
        assert_eq!(
            (&finding["figures"]["flashes"], &finding["figures"]["px"]),
            (&f64::from(flashes).into(), &f64::from(px).into())
        );
    }
}

#[test]
fn a_few_pixels_that_change_meanwhile_take_no_part() {
    let display = format!(r#"{{ {LARGE}, "modes": [{{ "name": "grey", "flashes": 2 }}] }}"#);
    let dot = WHITE.replacen("..", "##", 1);
    let lines = |last: &str| {
        let steps = format!(
            r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "grey" }}] }},
                {{ "after_ms": 450, "updates": [{{ "mode": "grey" }}] }}, {{ "after_ms": 50, {last} }}] }}"#
        );
        found("flashes-too-fast", &[("white.png", WHITE), ("dot.png", &dot), ("black.png", &black())], &display, &steps)
    };
    let of_both = "step 1 flashes-too-fast error [0, 0, 16, 8]";
    assert_eq!(lines(r#""screen": "dot.png", "updates": [{ "mode": "quick" }]"#), [of_both]);
    let whole = lines(r#""screen": "black.png", "updates": [{ "mode": "quick" }]"#);
    assert_eq!(whole, [of_both, "step 2 flashes-too-fast error [0, 0, 16, 8]"]);
}
