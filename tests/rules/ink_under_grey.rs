//! The edge cases of `ink-under-grey`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::{Folder, png_of},
    edges::{Edge, hold, rows_of, screens},
    pen::{findings, lines, marker_display, quick, screen, stroke},
    shipped::play,
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "ink-under-grey",
        limit: "limit_l",
        // Of the swing from black to grey 11 of 15, 35.6085 L*, a tenth is missing, and 0.1942 L* of the way to black
        // were left. Beside the ink a way of 12.9486 L* left 0.0518: 3.5609 - 0.1942 + 0.0518 = 3.4185 apart.
        screens: screens(&[("a.png", &rows_of("....bbbbbbbbbbbbbbbbbbbbbbbb....", 5..11))]),
        display: r#"{ "controller_ink": { "delay_ms": 20 }, "modes": [{ "name": "quick", "to": "any", "residue": { "lighter": 0.1 } }] }"#,
        plan: r#"{ "rules": { "ink-under-grey": { "limit_l": @ } }, "steps": [{ "screen": "a.png",
                "strokes": [{ "points": [[7, 8, 0], [15, 8, 120]], "width_px": 6, "mode": "quick" }], "updates": [{ "mode": "quick" }] }] }"#,
        silent: "3.419",
        fires: "3.418",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("ink-under-grey", &edges());
}

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
        "let the host draw here instead of the controller, by removing `strokes` from this step; otherwise accept the ink that is seen until the pen \
         has been away for a while, and then remove it in a step of its own with `grey` on the window [0, 13, 48, 6], with a \
         flash, at least 2000 ms after the pen is lifted"
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
    assert_eq!(found[0]["help"], "commit with `better`, which removes the ink without a flash");
}

/// A few white pixels under the marker are the strongest ghost; what is reported is where most of it lies.
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

#[test]
fn black_and_white_ink_of_one_step_are_two_ghosts() {
    let mut display = marker_display();
    display["modes"][2]["residue"]["darker"] = json!(0.3);
    let page = [("bands.png", screen(&[([4, 13, 56, 6], 'b'), ([4, 22, 56, 6], '4')]))];
    let white = json!({ "points": [[8, 25, 0], [40, 25, 120]], "width_px": 6, "mode": "quick", "shade": "white" });
    // The bands are clean, and both inks are driven back to what stands there.
    let steps = json!([
        { "screen": "bands.png", "updates": [{ "mode": "full" }] },
        { "after_ms": 3000, "strokes": [stroke(40, 6.0), white], "updates": quick(&json!("changed")) }
    ]);
    let found = findings("ink-under-grey", &display, &page, &steps);
    assert_eq!(found.len(), 2, "{found:?}");
    for (finding, ink) in found.iter().zip(["black", "white"]) {
        let message = finding["message"].as_str().unwrap();
        assert!(message.contains(&format!("the pen drew solid {ink} where")), "{message}");
        let figure = |name: &str| finding["figures"][name].as_f64().unwrap();
        let margin = finding["margin"].as_f64().unwrap();
        assert!((margin - figure("worst_l") / figure("limit_l")).abs() < 1e-3, "{finding}");
    }
}
