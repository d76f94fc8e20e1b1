//! Corners that random plans do not come by: small plans by hand, played by both, with the fact that shows that the
//! corner was met.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::{
    comparing::first_difference,
    plain::{facts::facts, geometry::Size, playing::play, reading::read_plan},
    random_plans::{write_dot, write_text},
};

/// One pixel is a square millimetre, and a dot that is driven to black comes out a quarter of the swing too light.
fn display(size: Size) -> Value {
    json!({
        "format": "display/1", "name": "corner", "family": "separate-controller",
        "size_px": [size.w, size.h], "pixels_per_inch": 25.4,
        "ink": { "levels": 2, "reflectance": [0.04, 0.44] },
        "windows": { "step_px": [4, 1] },
        "link": { "megabits_per_s": 1, "bits_per_px": 1, "overhead_ms": 0 },
        "modes": [{
            "name": "quick", "also_called": ["hasty"], "to": "two-level", "drives": "changed", "windowed": true,
            "duration_ms": 100, "residue": { "darker": 0.25 },
        }],
    })
}

/// The last step's facts, after both have agreed on all.
fn agreed(size: Size, rules: &Value, steps: &Value) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("corner.plan.json");
    let plan = json!({ "format": "refresh-plan/1", "display": "corner.display.json", "rules": rules, "steps": steps });
    write_text(&folder.path().join("corner.display.json"), &display(size).to_string()).unwrap();
    write_text(&path, &plan.to_string()).unwrap();
    write_dot(size, &folder.path().join("dot.png")).unwrap();
    let played = play(&read_plan(&path).unwrap()).unwrap();
    assert_eq!(first_difference(&path, &played, 1), None);
    facts("", &played).pop().unwrap()
}

fn dot(mode: &str) -> Value {
    json!([{ "screen": "dot.png", "updates": [{ "mode": mode, "window": "changed" }] }])
}

const HUNDRED: Size = Size { w: 10, h: 10 };
const ONE_MORE: Size = Size { w: 101, h: 1 };

/// A level on exactly 1 % of the panel has a median of its own, and the dot is it.
#[test]
fn a_hundredth_of_the_panel_has_a_median() {
    assert_eq!(agreed(HUNDRED, &json!({}), &dot("quick"))["ghost_px"], 0);
    assert_eq!(agreed(ONE_MORE, &json!({}), &dot("quick"))["ghost_px"], 1);
}

#[test]
fn a_ghost_of_just_the_area_counts() {
    let with = |area_mm2: f64| json!({ "visible-ghost": { "area_mm2": area_mm2 } });
    assert_eq!(agreed(ONE_MORE, &with(1.0), &dot("quick"))["ghost_px"], 1);
    assert_eq!(agreed(ONE_MORE, &with(1.01), &dot("quick"))["ghost_px"], 0);
}

#[test]
fn limits_hold_where_the_rule_is_off() {
    let off = |limit_l: f64| json!({ "visible-ghost": { "level": "off", "limit_l": limit_l } });
    assert_eq!(agreed(ONE_MORE, &off(12.0), &dot("quick"))["ghost_px"], 1);
    assert_eq!(agreed(ONE_MORE, &off(13.0), &dot("quick"))["ghost_px"], 0);
    assert_eq!(agreed(ONE_MORE, &json!({ "visible-ghost": "off" }), &dot("quick"))["ghost_px"], 1);
}

#[test]
fn a_mode_is_told_by_its_own_name() {
    assert_eq!(agreed(HUNDRED, &json!({}), &dot("hasty"))["updates"][0]["mode"], "quick");
}

#[test]
fn what_is_left_to_choose_updates_nothing() {
    let last = agreed(HUNDRED, &json!({}), &json!([{ "screen": "dot.png", "updates": "choose" }]));
    assert_eq!((&last["updates"], &last["left_behind_px"]), (&json!([]), &1.into()));
}

#[test]
fn boxes_that_are_the_same_count_once() {
    let steps = json!([{ "screen": "dot.png", "updates": [{ "mode": "quick", "window": [[5, 5, 1, 1], [4, 5, 4, 1], [20, 5, 1, 1]] }] }]);
    let update = &agreed(HUNDRED, &json!({}), &steps)["updates"][0];
    assert_eq!(
        (&update["asked"], &update["sent"]),
        (&json!([[5, 5, 1, 1], [4, 5, 4, 1], [20, 5, 1, 1]]), &json!([[4, 5, 4, 1], [4, 5, 4, 1]]))
    );
    // Four pixels of one bit at a thousand bits a millisecond.
    assert_eq!(update["start_ms"], 0.004);
}
