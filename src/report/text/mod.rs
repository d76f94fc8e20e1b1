//! The report as text for people.
//!
//! Says what stands in it, in which of three forms: causes by weight, every place in the order of the steps, or a line for each
//! finding. How a place in a file is drawn is not known here.

mod by_step;
mod by_weight;
mod line_by_line;
mod marked;
mod plan_lines;
mod plans_table;
mod since;
mod style;
mod underline;

use std::{
    fmt::Write as _,
    io::{self, Write},
};

use miette::Severity as Shade;

use self::{
    marked::{Excerpt, Marked},
    underline::draw,
};
pub use self::{
    since::{Earlier, write_since},
    style::{Detail, TextStyle},
};
use super::{
    PlanReport, ReviewedPlan, RunReport,
    sentences::{PREDICTIONS, at_temperatures, count, extent_of_run},
};
use crate::source::Fault;

/// Writes the findings of a run.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    write_some(report, &|_| true, style, out)
}

/// Writes the findings of some plans of a run, and the figures of all.
///
/// # Errors
/// Where the writer fails.
pub fn write_some(
    report: &RunReport,
    is_shown: &dyn Fn(usize) -> bool,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    let shown: Vec<&PlanReport> =
        report.plans.iter().enumerate().filter(|(at, _)| is_shown(*at)).map(|(_, plan)| plan).collect();
    match style.detail {
        Detail::Causes => by_weight::write(report, &shown, style, out)?,
        Detail::Full => by_step::write(report, &shown, style, out)?,
        Detail::Brief => return line_by_line::write(&shown, out),
    }
    write_total(report, out)
}

fn write_total(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    write_counts(report, out)?;
    if report.gone() > 0 {
        let gone = count(report.gone(), "known finding is gone", "known findings are gone");
        writeln!(out, "{gone}: remove them from the list with --write-known.")?;
    }
    writeln!(out, "{PREDICTIONS}")
}

/// How much there is in all plans together.
fn write_counts(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    let refused = report.plans.len() as u64 - report.reviewed().count() as u64;
    let sum = |figure: fn(&ReviewedPlan) -> u64| report.reviewed().map(figure).sum::<u64>();
    let mut line = format!(
        "{} reviewed{}: {}, {}, {}",
        extent_of_run(report),
        at_temperatures(report),
        count(sum(|plan| plan.summary.error), "error", "errors"),
        count(sum(|plan| plan.summary.warning), "warning", "warnings"),
        count(sum(|plan| plan.summary.note), "note", "notes"),
    );
    if refused > 0 {
        let _ = write!(line, "; {} could not be read", count(refused, "plan", "plans"));
    }
    let known = report.reviewed().map(ReviewedPlan::known).sum::<u64>();
    if known > 0 {
        let _ = write!(line, "; {known} of them known");
    }
    writeln!(out, "{line}.")
}

/// A fault as text.
pub fn fault_text(fault: &Fault, style: TextStyle) -> String {
    let (message, excerpt) = match &fault.place {
        Some((source, span)) => (fault.message.clone(), Some(Excerpt::new(source, *span))),
        None if fault.file.is_empty() => (fault.message.clone(), None),
        None => (format!("{}: {}", fault.file, fault.message), None),
    };
    let marked = Marked {
        message,
        code: "cannot be read".into(),
        shade: Shade::Error,
        help: fault.help.clone(),
        excerpt,
        label: String::new(),
    };
    draw(&marked, style)
}
