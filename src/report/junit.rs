//! Findings as JUnit XML, for the pages on which build servers show tests.
//!
//! A suite a plan, a case a rule: the same names in every run, so that such a page can tell what failed newly and since
//! when. A case a step would be a thousand of them for a long plan, under other names after every edit. Each suite has
//! one case more, that the plan can be read; without it a plan that broke would vanish from the page. There are no
//! times: nothing ran, and the same input gives the same bytes.

use std::{
    collections::BTreeMap,
    io::{self, Write},
};

use quick_xml::se::Serializer;
use serde::Serialize;

use super::{
    PlanOutcome, PlanReport, ReviewedPlan, RunReport, help_with_caution,
    how_sure::{certainty_lines, estimate_words},
    paths, rounded,
    sentences::{at_temperature, gone_words, headline, one_line, place_words, walk_words},
};
use crate::{
    finding::{Finding, OWN_FAULT},
    source::{Fault, Span, file_kinds::output_name},
};

/// The case that every suite begins with.
const READ: &str = "can-be-read";

#[derive(Serialize)]
#[serde(rename = "testsuites")]
struct Suites {
    #[serde(rename = "@name")]
    name: &'static str,
    #[serde(rename = "@tests")]
    tests: usize,
    #[serde(rename = "@failures")]
    failures: usize,
    #[serde(rename = "@errors")]
    errors: usize,
    #[serde(rename = "testsuite")]
    of_plans: Vec<Suite>,
}

#[derive(Serialize)]
struct Suite {
    #[serde(rename = "@name")]
    name: String,
    #[serde(rename = "@tests")]
    tests: usize,
    #[serde(rename = "@failures")]
    failures: usize,
    #[serde(rename = "@errors")]
    errors: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    properties: Option<Properties>,
    #[serde(rename = "testcase")]
    cases: Vec<Case>,
    #[serde(rename = "system-out", skip_serializing_if = "Option::is_none")]
    out: Option<String>,
}

#[derive(Serialize)]
struct Properties {
    property: Vec<Property>,
}

#[derive(Serialize)]
struct Property {
    #[serde(rename = "@name")]
    name: &'static str,
    #[serde(rename = "@value")]
    value: String,
}

#[derive(Serialize)]
struct Case {
    #[serde(rename = "@classname")]
    class: String,
    #[serde(rename = "@name")]
    name: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    failure: Option<Trouble>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<Trouble>,
    #[serde(rename = "system-out", skip_serializing_if = "Option::is_none")]
    out: Option<String>,
}

#[derive(Serialize)]
struct Trouble {
    #[serde(rename = "@type")]
    kind: &'static str,
    #[serde(rename = "@message")]
    message: String,
    #[serde(rename = "$text")]
    text: String,
}

/// Writes the report.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    let mut text = String::new();
    let mut serializer = Serializer::new(&mut text);
    serializer.indent(' ', 2);
    suites(report).serialize(serializer).map_err(io::Error::other)?;
    writeln!(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{text}")
}

fn suites(report: &RunReport) -> Suites {
    let mut suites: Vec<Suite> = report.plans.iter().map(|plan| of_plan(report, plan)).collect();
    suites.extend(report.faults.iter().map(|fault| unread(report, &fault.file, None, std::slice::from_ref(fault))));
    let sum = |figure: fn(&Suite) -> usize| suites.iter().map(figure).sum();
    Suites {
        name: env!("CARGO_PKG_NAME"),
        tests: sum(|suite| suite.tests),
        failures: sum(|suite| suite.failures),
        errors: sum(|suite| suite.errors),
        of_plans: suites,
    }
}

fn of_plan(report: &RunReport, of: &PlanReport) -> Suite {
    match &of.outcome {
        PlanOutcome::Refused(faults) => unread(report, &of.path, of.temperature_c, faults),
        PlanOutcome::Reviewed(plan) => reviewed(report, of, plan),
    }
}

fn reviewed(report: &RunReport, of: &PlanReport, plan: &ReviewedPlan) -> Suite {
    let name = name(report, &of.path, of.temperature_c);
    let mut found: BTreeMap<&str, Vec<(&Finding, Span)>> = BTreeMap::new();
    for (finding, place) in plan.findings.iter().zip(&plan.places) {
        found.entry(finding.rule).or_default().push((finding, *place));
    }
    let mut cases = vec![Case { class: name.clone(), name: READ, failure: None, error: None, out: None }];
    for rule in plan.rules.iter().copied() {
        let found = found.remove(rule).unwrap_or_default();
        cases.push(case(report, of, plan, (name.clone(), rule), &found));
    }
    // A case only where there is something to tell: it is none of the rules.
    cases.extend(found.remove(OWN_FAULT).map(|found| own_fault(report, of, plan, name.clone(), &found)));
    let not_checked = plan.summary.not_checked.iter().map(|text| format!("not checked: {text}"));
    let lines: Vec<String> = certainty_lines(&plan.summary)
        .into_iter()
        .chain(not_checked)
        .chain(plan.gone.iter().map(|gone| format!("gone: {}", gone_words(gone))))
        .collect();
    Suite {
        name,
        tests: cases.len(),
        failures: cases.iter().filter(|case| case.failure.is_some()).count(),
        errors: cases.iter().filter(|case| case.error.is_some()).count(),
        properties: Some(properties(of, plan)),
        cases,
        out: paragraphs(&lines),
    }
}

/// A suite of one case: that of an input that could not be read.
fn unread(report: &RunReport, path: &str, temperature_c: Option<f64>, faults: &[Fault]) -> Suite {
    let name = name(report, path, temperature_c);
    let texts: Vec<String> = faults.iter().map(|fault| fault_text(report, fault)).collect();
    let message = faults.first().map_or(String::new(), |fault| one_line(&fault.message));
    let error = Trouble {
        kind: "cannot be read",
        message: clean(&paths::without_folder(&message, &report.working_folder)),
        text: clean(&texts.join("\n\n")),
    };
    let case = Case { class: name.clone(), name: READ, failure: None, error: Some(error), out: None };
    Suite { name, tests: 1, failures: 0, errors: 1, properties: None, cases: vec![case], out: None }
}

/// The plan's path without its ending: pages take a full stop in a name for the end of a package's.
fn name(report: &RunReport, path: &str, temperature_c: Option<f64>) -> String {
    let path = paths::from_folder(path, &report.working_folder);
    clean(&format!("{}{}", output_name(&path), at_temperature(temperature_c)))
}

fn case(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    (class, name): (String, &'static str),
    found: &[(&Finding, Span)],
) -> Case {
    let (stopping, passing): (Vec<_>, Vec<_>) =
        found.iter().copied().partition(|(finding, _)| report.gate.stops(finding));
    let texts = |found: &[(&Finding, Span)]| -> Vec<String> {
        found.iter().map(|(finding, place)| finding_text(report, of, plan, finding, *place)).collect()
    };
    let worst = stopping.iter().map(|(finding, _)| finding.severity).max();
    let failure = stopping.first().zip(worst).map(|((first, _), worst)| Trouble {
        kind: worst.word(),
        message: clean(&in_short(first, stopping.len())),
        text: clean(&texts(&stopping).join("\n\n")),
    });
    Case { class, name, failure, error: None, out: paragraphs(&texts(&passing)) }
}

/// The case of what the program itself failed at.
fn own_fault(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    class: String,
    found: &[(&Finding, Span)],
) -> Case {
    let case = case(report, of, plan, (class, OWN_FAULT), found);
    let texts = found.iter().map(|(finding, place)| finding_text(report, of, plan, finding, *place));
    let message = found.first().map_or(String::new(), |(first, _)| in_short(first, found.len()));
    let text = clean(&texts.collect::<Vec<_>>().join("\n\n"));
    Case {
        failure: None,
        error: Some(Trouble { kind: "own fault", message: clean(&message), text }),
        out: None,
        ..case
    }
}

/// What a page shows before anybody opens the case.
fn in_short(first: &Finding, count: usize) -> String {
    let more = if count > 1 { format!(" (and {} more)", count - 1) } else { String::new() };
    format!("{}{more}", headline(first))
}

fn finding_text(report: &RunReport, of: &PlanReport, plan: &ReviewedPlan, finding: &Finding, place: Span) -> String {
    let at = plan.source.line_column(place.start);
    let path = paths::from_folder(&of.path, &report.working_folder);
    let mut lines = vec![
        format!("{} at {path}:{}:{}", finding.severity.word(), at.line, at.column),
        headline(finding),
        format!("what to do: {}", one_line(&help_with_caution(finding))),
    ];
    lines.extend(walk_words(finding).map(|words| format!("walk: {words}")));
    lines.extend(finding.margin.map(|margin| {
        let sure = margin.sure().map_or("certainty not given", |sure| if sure { "sure" } else { "not sure" });
        format!("margin: {} of the limit, {sure}", rounded(margin.value()))
    }));
    lines.extend(estimate_words(finding));
    let cause = finding.cause.as_ref().and_then(|cause| plan.findings.iter().find(|of| of.fingerprint == *cause));
    lines.extend(cause.map(|cause| format!("follows from: {}, {}", cause.rule, place_words(cause))));
    lines.extend(finding.rect.map(|rect| format!("on the screen: {:?}", rect.to_array())));
    lines.extend(
        plan.picture_of(finding).map(|path| format!("picture: {}", paths::from_folder(path, &report.working_folder))),
    );
    lines.extend(finding.accepted.as_ref().map(|because| format!("accepted: {}", one_line(because))));
    if finding.known {
        lines.push("known: it was there before".into());
    }
    lines.join("\n")
}

fn fault_text(report: &RunReport, fault: &Fault) -> String {
    let path = paths::from_folder(&fault.file, &report.working_folder);
    let at = fault.line_column().map_or(String::new(), |at| format!(":{}:{}", at.line, at.column));
    let help = fault.help.as_ref().filter(|help| !help.is_empty());
    let help = help.map_or(String::new(), |help| format!("\nwhat to do: {help}"));
    format!("{path}{at}\n{}{help}", paths::without_folder(&fault.message, &report.working_folder))
}

fn properties(of: &PlanReport, plan: &ReviewedPlan) -> Properties {
    let mut property = vec![
        Property { name: "title", value: clean(&one_line(&plan.title)) },
        Property { name: "display", value: clean(&one_line(&plan.display)) },
        Property { name: "steps", value: plan.steps.to_string() },
    ];
    property.extend(of.temperature_c.map(|celsius| Property { name: "temperature_c", value: celsius.to_string() }));
    Properties { property }
}

fn paragraphs(texts: &[String]) -> Option<String> {
    (!texts.is_empty()).then(|| clean(&texts.join("\n\n")))
}

/// Words without the characters that XML 1.0 has no way to write (section 2.2); each becomes a replacement character.
fn clean(text: &str) -> String {
    let allowed = |character: char| matches!(character, '\t' | '\n' | ' '..='\u{fffd}' | '\u{10000}'..);
    text.chars().map(|character| if allowed(character) { character } else { '\u{fffd}' }).collect()
}
