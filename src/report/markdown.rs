//! The review as Markdown, short enough for a comment on a merge request: a table of the plans, the worst findings, the
//! rest as counts.
//!
//! Whatever somebody wrote into a file is escaped: it makes no markup here.

use std::{
    cmp::Reverse,
    collections::BTreeMap,
    fmt::Write as _,
    io::{self, Write},
};

use super::{
    Gate, PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    how_sure::{estimate_words, margin_lines, marks, marks_words},
    paths,
    reading_order::{Cause, causes_by_weight},
    sentences::{
        PREDICTIONS, at_temperature, count, following_words, one_line, pieces, place_words, sentence, severities,
        stopped, walk_words,
    },
};
use crate::{
    finding::{Finding, Severity, Summary},
    rules::cautions_of,
    source::Fault,
};

/// The most plans that stand in the table.
const MOST_PLANS: usize = 15;
/// The most causes that are shown.
const MOST_CAUSES: usize = 5;
/// The most faults that are shown.
const MOST_FAULTS: usize = 5;
/// The most findings that are shown with the cause that they follow from.
const MOST_FOLLOWING: usize = 3;
/// The most margins that are shown.
const MOST_MARGINS: usize = 4;

/// Writes the report. Links to pictures begin at `folder`, that of the file that is written.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, folder: &str, out: &mut dyn Write) -> io::Result<()> {
    let parts = [
        heading(report),
        totals(report),
        table(report),
        margins(report),
        faults(report),
        worst_causes(report, folder),
        cautions(report),
        not_checked(report),
        format!("{PREDICTIONS}\n"),
    ];
    let written: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    out.write_all(written.join("\n").as_bytes())
}

/// A cause, and the plan that it was found in.
struct Shown<'a> {
    of: &'a PlanReport,
    plan: &'a ReviewedPlan,
    cause: Cause<'a>,
}

fn heading(report: &RunReport) -> String {
    let stopped = report.reviewed().filter(|plan| is_stopped(report, plan)).count();
    let passed = report.reviewed().count() - stopped;
    let unread = report.plans.len() - stopped - passed + report.faults.len();
    let passing = if report.gate == Gate::Never { ["reviewed"; 2] } else { ["passes", "pass"] };
    let counts = [(stopped, "fails", "fail"), (passed, passing[0], passing[1]), (unread, "not read", "not read")];
    let found = counts.iter().filter(|(number, _, _)| *number > 0);
    let words: Vec<String> = found.map(|(number, one, many)| count(*number as u64, one, many)).collect();
    format!("## Refresh plans: {}\n", words.join(", "))
}

fn totals(report: &RunReport) -> String {
    let sum = |figure: fn(&Summary) -> u64| report.reviewed().map(|plan| figure(&plan.summary)).sum::<u64>();
    let accepted = sum(|summary| summary.accepted);
    let found = severities([sum(|summary| summary.error), sum(|summary| summary.warning), sum(|summary| summary.note)]);
    let found = if found.is_empty() { "Nothing found".to_owned() } else { found };
    let accepted = match accepted {
        0 => String::new(),
        _ => format!("; {} accepted in the plans", count(accepted, "finding", "findings")),
    };
    format!("{found}{accepted}{}.\n", known_words(report))
}

/// How many findings were there before, and how many of those are gone.
fn known_words(report: &RunReport) -> String {
    if report.known.is_none() {
        return String::new();
    }
    let known = report.reviewed().map(ReviewedPlan::known).sum::<u64>();
    let gone = match report.gone() {
        0 => String::new(),
        gone => format!("; {}", count(gone, "known finding is gone", "known findings are gone")),
    };
    let found = report.reviewed().any(|plan| !plan.findings.is_empty());
    let known = match known {
        0 if found => "; all new".to_owned(),
        0 => String::new(),
        known => format!("; {known} of them known"),
    };
    format!("{known}{gone}")
}

fn is_stopped(report: &RunReport, plan: &ReviewedPlan) -> bool {
    plan.findings.iter().any(|finding| report.gate.stops(finding))
}

/// The plans, the worst first: whoever reads a few lines has read those that matter.
fn table(report: &RunReport) -> String {
    let mut plans: Vec<&PlanReport> = report.plans.iter().collect();
    if plans.is_empty() {
        return String::new();
    }
    plans.sort_by_key(|of| match &of.outcome {
        PlanOutcome::Refused(_) => (0, Reverse((0, 0, 0))),
        PlanOutcome::Reviewed(plan) => {
            let summary = &plan.summary;
            (1, Reverse((summary.error, summary.warning, summary.note)))
        }
    });
    let mut text = "\
| plan | verdict | errors | warnings | notes | flashing updates | strongest ghost, L\\* | slowest first change, ms | energy, mJ |
| :-- | :-- | --: | --: | --: | --: | --: | --: | --: |
"
    .to_owned();
    for of in plans.iter().take(MOST_PLANS) {
        text.push_str(&row(report, of));
    }
    if let Some(more) = plans.len().checked_sub(MOST_PLANS + 1) {
        let _ = write!(text, "\nAnd {} with no more than these.\n", count(more as u64 + 1, "plan", "plans"));
    }
    let listed = plans.iter().take(MOST_PLANS).filter_map(|of| of.reviewed());
    if let Some(words) = marks_words(listed.flat_map(|plan| marks(&plan.summary))) {
        let _ = write!(text, "\n{words}\n");
    }
    text
}

fn row(report: &RunReport, of: &PlanReport) -> String {
    let path = paths::from_folder(&of.path, &report.working_folder);
    let name = format!("{}{}", escaped(&path), at_temperature(of.temperature_c));
    let PlanOutcome::Reviewed(plan) = &of.outcome else {
        return format!("| {name} | **not read** | | | | | | | |\n");
    };
    let summary = &plan.summary;
    let verdict = match (report.gate, is_stopped(report, plan)) {
        (Gate::Never, _) => "reviewed",
        (_, true) => "**fails**",
        (_, false) => "passes",
    };
    let accepted = if summary.accepted > 0 { format!(", {} accepted", summary.accepted) } else { String::new() };
    let figure = |value: f64, digits: usize| if value > 0.0 { format!("{value:.digits$}") } else { "–".to_owned() };
    let [of_ghost, of_answer, of_energy] = marks(summary);
    format!(
        "| {name} | {verdict}{accepted} | {} | {} | {} | {} | {}{of_ghost} | {}{of_answer} | {}{of_energy} |\n",
        summary.error,
        summary.warning,
        summary.note,
        summary.flashing_updates,
        figure(summary.worst_residue_l, 2),
        figure(summary.longest_answer_ms, 0),
        figure(summary.energy_mj, 1),
    )
}

/// How near the plans came to the limits that rest on estimated figures, where a display says how sure those are.
fn margins(report: &RunReport) -> String {
    let mut lines = Vec::new();
    for of in &report.plans {
        let Some(plan) = of.reviewed() else { continue };
        let path = paths::from_folder(&of.path, &report.working_folder);
        let name = format!("{}{}", escaped(&path), at_temperature(of.temperature_c));
        let ranked = margin_lines(&plan.summary).into_iter().enumerate();
        lines.extend(ranked.map(|(rank, line)| (rank, format!("- {name}: {}\n", prose(&line)))));
    }
    // The worst of every plan stands before any plan's second.
    lines.sort_by_key(|(rank, _)| *rank);
    let more = lines.len().saturating_sub(MOST_MARGINS) as u64;
    let mut text: String = lines.into_iter().take(MOST_MARGINS).map(|(_, line)| line).collect();
    if more > 0 {
        let _ = write!(text, "\nAnd {}: the text report has them.\n", count(more, "more such line", "more such lines"));
    }
    text
}

fn faults(report: &RunReport) -> String {
    let faults: Vec<&Fault> = report.all_faults().collect();
    if faults.is_empty() {
        return String::new();
    }
    let mut text = "### Could not be read\n\n".to_owned();
    for fault in faults.iter().take(MOST_FAULTS) {
        let line = fault.line_column().map_or(String::new(), |at| format!(", line {}", at.line));
        let help = fault.help.as_ref().filter(|help| !help.is_empty());
        let help = help.map_or(String::new(), |help| format!(" {}", prose(&sentence(&one_line(help)))));
        let path = escaped(&paths::from_folder(&fault.file, &report.working_folder));
        let message = paths::without_folder(&stopped(&one_line(&fault.message)), &report.working_folder);
        let _ = writeln!(text, "- {path}{line}: {}{help}", prose(&message));
    }
    if let Some(more) = faults.len().checked_sub(MOST_FAULTS + 1) {
        let _ = write!(text, "\nAnd {}.\n", count(more as u64 + 1, "more fault", "more faults"));
    }
    text
}

/// The worst causes, and the rest as a count of findings.
fn worst_causes(report: &RunReport, folder: &str) -> String {
    let causes = by_weight(report);
    if causes.is_empty() {
        return String::new();
    }
    let (worst, rest) = causes.split_at(causes.len().min(MOST_CAUSES));
    let findings = count(causes.iter().flat_map(|shown| shown.cause.findings()).count() as u64, "finding", "findings");
    let heading = match (worst.len(), rest.len()) {
        (1, 0) => format!("The cause of {findings}"),
        (shown, 0) => format!("The {shown} causes of {findings}, the worst first"),
        (shown, rest) => format!("The worst {shown} of {} causes ({findings})", shown + rest),
    };
    let mut text = format!("### {heading}\n\n");
    for (at, shown) in worst.iter().enumerate() {
        let _ = write!(text, "{}. {}", at + 1, cause_text(report, shown, folder));
    }
    if !rest.is_empty() {
        let left_out = |severity: Severity| {
            rest.iter().flat_map(|shown| shown.cause.findings()).filter(|finding| finding.severity == severity).count()
        };
        let counts = [Severity::Error, Severity::Warning, Severity::Note].map(|severity| left_out(severity) as u64);
        let more = count(rest.len() as u64, "more cause", "more causes");
        let _ = write!(text, "\nAnd {more} with {}.\n", severities(counts));
    }
    text
}

/// The causes of what is new and accepted by nobody, the worst first. Among those of a level the first of every plan stands before
/// any plan's second, so that one plan does not hide the others.
fn by_weight(report: &RunReport) -> Vec<Shown<'_>> {
    let mut found: Vec<((Reverse<Severity>, usize), Shown<'_>)> = Vec::new();
    for of in &report.plans {
        let Some(plan) = of.reviewed() else { continue };
        let mut before: BTreeMap<Severity, usize> = BTreeMap::new();
        for cause in causes_by_weight(plan) {
            let rank = before.entry(cause.finding.severity).or_default();
            found.push(((Reverse(cause.finding.severity), *rank), Shown { of, plan, cause }));
            *rank += 1;
        }
    }
    found.sort_by_key(|(weight, _)| *weight);
    found.into_iter().map(|(_, shown)| shown).collect()
}

fn cause_text(report: &RunReport, shown: &Shown<'_>, folder: &str) -> String {
    let Shown { of, plan, cause } = shown;
    let finding = cause.finding;
    let path = escaped(&paths::from_folder(&of.path, &report.working_folder));
    let line = plan.source.line_column(cause.place.start).line;
    let at = finding.rect.map_or(String::new(), |rect| format!(", at {}", escaped(&format!("{:?}", rect.to_array()))));
    let picture = plan.picture_of(finding).map_or(String::new(), |picture| {
        format!(" [Picture]({})", paths::link(picture, folder, &report.working_folder))
    });
    let step = if finding.is_of_a_step() { format!(", {}", escaped(&place_words(finding))) } else { String::new() };
    let times = cause.how_often().map_or(String::new(), |often| format!(", {often}, first"));
    let estimate = estimate_words(finding).map_or(String::new(), |words| format!(" {}", sentence(&words)));
    let walk = walk_words(finding).map_or(String::new(), |words| format!("\n   Walk: {}", prose(&stopped(&words))));
    let line_of = |finding: &&Finding| format!("   - {}\n", prose(&sentence(&following_words(finding))));
    let following: String = cause.following.iter().take(MOST_FOLLOWING).map(line_of).collect();
    let following = if following.is_empty() { following } else { format!("\n   From the same cause:\n{following}") };
    format!(
        "**{}** `{}`{times} in {path}{}, line {line}{step}{at}: {}{estimate}{walk}\n   What to do: {}{picture}\n{following}",
        finding.severity.word(),
        finding.rule,
        at_temperature(of.temperature_c),
        prose(&stopped(&one_line(&finding.message))),
        prose(&stopped(&one_line(&finding.help))),
    )
}

/// The cautions of everything that was found, shown or only counted.
fn cautions(report: &RunReport) -> String {
    let cautions = cautions_of(report.reviewed().flat_map(|plan| &plan.findings).map(|finding| finding.rule));
    let lines: Vec<String> =
        cautions.iter().map(|caution| format!("**Caution:** {}\n", prose(&stopped(caution)))).collect();
    lines.join("\n")
}

fn not_checked(report: &RunReport) -> String {
    let plans = report.reviewed().filter(|plan| !plan.summary.not_checked.is_empty()).count();
    if plans == 0 {
        return String::new();
    }
    format!(
        "Not everything was checked in {}: the text report says what, and why.\n",
        count(plans as u64, "plan", "plans")
    )
}

/// Words with names between backticks as code, and nothing else as markup.
fn prose(text: &str) -> String {
    let shown = |(is_code, piece): (bool, String)| if is_code { format!("`{piece}`") } else { escaped(&piece) };
    pieces(text).into_iter().map(shown).collect()
}

/// Words of which nothing is markup.
fn escaped(text: &str) -> String {
    let mut shown = String::new();
    for character in one_line(text).chars() {
        if "\\`*_{}[]<>|#~&!$".contains(character) {
            shown.push('\\');
        }
        shown.push(character);
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_between_backticks_are_code_and_nothing_else_is_markup() {
        for (text, shown) in [
            ("`a|b` <c>", "`a|b` \\<c\\>"),
            ("one ` alone", "one \\` alone"),
            ("`a` and ` one", "`a` and \\` one"),
            ("``a``", "\\`\\`a\\`\\`"),
            ("` `", "\\` \\`"),
            ("a\\`b`", "a\\\\`b`"),
            ("[a](b)\n# c", "\\[a\\](b) \\# c"),
        ] {
            assert_eq!(prose(text), shown, "{text}");
        }
    }
}
