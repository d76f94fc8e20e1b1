//! Small plans of flashes on a screen that is large to the eye.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use stillpage::rules::Example;

use super::common::{Folder, WHITE};

/// A black screen of 16 x 8 px.
pub(crate) fn black() -> String {
    WHITE.replace('.', "#")
}

/// What a review finds of one rule, on pixels of 2.54 mm seen from 200 mm: the screen has 0.02 sr.
pub(crate) fn found(rule: &str, screens: &[(&str, &str)], display: &str, plan: &str) -> Vec<String> {
    let example = Example {
        screens: screens.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect(),
        display: Some(display.to_owned()),
        plan: plan.to_owned(),
        ..Example::default()
    };
    let lines = Folder::of_example(&example).findings("example.plan.json");
    lines.into_iter().filter(|line| line.split(' ').nth(2) == Some(rule)).collect()
}

pub(crate) const LARGE: &str = r#""pixels_per_inch": 10, "viewing_distance_mm": 200"#;
