//! Findings as SARIF 2.1.0, the OASIS standard for results of static analysis, for code hosts and editors.
//!
//! Knows the objects of that standard as far as they are written here, and no reader of them. What could not be read
//! and what was not checked are notifications of the run.

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{self, Write},
};

use serde::Serialize;

use super::{
    PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    findings_json::{CertaintyJson, MarginJson, ProvedJson, WalkJson, margins_json, proved_json},
    help_with_caution,
    how_sure::estimate_words,
    paths, rounded,
    sentences::{headline, one_line, sentence, stopped},
};
use crate::{
    finding::{Finding, Severity},
    geometry::Rect,
    known::KnownFinding,
    rules::{Limit, Page, pages},
    source::{Fault, Source, Span},
};

/// The name by which the standard's examples call the folder that relative paths begin at; readers know it.
const WORKING_FOLDER: &str = "%SRCROOT%";

#[derive(Serialize)]
struct Log<'a> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    version: &'static str,
    runs: [Run<'a>; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Run<'a> {
    tool: Tool,
    invocations: [Invocation; 1],
    original_uri_base_ids: BTreeMap<&'static str, Described>,
    column_kind: &'static str,
    results: Vec<ResultObject<'a>>,
    properties: RunProperties<'a>,
}

#[derive(Serialize)]
struct Tool {
    driver: Driver,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Driver {
    name: &'static str,
    version: &'static str,
    semantic_version: &'static str,
    language: &'static str,
    rules: Vec<Rule>,
}

/// A rule of the tool, a `reportingDescriptor`.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Rule {
    id: &'static str,
    short_description: Text,
    full_description: Text,
    help: FormattedText,
    default_configuration: Configuration,
    properties: RuleProperties,
}

#[derive(Serialize)]
struct Configuration {
    level: &'static str,
}

#[derive(Serialize)]
struct RuleProperties {
    tags: [&'static str; 1],
    since: &'static str,
    source: &'static str,
    limits: BTreeMap<&'static str, LimitObject>,
}

#[derive(Serialize)]
struct LimitObject {
    default: Option<f64>,
    unit: &'static str,
    about: &'static str,
}

#[derive(Serialize)]
struct Text {
    text: String,
}

#[derive(Serialize)]
struct FormattedText {
    text: String,
    markdown: String,
}

#[derive(Serialize)]
struct Described {
    description: Text,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Invocation {
    execution_successful: bool,
    tool_execution_notifications: Vec<Notification>,
    tool_configuration_notifications: Vec<Notification>,
}

#[derive(Serialize)]
struct Notification {
    level: &'static str,
    message: Text,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    locations: Vec<Location>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct ResultObject<'a> {
    rule_id: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule_index: Option<usize>,
    level: &'static str,
    message: Text,
    /// What has become of it since the list of known findings was written; only where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    baseline_state: Option<&'static str>,
    locations: [Location; 1],
    #[serde(skip_serializing_if = "Vec::is_empty")]
    related_locations: Vec<Location>,
    partial_fingerprints: BTreeMap<&'static str, String>,
    /// An empty list says that nobody accepted the finding; without it, nothing would be said.
    suppressions: Vec<Suppression<'a>>,
    properties: ResultProperties<'a>,
}

#[derive(Serialize)]
struct Suppression<'a> {
    kind: &'static str,
    status: &'static str,
    justification: &'a str,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Location {
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<u64>,
    #[serde(rename = "physicalLocation")]
    physical: PhysicalLocation,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    logical_locations: Vec<LogicalLocation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message: Option<Text>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct PhysicalLocation {
    artifact_location: ArtifactLocation,
    #[serde(skip_serializing_if = "Option::is_none")]
    region: Option<Region>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct ArtifactLocation {
    uri: String,
    /// Only relative URIs have a base.
    #[serde(skip_serializing_if = "Option::is_none")]
    uri_base_id: Option<&'static str>,
}

/// A range of a text; the end column is that behind the last character.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Region {
    start_line: usize,
    start_column: usize,
    end_line: usize,
    end_column: usize,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct LogicalLocation {
    /// A JSON pointer, as the standard proposes for JSON files.
    fully_qualified_name: String,
}

/// What the standard has no field for, by the names of `refresh-findings/1`.
#[derive(Serialize)]
struct ResultProperties<'a> {
    /// Nothing of what was not found again.
    #[serde(skip_serializing_if = "Option::is_none")]
    step: Option<u64>,
    label: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_step: Option<u64>,
    update: Option<usize>,
    r#box: Option<[i64; 4]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    figures: BTreeMap<&'a str, f64>,
    #[serde(flatten)]
    certainty: Option<CertaintyJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cause: Option<&'a str>,
    #[serde(flatten)]
    walk: Option<WalkJson<'a>>,
}

#[derive(Serialize)]
struct RunProperties<'a> {
    plans: Vec<PlanProperties<'a>>,
}

#[derive(Serialize)]
struct PlanProperties<'a> {
    plan: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    title: &'a str,
    display: &'a str,
    steps: u64,
    summary: BTreeMap<&'static str, f64>,
    margins: BTreeMap<&'static str, Option<MarginJson>>,
    /// Only of a flow.
    #[serde(skip_serializing_if = "Option::is_none")]
    proved: Option<ProvedJson>,
}

/// Writes the report.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    let writer = Writer::new(report);
    let log = Log {
        schema: "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        version: "2.1.0",
        runs: [writer.run()],
    };
    serde_json::to_writer_pretty(&mut *out, &log)?;
    writeln!(out)
}

/// A run on its way into its objects.
struct Writer<'a> {
    report: &'a RunReport,
    /// The rules that were at work in any plan, in the order of the list of rules.
    rules: Vec<&'static Page>,
}

impl<'a> Writer<'a> {
    fn new(report: &'a RunReport) -> Self {
        let ran: BTreeSet<&str> = report.reviewed().flat_map(|plan| plan.rules.iter().copied()).collect();
        Self { report, rules: pages().iter().filter(|page| ran.contains(page.id)).collect() }
    }

    fn run(&self) -> Run<'a> {
        let description = Text { text: "The folder in which the review was run.".into() };
        let plans = || self.report.plans.iter().filter_map(reviewed);
        Run {
            tool: Tool { driver: self.driver() },
            invocations: [self.invocation()],
            original_uri_base_ids: BTreeMap::from([(WORKING_FOLDER, Described { description })]),
            // Lines and columns of this program are counted in characters.
            column_kind: "unicodeCodePoints",
            results: plans().flat_map(|(of, plan)| self.results(of, plan)).collect(),
            properties: RunProperties { plans: plans().map(|(of, plan)| self.plan_properties(of, plan)).collect() },
        }
    }

    fn driver(&self) -> Driver {
        Driver {
            name: env!("CARGO_PKG_NAME"),
            version: env!("CARGO_PKG_VERSION"),
            semantic_version: env!("CARGO_PKG_VERSION"),
            language: "en",
            rules: self.rules.iter().copied().map(rule).collect(),
        }
    }

    fn invocation(&self) -> Invocation {
        let not_checked = self.report.plans.iter().filter_map(reviewed).flat_map(|(of, plan)| {
            plan.summary.not_checked.iter().map(|text| Notification {
                level: Severity::Note.word(),
                message: Text { text: message_text(&sentence(&format!("not checked: {}", one_line(text)))) },
                locations: vec![self.location(&of.path, None)],
            })
        });
        Invocation {
            execution_successful: self.report.is_all_read(),
            tool_execution_notifications: self.report.all_faults().map(|fault| self.unread(fault)).collect(),
            tool_configuration_notifications: not_checked.collect(),
        }
    }

    fn unread(&self, fault: &Fault) -> Notification {
        let help = fault.help.as_ref().filter(|help| !help.is_empty());
        let help = help.map_or(String::new(), |help| format!(" {}", sentence(&one_line(help))));
        let text = format!("{}{help}", sentence(&one_line(&fault.message)));
        let region = fault.place.as_ref().map(|(source, span)| region(source, *span));
        Notification {
            level: Severity::Error.word(),
            message: Text { text: message_text(&paths::without_folder(&text, &self.report.working_folder)) },
            locations: (!fault.file.is_empty()).then(|| self.location(&fault.file, region)).into_iter().collect(),
        }
    }

    fn results(&self, of: &'a PlanReport, plan: &'a ReviewedPlan) -> impl Iterator<Item = ResultObject<'a>> {
        let found = plan.findings.iter().zip(&plan.places);
        let found = found.map(|(finding, place)| self.result(of, plan, finding, *place));
        found.chain(plan.gone.iter().map(|gone| self.gone(of, gone)))
    }

    /// A known finding that was not found again: the standard has a word for it, and readers close it by that.
    fn gone(&self, of: &PlanReport, gone: &'a KnownFinding) -> ResultObject<'a> {
        let message =
            if gone.message.is_empty() { "No longer found.".into() } else { sentence(&one_line(&gone.message)) };
        ResultObject {
            rule_id: &gone.rule,
            rule_index: self.rules.iter().position(|page| page.id == gone.rule),
            level: gone.level.word(),
            message: Text { text: message_text(&message) },
            baseline_state: Some("absent"),
            locations: [self.location(&of.path, None)],
            related_locations: Vec::new(),
            partial_fingerprints: fingerprints(of, &gone.fingerprint),
            suppressions: Vec::new(),
            properties: ResultProperties {
                step: None,
                label: gone.label.as_deref(),
                last_step: None,
                update: None,
                r#box: None,
                temperature_c: of.temperature_c,
                figures: BTreeMap::new(),
                certainty: None,
                cause: None,
                walk: None,
            },
        }
    }

    fn result(&self, of: &PlanReport, plan: &'a ReviewedPlan, finding: &'a Finding, place: Span) -> ResultObject<'a> {
        let mut location = self.location(&of.path, Some(region(&plan.source, place)));
        location.logical_locations.push(LogicalLocation { fully_qualified_name: finding.pointer.clone() });
        ResultObject {
            rule_id: finding.rule,
            rule_index: self.rules.iter().position(|page| page.id == finding.rule),
            level: finding.severity.word(),
            message: Text { text: result_text(of, finding) },
            baseline_state: self.report.known.as_ref().map(|_| if finding.known { "unchanged" } else { "new" }),
            locations: [location],
            related_locations: plan.picture_of(finding).map(|path| self.picture(path)).into_iter().collect(),
            partial_fingerprints: fingerprints(of, &finding.fingerprint),
            suppressions: finding.accepted.iter().map(|because| accepted(because)).collect(),
            properties: ResultProperties {
                step: plan.flow.is_none().then_some(finding.step),
                label: finding.label.as_deref(),
                last_step: plan.flow.is_none().then_some(finding.last_step),
                update: finding.update,
                r#box: finding.rect.map(Rect::to_array),
                temperature_c: of.temperature_c,
                figures: finding.figures.iter().map(|(name, figure)| (*name, rounded(*figure))).collect(),
                certainty: CertaintyJson::of(finding),
                cause: finding.cause.as_deref(),
                walk: WalkJson::of(finding),
            },
        }
    }

    fn picture(&self, path: &str) -> Location {
        let text = "The screen of this step with what changes, the windows and the numbered findings.".into();
        Location { id: Some(1), message: Some(Text { text }), ..self.location(path, None) }
    }

    fn location(&self, path: &str, region: Option<Region>) -> Location {
        let uri = paths::uri(path, &self.report.working_folder);
        let uri_base_id = (!uri.starts_with("file:")).then_some(WORKING_FOLDER);
        let physical = PhysicalLocation { artifact_location: ArtifactLocation { uri, uri_base_id }, region };
        Location { id: None, physical, logical_locations: Vec::new(), message: None }
    }

    fn plan_properties(&self, of: &PlanReport, plan: &'a ReviewedPlan) -> PlanProperties<'a> {
        PlanProperties {
            plan: paths::from_folder(&of.path, &self.report.working_folder),
            temperature_c: of.temperature_c,
            title: &plan.title,
            display: &plan.display,
            steps: plan.steps,
            summary: plan
                .summary
                .figures()
                .into_iter()
                .filter(|(_, figure)| figure.is_finite())
                .map(|(name, figure)| (name, rounded(figure)))
                .collect(),
            margins: margins_json(&plan.summary),
            proved: proved_json(&plan.summary),
        }
    }
}

fn reviewed(of: &PlanReport) -> Option<(&PlanReport, &ReviewedPlan)> {
    match &of.outcome {
        PlanOutcome::Reviewed(plan) => Some((of, plan)),
        PlanOutcome::Refused(_) => None,
    }
}

fn rule(page: &'static Page) -> Rule {
    let part = |heading: &str| unwrapped(page.section(heading));
    let limit = |limit: &'static Limit| LimitObject { default: limit.default, unit: &limit.unit, about: &limit.about };
    Rule {
        id: page.id,
        short_description: Text { text: message_text(&sentence(&page.title)) },
        full_description: Text {
            text: message_text(&format!("{} {}", part("What is seen"), part("Why it matters on paper"))),
        },
        help: FormattedText { text: message_text(&part("What to do")), markdown: message_text(&help_page(page)) },
        default_configuration: Configuration { level: page.severity.word() },
        properties: RuleProperties {
            tags: [&page.group],
            since: &page.since,
            source: &page.source,
            limits: page.limits.iter().map(|named| (named.name.as_str(), limit(named))).collect(),
        },
    }
}

/// The page of a rule, each paragraph on one line: many readers take a line's end for a break.
fn help_page(page: &Page) -> String {
    let parts = ["What is seen", "Why it matters on paper", "What to do"]
        .map(|heading| format!("## {heading}\n\n{}\n\n", unwrapped(page.section(heading))));
    let limit = |limit: &Limit| {
        let default = limit.default.map_or("as the display says".to_owned(), |value| format!("{value} {}", limit.unit));
        format!("- `{}`, {default}: {}\n", limit.name, limit.about)
    };
    let limits: String = page.limits.iter().map(limit).collect();
    let limits = if limits.is_empty() { limits } else { format!("## Limits\n\n{limits}\n") };
    format!("{}{limits}Source: {}\n", parts.concat(), stopped(&page.source))
}

fn result_text(of: &PlanReport, finding: &Finding) -> String {
    let at = of.temperature_c.map_or(String::new(), |celsius| format!("at {celsius} C, "));
    let seen = sentence(&format!("{at}{}", headline(finding)));
    let estimate = estimate_words(finding).map_or(String::new(), |words| format!(" {}", sentence(&words)));
    message_text(&format!("{seen}{estimate} What to do: {}", stopped(&one_line(&help_with_caution(finding)))))
}

/// The fingerprint, and where a plan is reviewed at other temperatures than its own, the temperature beside it: the same
/// finding at two of them is two results.
fn fingerprints(of: &PlanReport, fingerprint: &str) -> BTreeMap<&'static str, String> {
    let mut known = BTreeMap::from([("finding/v1", fingerprint.to_owned())]);
    known.extend(of.temperature_c.map(|celsius| ("temperatureC/v1", celsius.to_string())));
    known
}

/// A finding is accepted in the plan itself, which is the text that was analysed.
fn accepted(because: &str) -> Suppression<'_> {
    Suppression { kind: "inSource", status: "accepted", justification: because }
}

fn region(source: &Source, span: Span) -> Region {
    let (start, end) = (source.line_column(span.start), source.line_column(span.end));
    Region { start_line: start.line, start_column: start.column, end_line: end.line, end_column: end.column }
}

/// Words as a message of the standard: braces would mark a placeholder, and `](` a link; nobody means these here.
fn message_text(text: &str) -> String {
    text.replace('{', "{{").replace('}', "}}").replace("](", "] (")
}

/// Lines of a paragraph in one; paragraphs stay apart.
fn unwrapped(text: &str) -> String {
    let paragraphs: Vec<String> = text.split("\n\n").map(|paragraph| paragraph.replace('\n', " ")).collect();
    paragraphs.join("\n\n")
}
