//! The edge cases of `charge-builds-up`, beside the examples of its page.

use crate::{
    common::{SQUARE, WHITE},
    edges::{Edge, hold, review, square, square_and_white, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "charge-builds-up",
        limit: "net_impulse_vs",
        screens: square(),
        display: r#"{ "modes": [{ "name": "quick", "impulse_vs": { "lighter": 1, "darker": 0.25 } }] }"#,
        // To black and back.
        plan: r#"{ "rules": { "charge-builds-up": { "net_impulse_vs": @ } }, "steps": [
                { "screen": "a.png", "updates": [{ "mode": "quick" }] },
                { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#,
        silent: "1.25",
        fires: "1.249",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("charge-builds-up", &edges());
}

#[test]
fn modes_without_an_impulse_are_named_where_the_display_limits_it() {
    let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#;
    let display = r#"{ "limits": { "net_impulse_vs": 1 },
        "modes": [{ "name": "quick", "impulse_vs": { "lighter": 1, "darker": -1 } }] }"#;
    let found = review(&[("a.png", SQUARE)], display, plan);
    let texts = found["summary"]["not_checked"].as_array().unwrap();
    assert!(
        texts
            .iter()
            .any(|text| text.as_str().unwrap().starts_with("net impulse of `full`, `grey`: no `impulse_vs` is given")),
        "{texts:?}"
    );
}

/// The help names what takes the push back, whichever way it goes; otherwise what keeps it from growing, if anything does.
#[test]
fn the_help_names_the_mode_that_pushes_back() {
    let plan = r#"{ "rules": { "charge-builds-up": { "net_impulse_vs": 1 } }, "steps": [
        { "screen": "a.png", "updates": [{ "mode": "quick" }] },
        { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#;
    let help = |quick: &str, grey: &str| {
        let display = format!(
            r#"{{ "modes": [{{ "name": "quick", "impulse_vs": {quick} }}, {{ "name": "grey", "impulse_vs": {grey} }}] }}"#
        );
        let found = told(&review(&square_and_white(), &display, plan), "charge-builds-up");
        let [line] = &found[..] else { panic!("{found:?}") };
        line.split_once("| ").unwrap().1.split_once(';').unwrap().0.to_owned()
    };
    let back = "from step 1 on, use `grey` for this place, which pushes it more in the other direction";
    let to_white = r#"{ "lighter": 1, "darker": 0.25 }"#;
    assert_eq!(help(to_white, r#"{ "lighter": 0.5, "darker": -1 }"#), back);
    assert_eq!(help(to_white, r#"{ "lighter": 1, "darker": -1, "same": -0.1 }"#), back);
    assert_eq!(help(r#"{ "lighter": -1, "darker": -0.25 }"#, r#"{ "lighter": 1, "darker": -0.5 }"#), back);
    assert!(help(to_white, r#"{ "lighter": 1, "darker": -1 }"#).starts_with(
        "no mode in the display description is known to cancel this charge: from step 1 on, use only `grey`"
    ));
    assert_eq!(
        help(to_white, to_white),
        "no mode in the display description is known to cancel this charge, so ask the panel maker for such a mode"
    );
}

#[test]
fn a_pixel_that_is_driven_without_changing_gathers_charge_too() {
    // Eight times 0.2 V s over the whole panel, in a mode that drives every pixel and changes none.
    let display = |same: f64| {
        format!(
            r#"{{ "limits": {{ "net_impulse_vs": 1.5 }},
                "modes": [{{ "name": "full", "impulse_vs": {{ "lighter": 0, "darker": 0, "same": {same} }} }}] }}"#
        )
    };
    let plan = r#"{ "steps": [{ "repeat": 8, "steps": [{ "after_ms": 900, "updates": [{ "mode": "full" }] }] },
        { "screen": "b.png", "after_ms": 900 }] }"#;
    let found = |same: f64| told(&review(&[("b.png", WHITE)], &display(same), plan), "charge-builds-up");
    assert_eq!(found(0.18), Vec::<String>::new());
    let line = found(-0.2);
    assert!(line.len() == 1 && line[0].starts_with("7..8 128 px") && line[0].contains("1.60 V s"), "{line:?}");
}

#[test]
fn part_of_a_swing_gathers_its_part_of_the_impulse() {
    // Levels of 16 are evenly spaced in L*: from white, 15, to 8 are 7 fifteenths of the whole swing.
    let found = |limit: f64| {
        let display = format!(
            r#"{{ "limits": {{ "net_impulse_vs": {limit} }},
                "modes": [{{ "name": "grey", "impulse_vs": {{ "lighter": 0, "darker": -1 }} }}] }}"#
        );
        let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "grey" }] }] }"#;
        let grey = SQUARE.replace('#', "8");
        told(&review(&[("a.png", &grey)], &display, plan), "charge-builds-up").len()
    };
    assert_eq!((found(0.466), found(0.467)), (1, 0));
}

#[test]
fn what_is_a_little_over_the_limit_reads_so() {
    let found = |limit: f64| {
        let display = format!(
            r#"{{ "limits": {{ "net_impulse_vs": {limit} }}, "modes": [{{ "name": "quick", "impulse_vs": {{ "lighter": 1, "darker": 0.25 }} }}] }}"#
        );
        // To black and back: 1.25 V s.
        let plan = r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "quick" }] },
            { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }"#;
        told(&review(&[("a.png", SQUARE), ("b.png", WHITE)], &display, plan), "charge-builds-up").concat()
    };
    assert!(found(1.2).contains("up to 1.25 V s; the display allows 1.20 V s"), "{}", found(1.2));
    assert!(found(1.2499).contains("up to 1.2500 V s; the display allows 1.2499 V s"), "{}", found(1.2499));
}

/// Each round leaves 0.25 V s more than the one before: 1, then 1.25, then 1.5 V s are reported as one finding, with the last.
#[test]
fn of_several_rounds_the_worst_is_reported() {
    let display = r#"{ "modes": [{ "name": "quick", "impulse_vs": { "darker": 1, "lighter": -0.75 } }] }"#;
    let plan = r#"{ "begins": "white", "rules": { "charge-builds-up": { "net_impulse_vs": 0.9 } }, "steps": [
        { "repeat": 3, "steps": [
            { "screen": "a.png", "after_ms": 900, "updates": [{ "mode": "quick" }] },
            { "screen": "b.png", "after_ms": 900, "updates": [{ "mode": "quick" }] }] }] }"#;
    let found = review(&square_and_white(), display, plan);
    let findings = found["findings"].as_array().unwrap();
    let of_charge: Vec<_> = findings.iter().filter(|finding| finding["rule"] == "charge-builds-up").collect();
    let [one] = &of_charge[..] else { panic!("{of_charge:?}") };
    assert_eq!(one["step"], 0);
    assert_eq!(one["figures"]["net_impulse_vs"], 1.5);
    let message = one["message"].as_str().unwrap();
    assert!(message.contains("up to 1.50 V s") && message.ends_with("(worst at step 4)"), "{message}");
}
