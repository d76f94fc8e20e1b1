//! What a round of `--watch` found that the round before did not, and what is gone. Knows two rounds, not what began the
//! second one.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet},
    fmt::Write as _,
    io::{self, Write},
};

use super::{
    super::{
        PlanOutcome, PlanReport, ReviewedPlan, RunReport,
        sentences::{count, gone_words, one_line, place_words},
    },
    plan_lines::heading,
    style::TextStyle,
    underline::{Paint, shade, sign, without_blanks_at_ends, wrapped},
    write_counts,
};
use crate::{
    finding::Finding,
    known::KnownFinding,
    source::{Span, readable},
};

/// The most findings of a plan that are listed one by one.
const MOST_LISTED: usize = 8;

/// What was found a round before, by the path of each plan and its temperature as text.
#[derive(Debug, Default)]
pub struct Earlier {
    plans: BTreeMap<(String, String), Vec<KnownFinding>>,
}

impl Earlier {
    /// What is to be remembered of a round. Of a plan that could not be read, what was known before stays.
    pub fn of(report: &RunReport, before: Self) -> Self {
        let mut before = before.plans;
        let remembered = |plan: &PlanReport| {
            let key = key(plan);
            let kept = before.remove(&key);
            let found = match &plan.outcome {
                PlanOutcome::Reviewed(plan) => {
                    Some(plan.findings.iter().filter(|finding| finding.is_open()).map(KnownFinding::of).collect())
                }
                PlanOutcome::Refused(_) => kept,
            };
            Some((key, found?))
        };
        Self { plans: report.plans.iter().filter_map(remembered).collect() }
    }
}

fn key(plan: &PlanReport) -> (String, String) {
    (plan.path.clone(), plan.temperature_c.map_or(String::new(), |celsius| celsius.to_string()))
}

/// Writes what is new and what is gone in some plans since an earlier round, and how much there is now in all plans.
///
/// # Errors
/// Where the writer fails.
pub fn write_since(
    report: &RunReport,
    earlier: &Earlier,
    is_shown: &dyn Fn(usize) -> bool,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    for (_, of) in report.plans.iter().enumerate().filter(|(at, _)| is_shown(*at)) {
        let Some(plan) = of.reviewed() else { continue };
        let known = earlier.plans.get(&key(of)).map_or(&[][..], Vec::as_slice);
        let text = changes(of, plan, known, style);
        out.write_all(without_blanks_at_ends(&text).as_bytes())?;
    }
    write_counts(report, out)
}

fn changes(of: &PlanReport, plan: &ReviewedPlan, known: &[KnownFinding], style: TextStyle) -> String {
    let new = new_findings(plan, known);
    let found: BTreeSet<&str> = plan.findings.iter().map(|finding| finding.fingerprint.as_str()).collect();
    let gone: Vec<&KnownFinding> = known.iter().filter(|known| !found.contains(known.fingerprint.as_str())).collect();
    let open = plan.findings.iter().filter(|finding| finding.is_open()).count();
    let mut text = format!("{}: {}\n", heading(of, plan), in_short(new.len(), gone.len(), open));
    // What follows from something new is counted, not listed.
    let follows = |finding: &Finding| new.iter().any(|(other, _)| finding.cause.as_ref() == Some(&other.fingerprint));
    let (following, causes): (Vec<_>, Vec<_>) = new.iter().partition(|(finding, _)| follows(finding));
    for (finding, place) in causes.iter().take(MOST_LISTED) {
        text.push_str(&new_words(plan, finding, *place, style));
    }
    let more = causes.len().saturating_sub(MOST_LISTED) + following.len();
    if more > 0 {
        let _ = writeln!(text, "  and {}", count(more as u64, "more that is new", "more that are new"));
    }
    for gone in gone.iter().take(MOST_LISTED) {
        text.push_str(&line(&format!("gone: {}", gone_words(gone)), style, "  ", "        "));
    }
    if let Some(more @ 1..) = gone.len().checked_sub(MOST_LISTED) {
        let _ = writeln!(text, "  and {}", count(more as u64, "more that is gone", "more that are gone"));
    }
    text.push('\n');
    text
}

/// The findings that are new, or worse than they were, with their places: the worst first.
fn new_findings<'p>(plan: &'p ReviewedPlan, known: &[KnownFinding]) -> Vec<(&'p Finding, Span)> {
    let levels: BTreeMap<&str, _> = known.iter().map(|known| (known.fingerprint.as_str(), known.level)).collect();
    let is_new = |finding: &Finding| {
        finding.is_open() && levels.get(finding.fingerprint.as_str()).is_none_or(|level| finding.severity > *level)
    };
    let all = plan.findings.iter().zip(plan.places.iter().copied());
    let mut new: Vec<(&Finding, Span)> = all.filter(|(finding, _)| is_new(finding)).collect();
    new.sort_by_key(|(finding, _)| Reverse(finding.severity));
    new
}

fn in_short(new: usize, gone: usize, open: usize) -> String {
    let as_before = open - new;
    let rest = match as_before {
        0 => String::new(),
        _ => format!(", {as_before} as before"),
    };
    match (new, gone) {
        (0, 0) if open == 0 => "nothing found, as before".to_owned(),
        (0, 0) => format!("nothing new and nothing gone{rest}"),
        (new, 0) => format!("{new} new{rest}"),
        (0, gone) => format!("{gone} gone{rest}"),
        (new, gone) => format!("{new} new, {gone} gone{rest}"),
    }
}

/// A new finding: what, where, and what to do.
fn new_words(plan: &ReviewedPlan, finding: &Finding, place: Span, style: TextStyle) -> String {
    let (mark, paint) = (sign(shade(finding.severity)), Paint::new(style.colour));
    let number = plan.source.line_column(place.start).line;
    let at = if finding.is_of_a_step() { format!(" at {}", place_words(finding)) } else { String::new() };
    let words = format!(
        "new: {} ({}){at}, line {number}: {}",
        finding.rule,
        finding.severity.word(),
        one_line(&finding.message)
    );
    let mut text = line(&words, style, &format!("  {} ", paint.level(mark, mark.sign())), "    ");
    if !finding.help.is_empty() {
        let first = format!("    {} ", paint.name("help:"));
        text.push_str(&line(&one_line(&finding.help), style, &first, "          "));
    }
    text
}

fn line(words: &str, style: TextStyle, first: &str, others: &str) -> String {
    format!("{}\n", wrapped(&readable(words), style.width, first, others))
}
