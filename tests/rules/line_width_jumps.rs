//! The edge cases of `line-width-jumps`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    edges::{Edge, PEN, hold, rows_of, screens},
    pen::{findings, pen_display, quick, screen, stroke},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "line-width-jumps",
        limit: "px",
        // Two rows become five.
        screens: screens(&[("a.png", &rows_of("....########################....", 6..11))]),
        display: PEN,
        plan: r#"{ "rules": { "line-width-jumps": { "px": @ } }, "steps": [{ "screen": "a.png",
                "strokes": [{ "points": [[4, 8, 0], [28, 8, 120]], "width_px": 2, "mode": "quick" }], "updates": [{ "mode": "quick" }] }] }"#,
        silent: "3",
        fires: "2.99",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("line-width-jumps", &edges());
}

/// The jump that is found, px; `None` if none is.
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
