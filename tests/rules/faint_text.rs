//! The edge cases of `faint-text`, beside the examples of its page.

use serde_json::{Value, json};

use crate::{
    common::example_display,
    edges::{Edge, hold, screens, text},
    reading::{finding, folder, lines},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "faint-text",
            limit: "small",
            // Grey 5 of 15 reflects 0.1117 of the light: (1 + 0.05) / (0.111651 / 0.44 + 0.05) = 3.45677.
            screens: screens(&[("a.svg", &text("fill='#555555' font-size='16'"))]),
            display: "",
            plan: r#"{ "rules": { "faint-text": { "small": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#,
            silent: "3.4567",
            fires: "3.4568",
        },
        Edge {
            rule: "faint-text",
            limit: "large",
            // 18 pt are 25 px at 100 px an inch.
            screens: screens(&[("a.svg", &text("fill='#555555' font-size='25'"))]),
            display: "",
            plan: r#"{ "rules": { "faint-text": { "large": @ } }, "steps": [{ "screen": "a.svg", "updates": [{ "mode": "full" }] }] }"#,
            silent: "3.4567",
            fires: "3.4568",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("faint-text", &edges());
}

/// What of these is faint on the example display; each text is `Ebb` at [4, 28].
const FAINT: &[(&str, &str)] = &[
    ("white on white", r##"<text x="4" y="28" fill="#ffffff">Ebb</text>"##),
    ("grey on white", r##"<text x="4" y="28" fill="#888888">Ebb</text>"##),
    ("grey on black", r##"<rect width="96" height="40"/><text x="4" y="28" fill="#555555">Ebb</text>"##),
    ("black on dark grey", r##"<rect width="96" height="40" fill="#333333"/><text x="4" y="28">Ebb</text>"##),
    // 15 - 0.4 * 15 is level 9.
    ("black, half transparent", r#"<text x="4" y="28" fill-opacity="0.4">Ebb</text>"#),
    ("black in a transparent group", r#"<g opacity="0.4"><text x="4" y="28">Ebb</text></g>"#),
    ("an outline as faint as the fill", r##"<text x="4" y="28" fill="#ffffff" stroke="#cccccc">Ebb</text>"##),
    (
        "letters that fill their box",
        r##"<text x="4" y="28" fill="#999999" font-weight="700" letter-spacing="-4">EEE</text>"##,
    ),
];

/// What of these is not.
const CLEAR: &[(&str, &str)] = &[
    ("black on white", r#"<text x="4" y="28">Ebb</text>"#),
    ("white on black", r##"<rect width="96" height="40"/><text x="4" y="28" fill="#ffffff">Ebb</text>"##),
    (
        "white on a black key",
        r##"<rect x="2" y="14" width="34" height="18"/><text x="4" y="28" fill="#ffffff">Ebb</text>"##,
    ),
    ("a dark outline", r##"<text x="4" y="28" fill="#ffffff" stroke="#000000">Ebb</text>"##),
    ("nothing to be seen", r##"<text x="4" y="28" fill="#dddddd" opacity="0">Ebb</text>"##),
    ("hidden", r##"<text x="4" y="28" fill="#dddddd" visibility="hidden">Ebb</text>"##),
    ("covered", r##"<text x="4" y="28" fill="#dddddd">Ebb</text><rect width="96" height="40" fill="#ffffff"/>"##),
    ("off the screen", r##"<text x="4" y="128" fill="#dddddd">Ebb</text>"##),
    ("blanks", r##"<text x="4" y="28" fill="#dddddd" xml:space="preserve">   </text>"##),
    ("letters that fill their box", r#"<text x="4" y="28" letter-spacing="-8">|||||||</text>"#),
    ("thinner than a pixel", r#"<text x="4" y="28" font-size="10">Ebb</text>"#),
    (
        "dark to darker",
        r##"<defs><linearGradient id="g"><stop stop-color="#000000"/><stop offset="1" stop-color="#222222"/></linearGradient></defs><text x="4" y="28" fill="url(#g)">Ebb</text>"##,
    ),
];

#[test]
fn letters_are_judged_by_what_comes_out() {
    let mut wrong = Vec::new();
    for (name, inside) in FAINT {
        let found = lines(inside);
        if found.len() != 1 || !found[0].starts_with("step 0 faint-text warning [") {
            wrong.push(format!("{name}: {found:?}"));
        }
    }
    for (name, inside) in CLEAR {
        let found = lines(inside);
        if !found.is_empty() {
            wrong.push(format!("{name}: {found:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// 3.85 on the reflectances themselves, 5.62 relative to the panel's white: the contrast of a panel of 30 % white and
/// 4.1 % black, computed with a reference colour library. WCAG measures against the lightest white.
#[test]
fn contrast_is_relative_to_the_panels_white() {
    let mut display = example_display([96, 40]);
    display["ink"] = json!({ "levels": 2, "reflectance": [0.041, 0.3] });
    let plan = |limit: f64| {
        let folder = folder(&[r#"<text x="4" y="28">Ebb</text>"#], &display);
        let rules = json!({ "faint-text": { "small": limit }, "thin-line": "off" });
        let steps = json!([{ "screen": "0.svg", "updates": [{ "mode": "full" }] }]);
        folder.plan("a.plan.json", &json!({ "rules": rules, "steps": steps }).to_string());
        folder.findings("a.plan.json")
    };
    assert_eq!(plan(5.61), Vec::<String>::new());
    assert_eq!(plan(5.63).len(), 1);
}

/// The levels decide: #888888 is white of two levels, #777777 is black.
#[test]
fn a_grey_is_judged_as_the_level_that_it_becomes() {
    let mut display = example_display([96, 40]);
    display["ink"] = json!({ "levels": 2, "reflectance": [0.04, 0.44] });
    let text = |fill: &str| format!(r#"<text x="4" y="28" fill="{fill}">Ebb</text>"#);
    let lost = finding(&text("#888888"), &display);
    assert_eq!(lost["message"], "the text `Ebb` is drawn in white on white, so it cannot be seen");
    assert_eq!(lost["help"], "draw it in black, which has a contrast of 7.45 on white");
    assert_eq!(finding(&text("#777777"), &display), Value::Null);
}

#[test]
fn a_palette_is_judged_by_its_own_colours() {
    let mut display = example_display([96, 40]);
    display["family"] = json!("colour");
    display["ink"] = json!({ "colours": [
        { "name": "black", "srgb": "#1a0d23" }, { "name": "white", "srgb": "#b9cacd" },
        { "name": "red", "srgb": "#790900" }, { "name": "yellow", "srgb": "#cab800" }] });
    // Relative luminances of yellow and white, computed apart by the formula of WCAG: 0.46838 and
    // 0.56963, so that (1 + 0.05) / (0.46838 / 0.56963 + 0.05) = 1.2038; of red, 0.04260, it is 8.4141.
    let yellow = finding(
        r##"<rect width="96" height="40" fill="#ffffff"/><text x="4" y="28" fill="#ffff00">Ebb</text>"##,
        &display,
    );
    assert_eq!(
        yellow["message"],
        "the text `Ebb`: yellow on white has a contrast of 1.20 on this panel; text of this size needs 4.5"
    );
    assert_eq!(yellow["help"], "draw it in red, which has a contrast of 8.41 on white");
    let red = finding(r##"<text x="4" y="28" fill="#ff0000">Ebb</text>"##, &display);
    assert_eq!(red, Value::Null);
}

/// 25 px are 18 pt at 100 px an inch; grey 5 of 15 has a contrast of 3.457.
#[test]
fn large_text_needs_less() {
    let text = |size: &str| format!(r##"<text x="4" y="30" font-size="{size}" fill="#555555">Ebb</text>"##);
    assert_eq!(lines(&text("24.99")).len(), 1);
    assert_eq!(lines(&text("25")), Vec::<String>::new());
    // As drawn, not as written.
    let scaled = |scale: &str| {
        format!(r##"<g transform="scale({scale})"><text x="2" y="15" font-size="12.5" fill="#555555">Ebb</text></g>"##)
    };
    assert_eq!(lines(&scaled("2")), Vec::<String>::new());
    assert_eq!(lines(&scaled("1.9")).len(), 1);
    let turned = r##"<text transform="translate(4 30) rotate(-20)" font-size="25" fill="#555555">Ebb</text>"##;
    assert_eq!(lines(turned), Vec::<String>::new());
}

/// The bundled face with another weight written into its table of weights and widths (OS/2, bytes 4 and 5).
fn face_of_weight(weight: u16) -> Vec<u8> {
    let mut face = include_bytes!("../../src/screen/fonts/Arimo-subset.ttf").to_vec();
    let tables = usize::from(u16::from_be_bytes([face[4], face[5]]));
    let entry = (0..tables).map(|index| 12 + 16 * index).find(|at| &face[*at..at + 4] == b"OS/2").unwrap();
    let offset = u32::from_be_bytes(face[entry + 8..entry + 12].try_into().unwrap()) as usize;
    face[offset + 4..offset + 6].copy_from_slice(&weight.to_be_bytes());
    face
}

/// 20 px are 14.4 pt at 100 px an inch, 19 px are 13.68 pt.
#[test]
fn bold_text_is_large_from_14_pt_on() {
    let lines = |weight: u16, size: u32| {
        let text =
            format!(r##"<text x="4" y="30" font-size="{size}" font-weight="{weight}" fill="#555555">Ebb</text>"##);
        let folder = folder(&[&text], &example_display([96, 40]));
        folder.file("face.ttf", face_of_weight(weight));
        folder.plan(
            "a.plan.json",
            r#"{ "fonts": ["face.ttf"], "steps": [{ "screen": "0.svg", "updates": [{ "mode": "full" }] }] }"#,
        );
        folder.findings("a.plan.json")
    };
    assert_eq!(lines(700, 20), Vec::<String>::new());
    assert_eq!(lines(700, 19).len(), 1);
    assert_eq!(lines(600, 20).len(), 1);
}

#[test]
fn texts_of_one_kind_are_one_finding_over_all_their_screens() {
    let label = r##"<text x="4" y="14" fill="#888888">Ebb</text>"##;
    let first = format!(r##"{label}<text x="44" y="34" fill="#888888">Flood</text>"##);
    let second = format!(r#"{label}<text x="44" y="34">Flood</text>"#);
    let folder = folder(&[&first, &second, ""], &example_display([96, 40]));
    let step =
        |screen: u32| json!({ "screen": format!("{screen}.svg"), "after_ms": 5000, "updates": [{ "mode": "full" }] });
    let steps = json!([step(0), step(1), step(0), { "after_ms": 5000 }, step(2), step(2)]);
    folder.plan("a.plan.json", &json!({ "steps": steps }).to_string());
    let findings = &folder.run(&["review", "a.plan.json", "--format", "json"]).json()["plans"][0]["findings"];
    let faint: Vec<&Value> =
        findings.as_array().unwrap().iter().filter(|finding| finding["rule"] == "faint-text").collect();
    assert_eq!(faint.len(), 1, "{findings}");
    assert_eq!((faint[0]["step"].as_u64(), faint[0]["last_step"].as_u64()), (Some(0), Some(3)));
    assert_eq!(faint[0]["figures"]["texts"], 2.0);
    assert!(faint[0]["message"].as_str().unwrap().starts_with("the text `Ebb` and one more: grey 8 of 15 on white"));
}
