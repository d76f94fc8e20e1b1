//! What is said of a plan as a whole: its verdict, its figures, what was there before, what was not checked.
//!
//! Knows nothing of single findings and how they are drawn.

use std::io::{self, Write};

use super::super::{
    Gate, PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    how_sure::{certainty_lines, estimate_note},
    sentences::{
        at_temperature, count, extent, gone_words, known_by_rule, mean_power, place_words, played_of_flow,
        slowest_first_change, verdict_lines,
    },
};
use super::underline::wrapped;
use crate::{
    finding::Summary,
    rules::{INDICATOR_CAUTION, cautions_of, wording::span},
    source::{Fault, readable},
};

/// The most known findings that are gone and reported one by one.
const MOST_GONE: usize = 10;

/// The plan's path and title, and the temperature if the command line gave one.
pub(super) fn heading(of: &PlanReport, plan: &ReviewedPlan) -> String {
    let title = if plan.title.is_empty() { String::new() } else { format!("  \"{}\"", readable(&plan.title)) };
    format!("{}{title}{}", of.path, at_temperature(of.temperature_c))
}

/// The first two lines of a plan: what it is, and its verdict, with `more` behind it.
pub(super) fn write_heading(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    more: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    writeln!(out, "{}", heading(of, plan))?;
    writeln!(out, "  {} on {}: {}{more}\n", extent(plan), plan.display, verdict(report, plan))
}

/// Whether a plan passes the gate, and what was found in it.
pub(super) fn verdict(report: &RunReport, plan: &ReviewedPlan) -> String {
    match verdict_word(report, plan) {
        None => findings_by_level(plan),
        Some(word) if plan.findings.is_empty() => format!("{word}, {}", findings_by_level(plan)),
        Some(word) => format!("{word} with {}", findings_by_level(plan)),
    }
}

/// Writes plans one after the other; those that could not be read are only named.
pub(super) fn write_each(
    shown: &[&PlanReport],
    out: &mut dyn Write,
    mut write: impl FnMut(&PlanReport, &ReviewedPlan, &mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    for of in shown {
        match &of.outcome {
            PlanOutcome::Reviewed(plan) => write(of, plan, out)?,
            PlanOutcome::Refused(faults) => write_refused(of, faults, out)?,
        }
    }
    Ok(())
}

/// A plan that could not be read; its faults stand elsewhere.
fn write_refused(report: &PlanReport, faults: &[Fault], out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{}  not reviewed: {}\n", report.path, count(faults.len() as u64, "fault", "faults"))
}

/// What stands behind the findings of one plan: what somebody accepted, what was there before, its figures, how near they came to the limits, the
/// cautions, and what was not checked.
pub(super) fn write_figures(plan: &ReviewedPlan, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let accepted = plan.findings.iter().filter_map(|finding| {
        let because = finding.accepted.as_ref()?;
        let place = place_words(finding);
        Some(format!("accepted: {} at {}, because {}", finding.rule, readable(&place), readable(because)))
    });
    write_lines(accepted, width, out)?;
    write_known(plan, width, out)?;
    let as_planned =
        plan.summary.as_planned.map(|[done, of]| format!("{done} of {} as planned", count(of, "step", "steps")));
    write_lines(as_planned, width, out)?;
    write_lines(verdict_lines(plan), width, out)?;
    let played = played_of_flow(plan);
    write_lines(played.or_else(|| figures(&plan.summary)), width, out)?;
    write_lines(certainty_lines(&plan.summary), width, out)?;
    let mut cautions = cautions_of(plan.findings.iter().map(|finding| finding.rule));
    cautions.extend(plan.is_indicator.then_some(INDICATOR_CAUTION));
    write_lines(cautions.iter().map(|caution| format!("caution: {caution}")), width, out)?;
    write_lines(plan.summary.not_checked.iter().map(|text| format!("not checked: {text}")), width, out)
}

/// Lines that stand together, and an empty one behind them.
fn write_lines(lines: impl IntoIterator<Item = String>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let mut lines = lines.into_iter().peekable();
    if lines.peek().is_none() {
        return Ok(());
    }
    for line in lines {
        writeln!(out, "{}", wrapped(&line, width, "  ", "    "))?;
    }
    writeln!(out)
}

/// What was there before, by rule, and what is no longer.
fn write_known(plan: &ReviewedPlan, width: usize, out: &mut dyn Write) -> io::Result<()> {
    write_lines(known_by_rule(plan).map(|words| format!("known: {words}")), width, out)?;
    let more = plan.gone.len().saturating_sub(MOST_GONE);
    let gone = plan.gone.iter().take(MOST_GONE).map(|gone| format!("gone: {}", gone_words(gone)));
    write_lines(gone.chain((more > 0).then(|| format!("gone: {more} more"))), width, out)
}

/// The figures of a plan in a line.
fn figures(summary: &Summary) -> Option<String> {
    let mut parts = vec![
        count(summary.cleanings, "cleaning", "cleanings"),
        count(summary.flashing_updates, "flashing update", "flashing updates"),
        format!("panel driven for {} of {}", span(1000.0 * summary.driving_seconds), span(1000.0 * summary.seconds)),
    ];
    if summary.longest_answer_ms > 0.0 {
        parts.push(slowest_first_change(summary));
    }
    if summary.worst_residue_l > 0.0 {
        parts.push(format!("strongest ghost in any single pixel {:.2} L*", summary.worst_residue_l));
    }
    if summary.energy_mj > 0.0 {
        parts.push(format!("{:.1} mJ for updates", summary.energy_mj));
    }
    if let Some(power) = summary.power {
        parts.push(format!("{} on average with standby", mean_power(power.mean_mw)));
        parts.extend(power.days.map(|days| format!("{days:.0} days per charge")));
    }
    let energy = if summary.energy_mj > 0.0 { estimate_note(summary.certainty.energy) } else { String::new() };
    (summary.seconds > 0.0).then(|| format!("{}{energy}", parts.join("; ")))
}

/// Whether a plan passes the gate; nothing where there is none.
pub(super) fn verdict_word(report: &RunReport, plan: &ReviewedPlan) -> Option<&'static str> {
    let fails = plan.findings.iter().any(|finding| report.gate.stops(finding));
    (report.gate != Gate::Never).then_some(if fails { "fails" } else { "passes" })
}

/// What was found, by level.
fn findings_by_level(plan: &ReviewedPlan) -> String {
    let summary = &plan.summary;
    let counts = [
        (summary.error, "error", "errors"),
        (summary.warning, "warning", "warnings"),
        (summary.note, "note", "notes"),
        (summary.accepted, "accepted", "accepted"),
    ];
    let parts: Vec<String> = counts
        .iter()
        .filter(|(number, _, _)| *number > 0)
        .map(|(number, one, many)| count(*number, one, many))
        .collect();
    if parts.is_empty() {
        return "nothing found".into();
    }
    let known = match plan.known() {
        0 => String::new(),
        _ if plan.findings.iter().all(|finding| !finding.is_open()) => "; nothing new".to_owned(),
        known => format!("; {known} of them known"),
    };
    format!("{}{known}", parts.join(", "))
}
