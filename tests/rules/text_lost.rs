//! The edge cases of `text-lost`, beside the examples of its page. Which pixels a letter covers is told by another drawing of
//! the same text, black on white.

use serde_json::Value;
use stillpage::{
    display::Ink,
    geometry::Size,
    screen::{Faces, draw_svg},
};

use crate::edges::{Edge, hold, review, screens, text, told};

const DARK: &str = "fill='#333333' font-size='16'";

pub(crate) fn edges() -> Vec<Edge> {
    let edge = |limit, plan, silent, fires| Edge {
        rule: "text-lost",
        limit,
        screens: screens(&[("a.svg", &text(DARK))]),
        display: "",
        plan,
        silent,
        fires,
    };
    // The share itself is held by `the_share_is_that_of_covered_pixels`; `weak` follows `lost` here, so that one of them acts.
    let lost = r#"{ "rules": { "text-lost": { "lost": @, "weak": 0 } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "quick" }] }] }"#;
    let weak = r#"{ "rules": { "text-lost": { "lost": 0, "weak": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "quick" }] }] }"#;
    vec![edge("lost", lost, "0.1", "0.9"), edge("weak", weak, "0.1", "0.9")]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("text-lost", &edges());
}

const QUICK: &str = r#"{ "steps": [{ "label": "tide", "screen": "a.svg", "updates": [{ "mode": "quick" }] }] }"#;
const SKIPPED: &str = r#"{ "modes": [{ "name": "quick", "otherwise": "skipped" }] }"#;

fn of(attributes: &str, display: &str, plan: &str) -> Value {
    review(&[("a.svg", &text(attributes))], display, plan)
}

fn shares(review: &Value) -> Vec<f64> {
    let found = review["findings"].as_array().unwrap().iter().filter(|finding| finding["rule"] == "text-lost");
    found.map(|finding| finding["figures"]["share"].as_f64().unwrap()).collect()
}

/// The shades of a text, 96 x 40 px.
fn drawn(attributes: &str) -> Vec<u8> {
    let faces = Faces::new(Vec::new()).unwrap();
    let ink = Ink::grey_between(16, 0.04, 0.44);
    let size = Size { width: 96, height: 40 };
    let none = |_: &str| -> Result<Vec<u8>, String> { Err("no picture is asked for".into()) };
    draw_svg(text(attributes).as_bytes(), size, &ink, &faces, &none, Vec::new()).unwrap().shades().to_vec()
}

/// The share of the pixels covered by half or more that stand out by 15 L* when a level comes out as `shown`. Both drawings
/// round, so that half is a shade of 127 to 129 in the black one: the least and the most that comes of it.
fn share(attributes: &str, shown: impl Fn(u8) -> u8) -> [f64; 2] {
    let size = attributes.split("font-size=").nth(1).unwrap();
    let coverage = drawn(&format!("fill='#000000' font-size={size}"));
    let ink = Ink::grey_between(16, 0.04, 0.44);
    let stands_out = |shade: u8| {
        let level = ((2 * u32::from(shade) * 15 + 255) / 510) as u8;
        ink.lightness(15) - ink.lightness(shown(level)) >= 15.0
    };
    let shades = drawn(attributes);
    let with_half_at = |half: u8| {
        let covered = shades.iter().zip(&coverage).filter(|(_, coverage)| **coverage < half);
        let [seen, all] =
            covered.fold([0.0, 0.0], |[seen, all], (shade, _)| [seen + f64::from(stands_out(*shade)), all + 1.0]);
        seen / all
    };
    let shares = [127, 128, 129, 130].map(with_half_at);
    [shares.into_iter().fold(1.0, f64::min), shares.into_iter().fold(0.0, f64::max)]
}

#[test]
fn the_share_is_that_of_covered_pixels() {
    let mut told = 0;
    for attributes in
        [DARK, "fill='#555555' font-size='16'", "fill='#777777' font-size='22'", "fill='#000000' font-size='12'"]
    {
        let nearest = share(attributes, |level| if level < 8 { 0 } else { 15 });
        let skipped = share(attributes, |level| if [0, 15].contains(&level) { level } else { 15 });
        for (display, [least, most]) in [("", nearest), (SKIPPED, skipped)] {
            let found = shares(&of(attributes, display, QUICK));
            let words = format!("{attributes} {display}: {found:?}, not {least} to {most}");
            match found[..] {
                [] => assert!(most >= 0.8, "{words}"),
                [found] => assert!(found > least - 1e-5 && found < most + 1e-5, "{words}"),
                _ => panic!("{words}"),
            }
            told += found.len();
        }
    }
    assert!(told >= 4, "{told} of 8 are lost");
}

#[test]
fn half_is_an_error_and_four_fifths_a_warning() {
    let thin = "fill='#000000' font-size='12'";
    let level = |lost: f64, weak: f64| {
        let plan = format!(
            r#"{{ "rules": {{ "text-lost": {{ "lost": {lost}, "weak": {weak} }} }},
                "steps": [{{ "screen": "a.svg", "updates": [{{ "mode": "quick" }}] }}] }}"#
        );
        let found = of(thin, SKIPPED, &plan);
        let findings = found["findings"].as_array().unwrap().iter();
        findings.filter(|finding| finding["rule"] == "text-lost").map(|finding| finding["level"].clone()).next()
    };
    let [share] = shares(&of(thin, SKIPPED, QUICK))[..] else { panic!("one text") };
    // The share is told with six digits.
    let [below, above] = [share - 1e-6, share + 1e-6];
    assert_eq!(level(below, below), None);
    assert_eq!(level(below, above), Some("warning".into()));
    assert_eq!(level(above, above), Some("error".into()));
}

#[test]
fn a_text_that_is_settled_in_time_is_not_lost() {
    let plan = |after: &str| {
        format!(
            r#"{{ "steps": [{{ "screen": "a.svg", "updates": [{{ "mode": "quick" }}] }},
                {{ "after_ms": {after}, "updates": [{{ "mode": "grey" }}] }}] }}"#
        )
    };
    assert_eq!(shares(&of(DARK, SKIPPED, &plan("1000"))), [0.0; 0]);
    assert_eq!(shares(&of(DARK, SKIPPED, &plan("1000.5"))).len(), 1);
}

#[test]
fn what_nobody_sent_is_left_behind_and_not_lost() {
    let plan = r#"{ "steps": [{ "screen": "a.svg" }] }"#;
    assert_eq!(shares(&of(DARK, SKIPPED, plan)), [0.0; 0]);
    // However it is sent, it is too close to its ground: grey 14 of 15 is 3.2 L* from white.
    let pale = of("fill='#eeeeee' font-size='16'", "", plan);
    assert_eq!(shares(&pale), [0.0]);
    let words = "0..0 none of the text `Ebb 06:10` stands out from the white around it on the glass, \
                 because its shades are too close to white on this panel; at least 50 % should stand out | draw it in black, or on another background";
    assert_eq!(told(&pale, "text-lost"), [words]);
    // Five levels are 16.2 L*, four 12.9.
    assert_eq!(shares(&of("fill='#bbbbbb' font-size='40'", "", plan)), [0.0]);
    assert_eq!(shares(&of("fill='#000000' font-size='40'", "", plan)), [0.0; 0]);
}

#[test]
fn a_text_that_stays_over_many_screens_is_one_finding() {
    let with =
        |mark: &str| text(DARK).replace("</svg>", &format!("<rect x='80' y='2' width='{mark}' height='4'/></svg>"));
    let marks = [with("4"), with("6"), with("8")];
    let plan = r#"{ "steps": [{ "screen": "a.svg", "updates": [{ "mode": "quick" }] },
        { "screen": "b.svg", "after_ms": 600, "updates": [{ "mode": "quick" }] },
        { "screen": "c.svg", "after_ms": 600, "updates": [{ "mode": "quick" }] },
        { "screen": "b.svg", "after_ms": 600, "updates": [{ "mode": "quick" }] }] }"#;
    let screens = [("a.svg", marks[0].as_str()), ("b.svg", &marks[1]), ("c.svg", &marks[2])];
    let found = told(&review(&screens, SKIPPED, plan), "text-lost");
    assert!(found.len() == 1 && found[0].starts_with("0..3 none of the text `Ebb 06:10` stands out"), "{found:?}");
    assert!(found[0].contains("`quick` cannot show grey levels 3 to 9 (0 is black, 15 white)"), "{found:?}");
    assert!(found[0].contains("| use `full` or `grey` for it; or draw the text without smoothing"), "{found:?}");
}

#[test]
fn texts_of_many_colours_and_pictures_are_not_judged() {
    let gradient =
        "<linearGradient id='g'><stop stop-color='#fff'/><stop offset='1' stop-color='#eee'/></linearGradient>";
    let svg = text("fill='url(#g)' font-size='16'").replace("<rect", &format!("{gradient}<rect"));
    assert_eq!(shares(&review(&[("a.svg", &svg)], "", QUICK)), [0.0; 0]);
}
