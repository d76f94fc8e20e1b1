//! The rules of the pen on cases beside their pages' examples: what settles in time, what goes on over many strokes, and
//! lines that are no plain line on white.

mod common;

use common::{Folder, example_display};
use serde_json::{Value, json};

const PEN_RULES: [&str; 5] = ["ink-under-grey", "stray-ink", "line-width-jumps", "pen-lags", "commit-under-hand"];

/// A screen of 64 x 32 px: boxes of shades on white, the later over the earlier.
fn screen(boxes: &[([usize; 4], char)]) -> String {
    let mut rows = vec![vec!['.'; 64]; 32];
    for ([x, y, width, height], shade) in boxes {
        for row in &mut rows[*y..y + height] {
            row[*x..x + width].fill(*shade);
        }
    }
    rows.into_iter().map(String::from_iter).collect::<Vec<_>>().join("\n")
}

/// The example display whose controller draws under the pen; `quick` has any grey, and leaves a tenth of a swing to lighter.
fn marker_display() -> Value {
    let mut display = pen_display();
    display["modes"][2]["to"] = json!("any");
    display["modes"][2]["residue"]["lighter"] = json!(0.1);
    display
}

fn pen_display() -> Value {
    let mut display = example_display([64, 32]);
    display["controller_ink"] = json!({ "delay_ms": 20 });
    display
}

fn folder(display: &Value, screens: &[(&str, String)], steps: &Value) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", display);
    for (name, text) in screens {
        folder.screen(name, text);
    }
    folder.plan("a.plan.json", &json!({ "steps": steps }).to_string());
    folder
}

/// The findings of the rules of the pen, a line each.
fn lines(display: &Value, screens: &[(&str, String)], steps: &Value) -> Vec<String> {
    let found = folder(display, screens, steps).findings("a.plan.json").into_iter();
    found.filter(|line| PEN_RULES.contains(&line.split(' ').nth(2).unwrap())).collect()
}

/// The findings of one rule, whole.
fn findings(rule: &str, display: &Value, screens: &[(&str, String)], steps: &Value) -> Vec<Value> {
    let folder = folder(display, screens, steps);
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", rule]);
    run.json()["plans"][0]["findings"].as_array().unwrap().clone()
}

/// A level stroke of that width at row 16, from column 8 to another.
fn stroke(to: u32, width: f64) -> Value {
    json!({ "points": [[8, 16, 0], [to, 16, 120]], "width_px": width, "mode": "quick" })
}

fn quick(window: &Value) -> Value {
    json!([{ "mode": "quick", "window": window }])
}

// --- ink under grey ---------------------------------------------------------------------------------------------------

fn band() -> Vec<(&'static str, String)> {
    vec![("band.png", screen(&[([4, 13, 56, 6], 'b')])), ("white.png", screen(&[]))]
}

#[test]
fn a_ghost_of_ink_may_settle_within_a_second() {
    let steps = |after_ms: f64| {
        json!([
            { "screen": "band.png", "strokes": [stroke(40, 6.0)], "updates": quick(&json!("changed")) },
            { "after_ms": after_ms, "updates": [{ "mode": "full" }] }])
    };
    assert_eq!(lines(&marker_display(), &band(), &steps(1000.0)), Vec::<String>::new());
    let late = ["step 0 ink-under-grey warning [5, 13, 38, 6]"];
    assert_eq!(lines(&marker_display(), &band(), &steps(1000.5)), late);
}

/// A two-level commit first, and the grey soon after: the ghost is that of the grey update.
#[test]
fn the_ghost_is_seen_where_the_grey_comes_later() {
    let mut display = marker_display();
    let mut two_level = display["modes"][2].clone();
    two_level["name"] = json!("two");
    two_level["to"] = json!("two-level");
    two_level["otherwise"] = json!("skipped");
    display["modes"].as_array_mut().unwrap().push(two_level);
    let steps = json!([
        { "screen": "band.png", "strokes": [stroke(40, 6.0)], "updates": [{ "mode": "two", "window": "changed" }] },
        { "after_ms": 400, "updates": quick(&json!("changed")) }]);
    assert_eq!(lines(&display, &band(), &steps), ["step 1 ink-under-grey warning [5, 13, 38, 6]"]);
}

#[test]
fn what_was_rubbed_out_or_thrown_away_leaves_its_ghost_too() {
    // The application keeps nothing of the stroke.
    let steps = json!([{ "screen": "white.png", "strokes": [stroke(40, 6.0)], "updates": quick(&json!("changed")) }]);
    let found = findings("ink-under-grey", &marker_display(), &band(), &steps);
    assert_eq!(found.len(), 1);
    // Black to white are 48.5571 L*, a tenth of it less 0.1942 of the way to black: 4.6615.
    let worst_l = found[0]["figures"]["worst_l"].as_f64().unwrap();
    assert!((worst_l - 4.6615).abs() < 1e-3, "{worst_l}");
    assert_eq!(
        found[0]["help"],
        "let the host draw here instead of the pen; else `grey` takes the ink away, with a flash: commit with it when the pen has rested"
    );
}

#[test]
fn the_mode_that_takes_the_ink_away_is_named() {
    let mut display = marker_display();
    let mut better = display["modes"][2].clone();
    better["name"] = json!("better");
    better["residue"]["lighter"] = json!(0.05);
    display["modes"].as_array_mut().unwrap().push(better);
    let steps = json!([{ "screen": "band.png", "strokes": [stroke(40, 6.0)], "updates": quick(&json!("changed")) }]);
    let found = findings("ink-under-grey", &display, &band(), &steps);
    assert_eq!(found[0]["help"], "commit with `better`, which takes the ink away without a flash");
}

/// A few white pixels under the marker are the strongest ghost; what is told is where most of it lies.
#[test]
fn the_level_that_most_of_the_ghost_lies_in_is_named() {
    let holed = screen(&[([4, 12, 44, 8], 'b'), ([20, 13, 4, 6], '.')]);
    let steps = json!([{ "screen": "holed.png", "strokes": [stroke(40, 6.0)], "updates": quick(&json!("changed")) }]);
    let found = findings("ink-under-grey", &marker_display(), &[("holed.png", holed)], &steps);
    let message = found[0]["message"].as_str().unwrap();
    assert!(message.contains("where the picture is mostly grey 11 of 15: "), "{message}");
}

#[test]
fn ink_that_the_picture_holds_and_soft_edges_beside_it_are_no_ghost() {
    // Four rows of ink: the picture has two black ones between two grey ones.
    let soft = screen(&[([8, 14, 32, 4], '8'), ([8, 15, 32, 2], '#')]);
    let steps =
        json!([{ "screen": "soft.png", "strokes": [stroke(40, 4.0)], "updates": quick(&json!([8, 14, 32, 4])) }]);
    assert_eq!(findings("ink-under-grey", &marker_display(), &[("soft.png", soft)], &steps), Vec::<Value>::new());
}

// --- stray ink --------------------------------------------------------------------------------------------------------

fn short_line() -> Vec<(&'static str, String)> {
    vec![("short.png", screen(&[([7, 15, 25, 2], '#'), ([8, 4, 4, 4], '#')]))]
}

#[test]
fn ink_may_wait_for_a_commit_of_several_strokes() {
    let inking = json!({ "cause": "pen", "after_ms": 3000, "strokes": [stroke(31, 2.0)] });
    let clock = json!({ "cause": "clock", "after_ms": 3000, "updates": quick(&json!([0, 0, 8, 4])) });
    let commit =
        json!({ "screen": "short.png", "cause": "pen", "after_ms": 3000, "updates": quick(&json!("changed")) });
    let silent = json!([inking, clock, inking, commit]);
    assert_eq!(findings("stray-ink", &pen_display(), &short_line(), &silent), Vec::<Value>::new());
    let never = json!([inking, clock, inking, { "after_ms": 9000 }]);
    let found = findings("stray-ink", &pen_display(), &short_line(), &never);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(2)));
    assert_eq!(
        found[0]["message"],
        "50 px (3.23 mm2) of the line under the pen are never committed: the picture in memory lacks them"
    );
}

#[test]
fn a_commit_that_misses_earlier_ink_leaves_it_stray() {
    let steps = json!([
        { "cause": "pen", "strokes": [stroke(50, 2.0)] },
        { "screen": "short.png", "cause": "pen", "after_ms": 3000, "updates": quick(&json!([0, 0, 32, 32])) },
        { "after_ms": 3000 }]);
    assert_eq!(lines(&pen_display(), &short_line(), &steps), ["step 0 stray-ink error [32, 15, 19, 2]"]);
}

// --- line width -------------------------------------------------------------------------------------------------------

/// The jump that is found, px; nothing where none is.
fn jump(screens: &[(&str, String)], stroke: &Value) -> Option<f64> {
    let mut steps = vec![];
    if screens.len() > 1 {
        steps.push(json!({ "screen": screens[1].0, "updates": [{ "mode": "full" }] }));
    }
    steps.push(
        json!({ "screen": screens[0].0, "after_ms": 3000, "strokes": [stroke], "updates": quick(&json!("changed")) }),
    );
    let mut display = pen_display();
    display["modes"][2]["to"] = json!("any");
    let found = findings("line-width-jumps", &display, screens, &Value::from(steps));
    found.first().map(|finding| finding["figures"]["jump_px"].as_f64().unwrap())
}

#[test]
fn widths_are_those_across_the_line() {
    let line = |top: usize, rows: usize| vec![("line.png", screen(&[([7, top, 42, rows], '#')]))];
    assert_eq!(jump(&line(15, 2), &stroke(48, 2.0)), None);
    assert_eq!(jump(&line(15, 3), &stroke(48, 2.0)), None);
    assert_eq!(jump(&line(14, 4), &stroke(48, 2.0)), Some(2.0));
    assert_eq!(jump(&line(15, 2), &stroke(48, 6.0)), Some(-4.0));
    // A soft edge of half cover on both sides is half a pixel each.
    let soft = screen(&[([7, 14, 42, 4], '8'), ([7, 15, 42, 2], '#')]);
    let found = jump(&[("line.png", soft)], &stroke(48, 6.0)).unwrap();
    assert!((found + 4.0 - 2.0 * 7.0 / 15.0).abs() < 1e-5, "{found}");
}

#[test]
fn letters_over_a_highlighter_do_not_end_it() {
    let letters = screen(&[([4, 15, 56, 2], '#')]);
    let marked = screen(&[([4, 10, 56, 12], 'b'), ([4, 15, 56, 2], '#')]);
    let off_the_letters =
        |width: f64| json!({ "points": [[8, 18, 0], [48, 18, 120]], "width_px": width, "mode": "quick" });
    let screens = [("marked.png", marked), ("letters.png", letters)];
    assert_eq!(jump(&screens, &off_the_letters(12.0)), None);
    assert_eq!(jump(&screens, &off_the_letters(8.0)), Some(4.0));
}

#[test]
fn what_is_no_line_has_no_width() {
    // Another page, a stroke that was thrown away, one that was cut off early, and one that rubs out.
    assert_eq!(jump(&[("page.png", screen(&[([0, 0, 64, 32], '8')]))], &stroke(48, 2.0)), None);
    assert_eq!(jump(&[("white.png", screen(&[([0, 0, 4, 4], '#')]))], &stroke(48, 2.0)), None);
    assert_eq!(jump(&[("short.png", screen(&[([7, 12, 12, 8], '#')]))], &stroke(48, 2.0)), None);
    let mut rubber = stroke(48, 8.0);
    rubber["shade"] = json!("white");
    let before = screen(&[([7, 14, 42, 4], '#')]);
    assert_eq!(jump(&[("white.png", screen(&[])), ("before.png", before)], &rubber), None);
}

/// The bar of a cross: most of its places lie beside the stem, whose ink is another stroke's.
#[test]
fn another_stroke_beside_the_line_does_not_widen_it() {
    let cross = screen(&[([20, 15, 12, 2], '#'), ([24, 4, 6, 24], '#')]);
    let bar = json!({ "points": [[21, 16, 0], [31, 16, 60]], "width_px": 2, "mode": "quick" });
    let stem = json!({ "points": [[27, 6, 300], [27, 26, 400]], "width_px": 6, "mode": "quick" });
    let step =
        |strokes: Value| json!([{ "screen": "cross.png", "strokes": strokes, "updates": quick(&json!("changed")) }]);
    let found = |strokes| findings("line-width-jumps", &pen_display(), &[("cross.png", cross.clone())], &step(strokes));
    assert_eq!(found(json!([bar, stem])), Vec::<Value>::new());
    // A stem that the pen did not draw belongs to what the commit made of the bar.
    assert_eq!(found(json!([bar])).len(), 1);
}

/// A line of a direction that meets the pixels ever differently has the area of its width.
#[test]
fn a_slanted_line_has_its_width_too() {
    let (from, to) = ((8.3, 4.2), (51.9, 25.6));
    let (along_x, along_y): (f64, f64) = (to.0 - from.0, to.1 - from.1);
    let inside = |width: f64, x: f64, y: f64| {
        let share = ((x - from.0) * along_x + (y - from.1) * along_y) / (along_x * along_x + along_y * along_y);
        let share = share.clamp(0.0, 1.0);
        (x - from.0 - share * along_x).hypot(y - from.1 - share * along_y) <= width / 2.0
    };
    let line = |width: f64| {
        let pixel = |x: i32, y: i32| if inside(width, f64::from(x) + 0.5, f64::from(y) + 0.5) { '#' } else { '.' };
        let rows: Vec<String> = (0..32).map(|y| (0..64).map(|x| pixel(x, y)).collect()).collect();
        vec![("line.png", rows.join("\n"))]
    };
    let stroke = json!({ "points": [[from.0, from.1, 0], [to.0, to.1, 120]], "width_px": 4, "mode": "quick" });
    assert_eq!(jump(&line(4.0), &stroke), None);
    assert_eq!(jump(&line(5.0), &stroke), None);
    for width in [6.0, 7.0, 8.0] {
        let found = jump(&line(width), &stroke).unwrap();
        assert!((found - (width - 4.0)).abs() <= 0.3, "{width}: {found}");
    }
}

// --- lag and commits --------------------------------------------------------------------------------------------------

#[test]
fn a_slow_controller_is_told_once_for_the_whole_plan() {
    let mut display = pen_display();
    display["controller_ink"] = json!({ "delay_ms": 80 });
    let note = json!({ "after_ms": 3000, "strokes": [stroke(31, 2.0)] });
    let found = findings("pen-lags", &display, &short_line(), &json!([note, { "after_ms": 100 }, note, note]));
    assert_eq!(found.len(), 1);
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(3)));
    assert_eq!(found[0]["message"], "the line follows the pen after 80 ms; a hand sees a lag from 50 ms on");
}

/// `full` runs from 0.82 ms (2048 px of 4 bits at 10 Mbit/s) to 500.82 ms; the first piece ends at 100 + 120 ms.
#[test]
fn the_update_that_the_line_waits_for_is_named() {
    let steps = json!([{ "updates": [{ "mode": "full" }] }, { "after_ms": 100, "strokes": [stroke(31, 2.0)] }]);
    let found = findings("pen-lags", &pen_display(), &short_line(), &steps);
    let message = "the line follows the pen after 281 ms, 261 ms of them waiting for `full` of step 0; a hand sees a lag from 50 ms on";
    assert_eq!(found[0]["message"], message);
    // Beside the update the pen waits for nothing.
    let beside = json!([{ "updates": [{ "mode": "full", "window": [0, 0, 64, 8] }] }, { "after_ms": 100, "strokes": [stroke(31, 2.0)] }]);
    assert_eq!(findings("pen-lags", &pen_display(), &short_line(), &beside), Vec::<Value>::new());
}

#[test]
fn a_flash_beside_the_hand_or_without_a_pen_is_no_matter() {
    let commit = |window: Value| json!([{ "screen": "short.png", "cause": "pen", "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "full", "window": window }] }]);
    let rule = "commit-under-hand";
    assert_eq!(findings(rule, &pen_display(), &short_line(), &commit(json!([0, 0, 64, 8]))), Vec::<Value>::new());
    assert_eq!(findings(rule, &pen_display(), &short_line(), &commit(json!([0, 8, 64, 16]))).len(), 1);
    let page_turn = json!([{ "screen": "short.png", "cause": "touch", "updates": [{ "mode": "full" }] }]);
    assert_eq!(findings(rule, &pen_display(), &short_line(), &page_turn), Vec::<Value>::new());
}

#[test]
fn commits_that_run_on_under_stroke_after_stroke_are_one_finding() {
    let screens = [("a.png", screen(&[([7, 15, 25, 3], '#')])), ("b.png", screen(&[([7, 15, 25, 4], '#')]))];
    let note = |name: &str| json!({ "screen": name, "cause": "pen", "after_ms": 100, "strokes": [stroke(31, 2.0)], "updates": [{ "mode": "grey", "window": [0, 8, 64, 16] }] });
    let mut display = pen_display();
    display["modes"][1]["flashes"] = json!(0);
    let found =
        findings("commit-under-hand", &display, &screens, &json!([note("a.png"), note("b.png"), note("a.png")]));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0]["step"].as_u64(), found[0]["last_step"].as_u64()), (Some(0), Some(2)));
    // A stroke that begins elsewhere is not held up.
    let mut elsewhere = note("b.png");
    elsewhere["strokes"] = json!([{ "points": [[40, 4, 0], [50, 4, 100]], "width_px": 2, "mode": "quick" }]);
    assert_eq!(
        findings("commit-under-hand", &display, &screens, &json!([note("a.png"), elsewhere])),
        Vec::<Value>::new()
    );
}

/// Every commit follows the ink of its own step, which the controller still drives: that is no collision.
#[test]
fn a_commit_waits_for_its_own_ink_without_a_collision() {
    let commit = |after_ms: u32| json!({ "screen": "short.png", "cause": "pen", "after_ms": after_ms, "strokes": [stroke(48, 2.0)], "updates": quick(&json!("changed")) });
    assert_eq!(findings("updates-collide", &pen_display(), &short_line(), &json!([commit(0)])), Vec::<Value>::new());
    // That of another update it is.
    let full = json!({ "updates": [{ "mode": "full" }] });
    assert_eq!(findings("updates-collide", &pen_display(), &short_line(), &json!([full, commit(10)])).len(), 1);
}
