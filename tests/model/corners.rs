//! Corners that random plans do not come by: small plans by hand, played by both, with the fact that shows that the
//! corner was met.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::{
    comparing::first_difference,
    plain::{
        facts::facts,
        flashes::{StepBreaks, breaks},
        geometry::Size,
        playing::{Played, play},
        reading::read_plan,
    },
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

/// What both have played alike: a plan, whatever its display, over the screens `dot.png`, `whole.svg` and `grey.svg`.
fn both(display: &Value, mut plan: Value) -> (Vec<Played>, Vec<StepBreaks>) {
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("corner.plan.json");
    plan["format"] = "refresh-plan/1".into();
    plan["display"] = "corner.display.json".into();
    write_text(&folder.path().join("corner.display.json"), &display.to_string()).unwrap();
    write_text(&path, &plan.to_string()).unwrap();
    let (w, h) = (display["size_px"][0].as_i64().unwrap(), display["size_px"][1].as_i64().unwrap());
    write_dot(Size { w, h }, &folder.path().join("dot.png")).unwrap();
    for (name, fill) in [("whole.svg", "#000000"), ("grey.svg", "#aaaaaa")] {
        let shape = format!(r#"<rect id="all" width="{w}" height="{h}" fill="{fill}"/>"#);
        let svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}">{shape}</svg>"#);
        write_text(&folder.path().join(name), &svg).unwrap();
    }
    let read = read_plan(&path).unwrap();
    let played = play(&read).unwrap();
    let breaks = breaks(&read, &played).unwrap();
    assert_eq!(first_difference(&path, &played, &breaks, 1), None);
    (played, breaks)
}

/// The last step's facts, after both have agreed on all.
fn agreed(size: Size, rules: &Value, steps: &Value) -> Value {
    let (played, _) = both(&display(size), json!({ "rules": rules, "steps": steps }));
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

/// A panel that is lighter where its segments are on: the lighter state is its white, and a flash is one anyway.
#[test]
fn segments_that_are_lighter_when_on_flash_too() {
    let mut display = display(HUNDRED);
    display["family"] = "segmented".into();
    display["ink"] = json!({ "segments": "whole.svg", "reflectance": [0.04, 0.44] });
    display["limits"] = json!({ "net_impulse_vs": 1 });
    display["modes"][0]["flashes"] = 4.into();
    display["modes"][0]["impulse_vs"] = json!({ "lighter": 0.5, "darker": -0.5 });
    let steps = json!([{ "screen": "whole.svg", "updates": [{ "mode": "quick" }] }]);
    let (played, breaks) = both(&display, json!({ "viewing_distance_mm": 100, "steps": steps }));
    // A hundred square millimetres at a hundred millimetres, and from off to on is one whole swing to the lighter side.
    let flashes: Vec<_> = breaks[0].found.iter().map(|found| (found.halves, found.pixels)).collect();
    assert_eq!(flashes, [(8, 100)]);
    assert!((played[0].glass.impulse[0] - 0.5).abs() < 1e-12);
}

/// Where no flash is allowed at all, one swing breaks the threshold. Two corners that follow it are too small in any one
/// field, and the swing, told already, adds nothing to them.
#[test]
fn a_swing_that_is_told_adds_nothing_to_a_small_one() {
    let corners = json!([[0, 0, 4, 2], [36, 0, 4, 2]]);
    let steps = json!([
        { "screen": "whole.svg", "updates": [{ "mode": "quick" }] },
        { "screen": "dot.png", "after_ms": 200, "updates": [{ "mode": "quick", "window": corners }] },
    ]);
    let rules = json!({ "flashes-too-fast": { "per_second": 0 } });
    // A field is 6 x 5 px, and ten pixels are the limit.
    let plan = json!({ "viewing_distance_mm": 40, "rules": rules, "steps": steps });
    let (_, breaks) = both(&display(Size { w: 40, h: 5 }), plan);
    let found: Vec<Vec<(bool, usize)>> =
        breaks.iter().map(|step| step.found.iter().map(|found| (found.is_alone, found.pixels)).collect()).collect();
    assert_eq!(found, [vec![(true, 30)], vec![]]);
}

/// A swing that is reported stands before two corners that go on the same way, and hides them; a second that begins after it holds
/// both, which are large enough together.
#[test]
fn a_second_that_begins_behind_a_told_swing_can_hold_more() {
    let mut display = display(Size { w: 40, h: 5 });
    display["ink"]["levels"] = 4.into();
    display["modes"][0]["to"] = "any".into();
    let corner = |y: u32| json!([{ "mode": "quick", "window": [0, y, 4, 2] }]);
    let steps = json!([
        { "screen": "grey.svg", "updates": [{ "mode": "quick" }] },
        { "screen": "whole.svg", "after_ms": 200, "updates": corner(0) },
        { "after_ms": 200, "updates": corner(2) },
    ]);
    let rules = json!({ "flashes-too-fast": { "per_second": 0 } });
    let (_, breaks) = both(&display, json!({ "viewing_distance_mm": 40, "rules": rules, "steps": steps }));
    let found: Vec<Vec<(bool, usize)>> =
        breaks.iter().map(|step| step.found.iter().map(|found| (found.is_alone, found.too_often)).collect()).collect();
    assert_eq!(found, [vec![(true, 200)], vec![], vec![(false, 16)]]);
}

/// WCAG 2.2, technique G19: three flashes within a second are six transitions; the seventh is too many.
#[test]
fn six_swings_within_a_second_pass_and_seven_do_not() {
    let swings = |every_ms: f64| {
        let step = |index: usize| {
            let screen = ["whole.svg", "dot.png"][index % 2];
            json!({ "screen": screen, "after_ms": every_ms, "updates": [{ "mode": "quick" }] })
        };
        let steps: Vec<Value> = (0..7).map(step).collect();
        let (_, breaks) = both(&display(HUNDRED), json!({ "viewing_distance_mm": 100, "steps": steps }));
        breaks.iter().map(|step| step.found.iter().map(|found| (found.halves, found.pixels)).collect()).collect()
    };
    let found: Vec<Vec<(usize, usize)>> = swings(166.0);
    // The seventh comes 996 ms after the first, otherwise 1002 ms. The dot stays black from its first swing on.
    assert_eq!((&found[6], found[..6].iter().all(Vec::is_empty)), (&vec![(7, 99)], true));
    assert_eq!(swings(167.0), vec![Vec::new(); 7]);
}

/// From black by way of a grey to white is one swing, in two updates.
#[test]
fn swings_that_follow_each_other_the_same_way_are_one() {
    let mut display = display(HUNDRED);
    display["ink"]["levels"] = 4.into();
    display["modes"][0]["to"] = "any".into();
    let screens = ["whole.svg", "grey.svg", "dot.png", "whole.svg", "grey.svg", "dot.png", "whole.svg"];
    let step = |screen: &str| json!({ "screen": screen, "after_ms": 120, "updates": [{ "mode": "quick" }] });
    let steps: Vec<Value> = screens.into_iter().map(step).collect();
    let rules = json!({ "flashes-too-fast": { "per_second": 2 } });
    let (_, breaks) = both(&display, json!({ "viewing_distance_mm": 100, "rules": rules, "steps": steps }));
    let found: Vec<Vec<(usize, usize)>> =
        breaks.iter().map(|step| step.found.iter().map(|found| (found.halves, found.pixels)).collect()).collect();
    // The dot goes from grey back to black, and has five too.
    assert_eq!((&found[6], found[..6].iter().all(Vec::is_empty)), (&vec![(5, 100)], true));
}
