//! Fitted figures as a display description that changes another one, with their bounds in comments and in `sources`.
//!
//! Knows the description's format; where it is written is the caller's.

use std::fmt::Write as _;

use serde::Serialize;

use super::{Bounded, Fit, Table};
use crate::display::{Display, Mode};

/// Bounds of `keeps` that are further apart tell little.
const WIDE: f64 = 0.4;

/// The description's text. `based_on` is what it calls the one that it changes.
pub fn fragment(display: &Display, mode: &Mode, based_on: &str, table: &Table, fit: &Fit) -> String {
    let name = &mode.name;
    let mut text = String::new();
    let mut line = |words: String| {
        let _ = writeln!(text, "// {words}");
    };
    let empty = match table.empty {
        0 => String::new(),
        1 => ", 1 row not filled in".into(),
        count => format!(", {count} rows not filled in"),
    };
    let scatter = fit.scatter_l;
    line(format!(
        "Residue of {name} on {}: {} readings{empty}; they scatter by {scatter:.2} L* around the fit.",
        display.name, fit.readings
    ));
    line(
        "In 95 of 100 such measurements the true figure lies between the bounds, provided that the law of residue \
         holds:"
            .into(),
    );
    for (name, places, bounded) in figures(fit) {
        line(format!("  {name:<8} {}", words(bounded, places)));
    }
    if fit.keeps.most - fit.keeps.least > WIDE {
        line("`keeps` is poorly known: measure more patches, or measure after more updates.".into());
    }
    line(
        "Predictions depend on these figures: measure your own panel at each temperature, and again when it is older."
            .into(),
    );
    let listed: Vec<String> =
        figures(fit).iter().map(|(name, places, bounded)| format!("{name} {}", words(*bounded, *places))).collect();
    let own = format!(
        "residue of {name}: measured, {} readings, least squares with 95 % profile bounds ({}); this replaces what is \
         said about it below",
        fit.readings,
        listed.join(", ")
    );
    let [keeps, lighter, darker] = figures(fit).map(|(_, places, bounded)| rounded(bounded.figure, places));
    // What was measured stands for all levels: pairs of the other description would go before it.
    let pairs = mode.residue.entries().any(|residue| !residue.pairs.is_empty()).then_some([]);
    let description = Description {
        format: "display/1",
        name: format!("{}-measured", display.name),
        based_on,
        modes: [Measured { name, residue: Figures { keeps, lighter, darker, pairs } }],
        sources: std::iter::once(own.as_str()).chain(display.sources.iter().map(String::as_str)).collect(),
    };
    // Plain texts and finite numbers: they can always be written.
    text.push_str(&serde_json::to_string_pretty(&description).unwrap_or_default());
    text.push('\n');
    text
}

#[derive(Serialize)]
struct Description<'a> {
    format: &'a str,
    name: String,
    based_on: &'a str,
    modes: [Measured<'a>; 1],
    sources: Vec<&'a str>,
}

#[derive(Serialize)]
struct Measured<'a> {
    name: &'a str,
    residue: Figures,
}

#[derive(Serialize)]
struct Figures {
    keeps: f64,
    lighter: f64,
    darker: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pairs: Option<[(); 0]>,
}

/// The figures by name, with the decimals that a meter's L* can tell.
fn figures(fit: &Fit) -> [(&'static str, usize, Bounded); 3] {
    [("keeps", 4, fit.keeps), ("lighter", 6, fit.lighter), ("darker", 6, fit.darker)]
}

fn words(Bounded { figure, least, most }: Bounded, places: usize) -> String {
    format!("{figure:.places$} ({least:.places$} to {most:.places$})")
}

fn rounded(figure: f64, places: usize) -> f64 {
    let scale = 10_f64.powi(places as i32);
    (figure * scale).round() / scale
}
