//! What the tests of rules share: limits seen from both sides, small plans and what a review says of them.
//!
//! Pixels of the example display have 0.254 mm, 0.0645 mm2 each: the square of 4 x 4 px has 1.0323 mm2, a tile of 8 x 8 px
//! 4.1290 mm2.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use serde_json::Value;
use stillpage::rules::Example;

use super::common::{Folder, SQUARE, WHITE};

/// A limit of a rule, seen from both sides.
pub(crate) struct Edge {
    pub(crate) rule: &'static str,
    /// The limit's name as the rule's page has it; empty for a limit that the display or the plan gives.
    pub(crate) limit: &'static str,
    pub(crate) screens: Vec<(&'static str, String)>,
    pub(crate) display: &'static str,
    /// A plan in which `@` stands for the figure that is varied.
    pub(crate) plan: &'static str,
    /// The figure with which the rule is silent, and the nearest one with which it fires.
    pub(crate) silent: &'static str,
    pub(crate) fires: &'static str,
}

impl Edge {
    fn lines(&self, figure: &str) -> Vec<String> {
        let example = Example {
            screens: self.screens.iter().map(|(name, text)| ((*name).to_owned(), text.clone())).collect(),
            display: (!self.display.is_empty()).then(|| self.display.replace('@', figure)),
            plan: self.plan.replace('@', figure),
            ..Example::default()
        };
        let lines = Folder::of_example(&example).findings("example.plan.json");
        lines.into_iter().filter(|line| line.split(' ').nth(2) == Some(self.rule)).collect()
    }
}

/// Each limit of that rule holds from both sides.
pub(crate) fn hold(rule: &str, edges: &[Edge]) {
    let mut wrong = Vec::new();
    for edge in edges {
        assert_eq!(edge.rule, rule, "a limit stands in the file of its rule");
        for (figure, fires) in [(edge.silent, false), (edge.fires, true)] {
            let lines = edge.lines(figure);
            if lines.is_empty() == fires {
                wrong.push(format!("{} `{}` with {figure}: {lines:?}", edge.rule, edge.limit));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

pub(crate) fn screens(named: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
    named.iter().map(|(name, text)| (*name, (*text).to_owned())).collect()
}

/// The square, and white.
pub(crate) fn square() -> Vec<(&'static str, String)> {
    screens(&[("a.png", SQUARE), ("b.png", WHITE)])
}

/// A screen whose square has this hexadecimal digit's shade.
pub(crate) fn square_of(digit: &str) -> String {
    SQUARE.replace('#', digit)
}

/// A display whose controller draws under the pen.
pub(crate) const PEN: &str = r#"{ "controller_ink": { "delay_ms": 20 } }"#;

/// A screen of 32 x 16 px, white except for these rows.
pub(crate) fn rows_of(row: &str, at: std::ops::Range<usize>) -> String {
    let white = ".".repeat(row.len());
    let rows: Vec<&str> = (0..16).map(|y| if at.contains(&y) { row } else { &white }).collect();
    rows.join("\n")
}

/// A line of text with these attributes on white.
pub(crate) fn text(attributes: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width=\"96\" height=\"40\"><rect width='96' height='40' fill='#ffffff'/>\
         <text x='4' y='28' font-family='Arimo' {attributes}>Ebb 06:10</text></svg>"
    )
}

/// A quick update that leaves a tenth of the swing: 4.856 L* of the 48.557 L* between black and white.
pub(crate) const GHOSTING: &str = r#"{ "modes": [{ "name": "quick", "residue": { "lighter": 0.1 } }] }"#;

/// The lines of a plan over 16 x 8 px.
pub(crate) fn lines_of(screens: &[(&str, &str)], display: &str, plan: &str) -> Vec<String> {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: (!display.is_empty()).then(|| display.to_owned()),
        plan: plan.to_owned(),
        ..Example::default()
    };
    Folder::of_example(&example).findings("example.plan.json")
}

/// The review of a plan over these screens.
pub(crate) fn review(screens: &[(&str, &str)], display: &str, plan: &str) -> Value {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: (!display.is_empty()).then(|| display.to_owned()),
        plan: plan.to_owned(),
        ..Example::default()
    };
    let run = Folder::of_example(&example).run(&["review", "example.plan.json", "--format", "json"]);
    assert_eq!(run.error, "", "the plan must be read without a fault");
    run.json()["plans"][0].clone()
}

/// The findings of a rule, a line each: first and last step, and the message with what helps.
pub(crate) fn told(review: &Value, rule: &str) -> Vec<String> {
    let findings = review["findings"].as_array().unwrap().iter().filter(|finding| finding["rule"] == rule);
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    findings
        .map(|found| {
            let (message, help) = (text(&found["message"]), text(&found["help"]));
            format!("{}..{} {message} | {help}", found["step"], found["last_step"])
        })
        .collect()
}

pub(crate) fn square_and_white() -> [(&'static str, &'static str); 2] {
    [("a.png", SQUARE), ("b.png", WHITE)]
}
