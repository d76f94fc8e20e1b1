//! The plans of a run and their verdicts, as a table for a terminal.

use std::io::{self, Write};

use unicode_width::UnicodeWidthStr;

use super::super::{
    PlanOutcome, PlanReport, RunReport,
    how_sure::{marks, marks_words},
    sentences::at_temperature,
};
use super::{plan_lines::verdict_word, underline::wrapped};

/// Of more plans than that, those in which nothing was found are only counted.
const MOST_ROWS: usize = 40;

const HEAD: [&str; COLUMNS] =
    ["plan", "verdict", "errors", "warnings", "notes", "visible ghost", "slowest first change"];
const COLUMNS: usize = 7;

pub(super) fn write(
    report: &RunReport,
    shown: &[&PlanReport],
    terminal_width: usize,
    out: &mut dyn Write,
) -> io::Result<()> {
    let (listed, left_out): (Vec<&PlanReport>, Vec<&PlanReport>) =
        shown.iter().partition(|plan| shown.len() <= MOST_ROWS || !is_silent(plan));
    let rows: Vec<[String; COLUMNS]> = listed.iter().map(|plan| row(report, plan)).collect();
    let head = HEAD.map(str::to_owned);
    let width = |column: usize| rows.iter().chain([&head]).map(|row| row[column].width()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..COLUMNS).map(width).collect();
    for row in [&head].into_iter().chain(&rows) {
        writeln!(out, "{}", line(row, &widths).trim_end())?;
    }
    if !left_out.is_empty() {
        writeln!(out, "and {} plans in which nothing was found", left_out.len())?;
    }
    writeln!(out)?;
    let shown = listed.iter().filter_map(|plan| plan.reviewed()).flat_map(|plan| {
        let [of_ghost, of_answer, _] = marks(&plan.summary);
        [of_ghost, of_answer]
    });
    if let Some(words) = marks_words(shown) {
        writeln!(out, "{}\n", wrapped(&words, terminal_width, "", ""))?;
    }
    Ok(())
}

fn is_silent(plan: &PlanReport) -> bool {
    plan.reviewed().is_some_and(|plan| plan.findings.is_empty())
}

/// Words stand at the left of their column, figures at the right.
fn line(row: &[String; COLUMNS], widths: &[usize]) -> String {
    let cell = |(column, (text, width)): (usize, (&String, &usize))| {
        let blanks = " ".repeat(width - text.width());
        if column < 2 { format!("{text}{blanks}") } else { format!("{blanks}{text}") }
    };
    row.iter().zip(widths).enumerate().map(cell).collect::<Vec<_>>().join("  ")
}

fn row(report: &RunReport, of: &PlanReport) -> [String; COLUMNS] {
    let name = format!("{}{}", of.path, at_temperature(of.temperature_c));
    let PlanOutcome::Reviewed(plan) = &of.outcome else {
        return [name, "not read".into(), String::new(), String::new(), String::new(), String::new(), String::new()];
    };
    let summary = &plan.summary;
    let [of_ghost, of_answer, _] = marks(summary);
    let figure = |value: f64, digits: usize, unit: &str, mark: &str| {
        if value > 0.0 { format!("{value:.digits$} {unit}{mark}") } else { "none".into() }
    };
    [
        name,
        verdict_word(report, plan).unwrap_or("reviewed").into(),
        summary.error.to_string(),
        summary.warning.to_string(),
        summary.note.to_string(),
        figure(summary.worst_residue_l, 2, "L*", &of_ghost),
        figure(summary.longest_answer_ms, 0, "ms", &of_answer),
    ]
}
