//! The figures of a plan that a reader asks for first, and what becomes of them from one plan to the next, in words.
//!
//! Knows the summary, not the page.

use crate::{
    finding::Summary,
    report::sentences::{clock, count, ms},
};

/// The name of the figure that a reader can go to.
pub(super) const STRONGEST_GHOST: &str = "strongest single ghost pixel";

/// A figure of a plan.
pub(super) struct Figure {
    pub(super) name: &'static str,
    value: f64,
    unit: Unit,
    /// What to say where another plan has less of it, and more.
    words: [&'static str; 2],
    better: Better,
}

/// The unit in which a figure is shown.
#[derive(Clone, Copy)]
enum Unit {
    /// One of them, and several.
    Count(&'static str, &'static str),
    /// A stretch of time, ms.
    Time,
    /// Milliseconds until something answers; nothing where nothing does.
    Answer,
    /// A number with so many places, and its unit.
    Number(usize, &'static str),
}

/// Which of two values of a figure is the better one.
#[derive(Clone, Copy)]
enum Better {
    Less,
    More,
    /// That depends on what the plan is for.
    Depends,
}

impl Figure {
    pub(super) fn shown(&self) -> String {
        match self.unit {
            Unit::Count(..) => format!("{:.0}", self.value),
            Unit::Answer if self.value == 0.0 => "none is seen".into(),
            _ => self.amount(self.value),
        }
    }

    /// A difference with its unit.
    fn amount(&self, value: f64) -> String {
        match self.unit {
            Unit::Count(one, many) => count(value as u64, one, many),
            Unit::Time => clock(value),
            Unit::Answer => format!("{} ms", ms(value)),
            Unit::Number(places, unit) => format!("{value:.places$} {unit}"),
        }
    }

    /// The value as exactly as it is shown, so that what is said of two values agrees with what is seen of them.
    fn as_shown(&self) -> f64 {
        let to = |step: f64| (self.value / step).round() * step;
        match self.unit {
            Unit::Count(..) => self.value,
            Unit::Time if self.value < 1000.0 => to(1.0),
            Unit::Time if self.value < 120_000.0 => to(100.0),
            Unit::Time => to(1000.0),
            Unit::Answer if self.value >= 10.0 => to(1.0),
            Unit::Answer => to(0.1),
            Unit::Number(places, _) => to(0.1_f64.powi(places as i32)),
        }
    }

    /// What becomes of the figure from this plan to the other, and whether that is better.
    pub(super) fn change(&self, after: &Self) -> String {
        let (one, other) = (self.as_shown(), after.as_shown());
        if self.shown() == after.shown() {
            return "the same".into();
        }
        if matches!(self.unit, Unit::Answer) && (one == 0.0 || other == 0.0) {
            return "not comparable, because one plan answers nobody".into();
        }
        let is_more = other > one;
        let amount = self.amount((other - one).abs());
        let verdict = match (self.better, is_more) {
            (Better::Depends, _) => "",
            (Better::Less, false) | (Better::More, true) => ": better",
            (Better::Less, true) | (Better::More, false) => ": worse",
        };
        format!("{amount} {}{verdict}", self.words[usize::from(is_more)])
    }
}

/// The figures that stand in the head of a plan.
pub(super) fn of_the_plan(summary: &Summary) -> Vec<Figure> {
    let figure = |name, value, unit, words, better| Figure { name, value, unit, words, better };
    let (fewer, shorter) = (["fewer", "more"], ["shorter", "longer"]);
    let updates = Unit::Count("update", "updates");
    let mut figures = vec![
        figure("plays for", summary.seconds * 1000.0, Unit::Time, shorter, Better::Depends),
        figure(
            "flashing updates",
            summary.flashing_updates as f64,
            Unit::Count("flashing update", "flashing updates"),
            fewer,
            Better::Less,
        ),
        figure("cleanings", summary.cleanings as f64, Unit::Count("cleaning", "cleanings"), fewer, Better::Depends),
        figure("slowest first change", summary.longest_answer_ms, Unit::Answer, ["sooner", "later"], Better::Less),
        figure(STRONGEST_GHOST, summary.worst_residue_l, Unit::Number(1, "L*"), ["weaker", "stronger"], Better::Less),
        figure("most updates since cleaning", f64::from(summary.most_since_cleaning), updates, fewer, Better::Less),
        figure("panel driven for", summary.driving_seconds * 1000.0, Unit::Time, shorter, Better::Less),
    ];
    // Nought is what a display without figures gives.
    if summary.energy_mj > 0.0 {
        figures.push(figure("energy", summary.energy_mj, Unit::Number(0, "mJ"), ["less", "more"], Better::Less));
    }
    if let Some(power) = &summary.power {
        figures.push(figure("mean power", power.mean_mw, Unit::Number(2, "mW"), ["less", "more"], Better::Less));
        let days = |days| figure("days a charge", days, Unit::Number(0, "days"), fewer, Better::More);
        figures.extend(power.days.map(days));
    }
    figures
}

/// The residue of the smallest area that counts, also where it is no ghost.
pub(super) fn of_the_residue(summary: &Summary) -> Figure {
    let words = ["less", "more"];
    Figure { name: "residue", value: summary.residue_l, unit: Unit::Number(1, "L*"), words, better: Better::Less }
}

/// How much was found.
pub(super) fn of_the_findings(summary: &Summary) -> [Figure; 3] {
    [
        ("errors", summary.error, Unit::Count("error", "errors")),
        ("warnings", summary.warning, Unit::Count("warning", "warnings")),
        ("notes", summary.note, Unit::Count("note", "notes")),
    ]
    .map(|(name, value, unit)| Figure {
        name,
        value: value as f64,
        unit,
        words: ["fewer", "more"],
        better: Better::Less,
    })
}
