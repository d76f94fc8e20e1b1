//! The rules of flashes on good practice and on trouble, and the caution that goes with each of their findings.

mod common;

use common::{Folder, SQUARE, WHITE};
use serde_json::Value;
use stillpage::rules::{Example, pages};

const CAUTION: &str = "photosensitive epilepsy";

/// A black screen of 16 x 8 px.
fn black() -> String {
    WHITE.replace('.', "#")
}

/// What a review finds of one rule, on pixels of 2.54 mm seen from 200 mm: the screen has 0.02 sr.
fn found(rule: &str, screens: &[(&str, &str)], display: &str, plan: &str) -> Vec<String> {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: Some(display.to_owned()),
        plan: plan.to_owned(),
        ..Example::default()
    };
    let lines = Folder::of_example(&example).findings("example.plan.json");
    lines.into_iter().filter(|line| line.split(' ').nth(2) == Some(rule)).collect()
}

const LARGE: &str = r#""pixels_per_inch": 10, "viewing_distance_mm": 200"#;

#[test]
fn a_mode_that_breaks_the_threshold_alone_stays_a_warning_after_a_quick_update() {
    // Quick now and grey soon after is good practice: the quick swing adds half a flash to a mode that is told anyway.
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
fn settling_after_a_touch_is_not_restless() {
    // Quick at the touch and grey half a second later, once a minute: the person asked for both.
    let touch = r#"{ "screen": "@.png", "after_ms": 60000, "cause": "touch", "updates": [{ "mode": "quick" }] },
        { "after_ms": 500, "updates": [{ "mode": "grey" }] }"#;
    let plan = format!(
        r#"{{ "steps": [{{ "screen": "white.png", "updates": [{{ "mode": "full" }}] }}, {}, {}, {}] }}"#,
        touch.replace('@', "square"),
        touch.replace('@', "white"),
        touch.replace('@', "square")
    );
    let screens = [("white.png", WHITE), ("square.png", SQUARE)];
    assert_eq!(
        found("restless", &screens, r#"{ "limits": { "updates_before_cleaning": 50 } }"#, &plan),
        Vec::<String>::new()
    );
}

#[test]
fn every_finding_of_the_group_carries_the_caution_in_text_and_in_json() {
    let group: Vec<_> = pages().iter().filter(|page| page.group == "Flashes").collect();
    assert_eq!(group.len(), 5);
    for page in group {
        let example = page.examples.iter().find(|example| example.heading == "Fires").unwrap();
        let folder = Folder::of_example(example);
        let arguments = ["review", "example.plan.json", "--only", page.id, "--gate", "never"];
        let text = folder.run(&arguments).with_status(0).out;
        assert_eq!(text.matches(CAUTION).count(), 1, "once in the text of {}:\n{text}", page.id);
        let json = folder.run(&[&arguments[..], &["--format", "json"]].concat()).with_status(0).json();
        let findings = json["plans"][0]["findings"].as_array().unwrap();
        assert!(!findings.is_empty(), "{}", page.id);
        for finding in findings {
            assert!(finding["help"].as_str().unwrap().contains(CAUTION), "{finding}");
        }
    }
    let page = stillpage::rules::rule_named("flashes-too-fast").unwrap();
    assert!(page.text.contains(CAUTION), "the page of flashes-too-fast");
}

#[test]
fn other_findings_carry_no_caution() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "square.png" }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--gate", "never", "--also", "json=a.json"]).with_status(0);
    assert!(run.out.contains("left-behind"), "{}", run.out);
    assert!(!run.out.contains(CAUTION) && !folder.read("a.json").contains(CAUTION));
}
