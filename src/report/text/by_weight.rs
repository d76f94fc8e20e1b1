//! The causes of a plan's findings, the worst first, each with its first place; of several plans the worst causes of each.
//!
//! Knows how much a reader takes in at once; what a cause is and what weighs more is decided in `reading_order`.

use std::{
    collections::BTreeSet,
    io::{self, Write},
};

use super::{
    super::{
        PlanReport, ReviewedPlan, RunReport,
        how_sure::estimate_words,
        reading_order::{Cause, causes_by_weight},
        sentences::{count, one_line, place_words, walk_words},
    },
    marked::{Excerpt, Marked},
    plan_lines::{heading, verdict, write_each, write_figures, write_heading},
    plans_table,
    style::TextStyle,
    underline::{self, Paint, shade, without_blanks_at_ends},
};
use crate::{
    finding::{Asks, Finding, Severity},
    rules::{INDICATOR_CAUTION, cautions_of, wording},
    source::readable,
};

/// The most causes that are shown of each of several plans, and about as many as are shown of all together.
const MOST_OF_ONE: usize = 3;
const MOST_OF_ALL: usize = 24;
/// If more plans than this have findings, only those with an error are shown, without what to do; the table has them all.
const MOST_WITHOUT_ERRORS: usize = 16;
/// The most further places of a cause that are named.
const MOST_PLACES: usize = 3;

/// Writes one plan with all its causes, or several with the worst causes of each and a table of them.
pub(super) fn write(
    report: &RunReport,
    shown: &[&PlanReport],
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    let paths: BTreeSet<&str> = shown.iter().map(|plan| plan.path.as_str()).collect();
    if paths.len() > 1 {
        return write_several(report, shown, style, out);
    }
    write_each(shown, out, |of, plan, out| write_one(report, of, plan, style, out))
}

fn write_one(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    let causes = causes_by_weight(plan);
    write_heading(report, of, plan, &causes_words(plan, causes.len()), out)?;
    for cause in &causes {
        out.write_all(without_blanks_at_ends(&cause_text(plan, cause, style)).as_bytes())?;
        writeln!(out)?;
    }
    if let Some(words) = accept_words(plan, &causes) {
        writeln!(out, "{}\n", underline::wrapped(&words, style.width, "  ", "    "))?;
    }
    write_figures(plan, style.width, out)
}

/// How a finding is accepted, where a help advises that.
fn accept_words(plan: &ReviewedPlan, causes: &[Cause<'_>]) -> Option<String> {
    let finding = causes.iter().map(|cause| cause.finding).find(|finding| finding.help.contains("accept"))?;
    let rule = finding.rule;
    let place = match (&plan.flow, &finding.label) {
        (Some(_), _) => "\"moves\": [\"LABEL\", ...]".to_owned(),
        (None, _) if !finding.is_of_a_step() => String::new(),
        (None, Some(label)) => format!("\"steps\": [{}]", serde_json::Value::from(label.as_str())),
        (None, None) => format!("\"steps\": [{}]", finding.step),
    };
    let place = if place.is_empty() { place } else { format!("{place}, ") };
    Some(readable(&format!(
        "to accept a finding, add an entry to \"accept\" in the file, such as {{ \"rule\": \"{rule}\", {place}\"because\": \
         \"...\" }}"
    )))
}

/// From how many causes the findings come, where those are fewer.
fn causes_words(plan: &ReviewedPlan, causes: usize) -> String {
    let open = plan.findings.iter().filter(|finding| finding.is_open()).count();
    if causes == 0 || causes == open {
        return String::new();
    }
    if causes == 1 {
        "; they have one cause".to_owned()
    } else {
        format!("; here are their {causes} causes, the worst first")
    }
}

/// A cause with the place in the plan where it begins.
fn cause_text(plan: &ReviewedPlan, cause: &Cause<'_>, style: TextStyle) -> String {
    let finding = cause.finding;
    let (mark, paint) = (underline::sign(shade(finding.severity)), Paint::new(style.colour));
    let heading = paint.level(mark, &format!("{} {}", mark.sign(), title(cause)));
    let paragraph = |name: &str, words: &str| {
        let (first, others) = match name.len() {
            0 => ("  ".to_owned(), 2),
            length => (format!("  {} ", paint.name(name)), length + 3),
        };
        format!("{}\n", underline::wrapped(words, style.width, &first, &" ".repeat(others)))
    };
    let message = paragraph("", &readable(&one_line(&finding.message)));
    let help = (!finding.help.is_empty()).then(|| readable(&one_line(&finding.help)));
    let walk = walk_words(finding).map(|words| readable(&words));
    let more = [("walk:", walk), ("help:", help), ("", estimate_words(finding))];
    let also = other_places(cause).into_iter().map(|words| ("also at", Some(words)));
    let more = more.into_iter().chain(also).chain([("leads to", following_rules(&cause.following))]);
    let more: String = more.filter_map(|(name, words)| Some(paragraph(name, &words?))).collect();
    format!("{heading}\n{message}{}{more}", underline::line_of_place(&marked(plan, cause), style.colour))
}

/// The place of a cause in the plan's text, and nothing else of it.
fn marked(plan: &ReviewedPlan, cause: &Cause<'_>) -> Marked {
    let rect = cause.finding.rect;
    Marked {
        message: String::new(),
        code: String::new(),
        shade: shade(cause.finding.severity),
        help: None,
        excerpt: Some(Excerpt::new(&plan.source, cause.place)),
        label: rect.map_or(String::new(), |rect| format!("at {:?} on the screen", rect.to_array())),
    }
}

/// The rule, how often, and where first.
fn title(cause: &Cause<'_>) -> String {
    let finding = cause.finding;
    let name = format!("{} ({})", finding.rule, finding.severity.word());
    let place = readable(&place_words(finding));
    match cause.how_often() {
        _ if !finding.is_of_a_step() && cause.others.is_empty() => name,
        None => format!("{name} at {place}"),
        Some(often) => format!("{name}, {often}, {} {place}", cause.at()),
    }
}

/// Where else the same was found: each place that needs a help of its own apart, the others together.
fn other_places(cause: &Cause<'_>) -> Vec<String> {
    let mut places: Vec<Place> = Vec::new();
    for finding in &cause.others {
        let name = readable(&place_words(finding));
        let help = there_words(finding, cause.finding).map(|there| readable(&there));
        let known = places.iter_mut().find(|place| place.name == name);
        match known {
            Some(place) => {
                place.findings += 1;
                place.helps.extend(help.filter(|help| !place.helps.contains(help)));
            }
            None => places.push(Place { name, findings: 1, helps: help.into_iter().collect() }),
        }
    }
    let rest = places.split_off(places.len().min(MOST_PLACES)).len() as u64;
    let (with_help, others): (Vec<Place>, Vec<Place>) = places.into_iter().partition(|place| !place.helps.is_empty());
    let with_help = with_help.iter().map(|place| format!("{}: {}", place.words(), place.helps.join("; and ")));
    let mut together: Vec<String> = others.iter().map(Place::words).collect();
    if rest > 0 {
        together.push(count(rest, "more place", "more places"));
    }
    let together = (!together.is_empty()).then(|| wording::listed(&together, usize::MAX));
    with_help.chain(together).collect()
}

/// A place where the same was found, perhaps by several findings.
struct Place {
    name: String,
    findings: u64,
    /// What to do there, in a few words each.
    helps: Vec<String>,
}

impl Place {
    fn words(&self) -> String {
        match self.findings {
            1 => self.name.clone(),
            findings => format!("{} ({findings} findings)", self.name),
        }
    }
}

/// What to do at another place of a cause, in a few words, where that is not what its help says already.
fn there_words(other: &Finding, first: &Finding) -> Option<String> {
    let words = in_short(other).filter(|words| !words.is_empty())?;
    match first.help.contains(&words) {
        // What is right for two places at once is said of a box.
        true if words.contains('[') && other.rect != first.rect => {
            Some("the help above covers this place too".to_owned())
        }
        true => None,
        false => Some(words),
    }
}

/// What to do about something that follows, in a few words, where its cause does not take it away by itself.
fn following_words(finding: &Finding) -> Option<String> {
    let later = |asks: &Asks| matches!(asks, Asks::Later(_)).then(|| asks.in_short());
    finding.in_short.clone().or_else(|| finding.asks.as_ref().and_then(later)).filter(|words| !words.is_empty())
}

fn in_short(finding: &Finding) -> Option<String> {
    finding.in_short.clone().or_else(|| finding.asks.as_ref().map(Asks::in_short))
}

/// What follows by other rules: each once, with its first place and how many there are besides.
fn following_rules(following: &[&Finding]) -> Option<String> {
    let mut rules: Vec<&Finding> = Vec::new();
    for finding in following {
        if rules.iter().all(|other| other.rule != finding.rule) {
            rules.push(finding);
        }
    }
    let words = |finding: &&Finding| {
        let there = following_words(finding).map_or(String::new(), |words| format!(": {}", readable(&words)));
        let estimate = if estimate_words(finding).is_some() { ", based on an estimate" } else { "" };
        let level = finding.severity.word();
        let besides = following.iter().filter(|other| other.rule == finding.rule).count() as u64 - 1;
        let besides =
            if besides > 0 { format!(" and {}", count(besides, "more place", "more places")) } else { String::new() };
        format!("{} ({level}{estimate}) at {}{besides}{there}", finding.rule, readable(&place_words(finding)))
    };
    listed(&rules.iter().map(words).collect::<Vec<_>>(), "; ")
}

/// The first of some words, and how many there are besides.
fn listed(words: &[String], between: &str) -> Option<String> {
    let (named, rest) = words.split_at(words.len().min(MOST_PLACES));
    let rest = match rest.len() {
        0 => String::new(),
        rest => format!("{between}and {rest} more"),
    };
    (!named.is_empty()).then(|| format!("{}{rest}", named.join(between)))
}

fn write_several(report: &RunReport, shown: &[&PlanReport], style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    let with_findings = shown.iter().filter(|of| has_open_findings(of)).count();
    let room = Room {
        most: (MOST_OF_ALL / with_findings.max(1)).clamp(1, MOST_OF_ONE),
        is_for_errors: with_findings > MOST_WITHOUT_ERRORS,
    };
    let mut left_out = 0;
    write_each(shown, out, |of, plan, out| {
        left_out += write_worst(report, of, plan, room, style, out)?;
        Ok(())
    })?;
    let reviewed = || shown.iter().filter_map(|of| of.reviewed());
    let mut cautions = cautions_of(reviewed().flat_map(|plan| plan.findings.iter().map(|finding| finding.rule)));
    cautions.extend(reviewed().any(|plan| plan.is_indicator).then_some(INDICATOR_CAUTION));
    for caution in &cautions {
        writeln!(out, "{}", underline::wrapped(&format!("caution: {caution}"), style.width, "", "  "))?;
    }
    if left_out > 0 {
        writeln!(out, "Review one plan alone to see all its causes, or all plans with --full.")?;
    }
    if !cautions.is_empty() || left_out > 0 {
        writeln!(out)?;
    }
    plans_table::write(report, shown, style.width, out)
}

/// How much of each of several plans is shown.
#[derive(Clone, Copy)]
struct Room {
    /// The most causes.
    most: usize,
    /// Whether plans without an error are left out.
    is_for_errors: bool,
}

fn has_open_findings(of: &PlanReport) -> bool {
    of.reviewed().is_some_and(|plan| plan.findings.iter().any(Finding::is_open))
}

/// The worst causes of one of several plans, and how many were left out; nothing of a plan in which nothing is new.
fn write_worst(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    room: Room,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<usize> {
    let Room { most, is_for_errors } = room;
    let causes = causes_by_weight(plan);
    if causes.is_empty() {
        return Ok(0);
    }
    if is_for_errors && causes.iter().all(|cause| cause.finding.severity != Severity::Error) {
        return Ok(causes.len());
    }
    writeln!(out, "{}: {}", heading(of, plan), verdict(report, plan))?;
    // Where there are many plans, only the worst cause of each is shown, and further ones that are errors.
    let matters = |(at, cause): &(usize, &Cause<'_>)| {
        *at == 0 || most == MOST_OF_ONE || cause.finding.severity == Severity::Error
    };
    let shown = || causes.iter().take(most).enumerate().filter(matters);
    for (_, cause) in shown() {
        out.write_all(without_blanks_at_ends(&short_cause(plan, cause, is_for_errors, style)).as_bytes())?;
    }
    let left_out = causes.len() - shown().count();
    if left_out > 0 {
        writeln!(out, "  and {}", count(left_out as u64, "more cause", "more causes"))?;
    }
    writeln!(out)?;
    Ok(left_out)
}

/// What, where, what to do, and how sure it is; those last only where there is room for them.
fn short_cause(plan: &ReviewedPlan, cause: &Cause<'_>, is_brief: bool, style: TextStyle) -> String {
    let finding = cause.finding;
    let (mark, paint) = (underline::sign(shade(finding.severity)), Paint::new(style.colour));
    let line = plan.source.line_column(cause.place.start).line;
    let words = readable(&one_line(&format!("{}, line {line}: {}", title(cause), finding.message)));
    let first = format!("  {} ", paint.level(mark, mark.sign()));
    let mut text = underline::wrapped(&words, style.width, &first, "    ");
    text.push('\n');
    if !finding.help.is_empty() && !is_brief {
        let first = format!("    {} ", paint.name("help:"));
        text.push_str(&underline::wrapped(&readable(&one_line(&finding.help)), style.width, &first, "          "));
        text.push('\n');
    }
    if let Some(words) = estimate_words(finding).filter(|_| !is_brief) {
        text.push_str(&underline::wrapped(&words, style.width, "    ", "    "));
        text.push('\n');
    }
    text
}
