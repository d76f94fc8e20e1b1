//! Findings as JSON: `refresh-findings/1`, see `docs/schemas/findings.schema.json`.

use std::{
    borrow::Cow,
    collections::BTreeMap,
    io::{self, Write},
};

use serde::Serialize;

use super::{PlanOutcome, PlanReport, ReviewedPlan, RunReport, help_with_caution, rounded};
use crate::{
    display::Certainty,
    finding::{Finding, FlowSize, PlanMargin, Summary, WalkMove},
    flow_review::{ADay, LimitVerdict, OfFlowReview},
    known::KnownFinding,
    proof::Bound,
    source::{Fault, Span},
};

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    program: Program,
    plans: Vec<PlanJson<'a>>,
}

#[derive(Serialize)]
struct Program {
    name: &'static str,
    version: &'static str,
}

#[derive(Serialize)]
struct PlanJson<'a> {
    plan: &'a str,
    /// Only where it is not the plan's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    title: &'a str,
    display: &'a str,
    steps: u64,
    refused: Option<RefusedJson>,
    summary: Option<SummaryJson<'a>>,
    /// Only of a flow.
    #[serde(skip_serializing_if = "Option::is_none")]
    flow: Option<FlowJson>,
    /// Only of a flow.
    #[serde(skip_serializing_if = "Option::is_none")]
    proved: Option<ProvedJson>,
    findings: Vec<FindingJson<'a>>,
    /// Only where there is a list of known findings.
    #[serde(skip_serializing_if = "Option::is_none")]
    gone: Option<Vec<GoneJson<'a>>>,
}

/// How large a flow is, and what of it was played.
#[derive(Serialize)]
struct FlowJson {
    states: usize,
    moves: usize,
    nodes: usize,
    edges: usize,
    walks: usize,
    played_moves: usize,
    cells: usize,
    unjoined_cells: usize,
    verdicts: Vec<VerdictJson>,
    per_day: Option<DayJson>,
}

/// What a day is expected to take.
#[derive(Serialize)]
struct DayJson {
    moves: usize,
    updates: f64,
    flashes: f64,
    energy_mj: f64,
    mean_mw: Option<f64>,
    days_per_charge: Option<f64>,
}

impl From<&ADay> for DayJson {
    fn from(day: &ADay) -> Self {
        Self {
            moves: day.moves,
            updates: rounded(day.updates),
            flashes: rounded(day.flashes),
            energy_mj: rounded(day.energy_mj),
            mean_mw: day.mean_mw.map(rounded),
            days_per_charge: day.days.map(rounded),
        }
    }
}

/// Whether every walk keeps a limit.
#[derive(Serialize)]
struct VerdictJson {
    rules: &'static [&'static str],
    verdict: &'static str,
    bound: Option<f64>,
    found: Option<f64>,
    limit: Option<f64>,
}

impl From<&LimitVerdict> for VerdictJson {
    fn from(one: &LimitVerdict) -> Self {
        Self {
            rules: one.rules,
            verdict: one.verdict.word(),
            bound: one.bound.figure().map(rounded),
            found: one.found.map(rounded),
            limit: one.limit.map(rounded),
        }
    }
}

/// The largest figures over all nodes, by their names; nothing where a figure grows without end or was not proved.
#[derive(Serialize)]
pub(super) struct ProvedJson {
    #[serde(flatten)]
    figures: BTreeMap<&'static str, Option<f64>>,
    not_proved: Vec<&'static str>,
}

/// The walk that leads to a finding of a flow.
#[derive(Serialize)]
pub(super) struct WalkJson<'a> {
    /// A move by its label, otherwise by its number.
    walk: Vec<MoveJson<'a>>,
    walk_from: &'a str,
    walk_after_ms: Vec<f64>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum MoveJson<'a> {
    Label(&'a str),
    Number(usize),
}

impl<'a> WalkJson<'a> {
    pub(super) fn of(finding: &'a Finding) -> Option<Self> {
        let walk = finding.walk.as_ref()?;
        let name = |one: &'a WalkMove| one.label.as_deref().map_or(MoveJson::Number(one.number), MoveJson::Label);
        Some(Self {
            walk: walk.moves.iter().map(name).collect(),
            walk_from: &walk.from,
            walk_after_ms: walk.moves.iter().map(|one| rounded(one.after_ms)).collect(),
        })
    }
}

#[derive(Serialize)]
struct GoneJson<'a> {
    rule: &'a str,
    level: &'static str,
    label: Option<&'a str>,
    message: &'a str,
    fingerprint: &'a str,
}

#[derive(Serialize)]
struct RefusedJson {
    message: String,
    line: Option<usize>,
    column: Option<usize>,
}

#[derive(Serialize)]
struct SummaryJson<'a> {
    error: u64,
    warning: u64,
    note: u64,
    accepted: u64,
    seconds: f64,
    cleanings: u64,
    flashing_updates: u64,
    driving_seconds: f64,
    energy_mj: f64,
    worst_residue_l: f64,
    residue_l: f64,
    most_since_cleaning: u32,
    longest_answer_ms: f64,
    /// Only of a trace that is held against a plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    as_planned: Option<AsPlannedJson>,
    certainty: BTreeMap<&'static str, Option<f64>>,
    margins: BTreeMap<&'static str, Option<MarginJson>>,
    not_checked: &'a [String],
}

#[derive(Serialize)]
struct AsPlannedJson {
    steps: u64,
    of: u64,
}

#[derive(Serialize)]
pub(super) struct MarginJson {
    reached: f64,
    limit: f64,
    factor: Option<f64>,
    verdict: &'static str,
}

impl From<PlanMargin> for MarginJson {
    fn from(margin: PlanMargin) -> Self {
        Self {
            reached: rounded(margin.reached),
            limit: rounded(margin.limit.value),
            factor: margin.factor.map(rounded),
            verdict: margin.holds().word(),
        }
    }
}

#[derive(Serialize)]
struct FindingJson<'a> {
    rule: &'a str,
    level: &'static str,
    /// Nothing in a flow, in which a place is a move.
    step: Option<u64>,
    label: Option<&'a str>,
    last_step: Option<u64>,
    update: Option<usize>,
    r#box: Option<[i64; 4]>,
    message: &'a str,
    help: Cow<'a, str>,
    figures: BTreeMap<&'a str, f64>,
    #[serde(flatten)]
    certainty: Option<CertaintyJson>,
    at: AtJson<'a>,
    #[serde(flatten)]
    walk: Option<WalkJson<'a>>,
    fingerprint: &'a str,
    /// Only of a finding that follows from another.
    #[serde(skip_serializing_if = "Option::is_none")]
    cause: Option<&'a str>,
    accepted: Option<&'a str>,
    /// Only where there is a list of known findings.
    #[serde(skip_serializing_if = "Option::is_none")]
    known: Option<bool>,
}

/// Only of a finding that rests on an estimated figure.
#[derive(Serialize)]
pub(super) struct CertaintyJson {
    margin: f64,
    /// Nothing where the display does not say by which factor the figure may be off.
    sure: Option<bool>,
}

impl CertaintyJson {
    pub(super) fn of(finding: &Finding) -> Option<Self> {
        finding.margin.map(|margin| Self { margin: rounded(margin.value()), sure: margin.sure() })
    }
}

#[derive(Serialize)]
struct AtJson<'a> {
    file: &'a str,
    line: usize,
    column: usize,
    pointer: &'a str,
}

/// Writes the report.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    let document = Document {
        format: "refresh-findings/1",
        program: Program { name: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION") },
        plans: report.plans.iter().map(|plan| plan_json(report, plan)).collect(),
    };
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn plan_json<'a>(report: &RunReport, of: &'a PlanReport) -> PlanJson<'a> {
    let with_known = report.known.is_some();
    let empty = PlanJson {
        temperature_c: of.temperature_c,
        plan: &of.path,
        title: "",
        display: "",
        steps: 0,
        refused: None,
        summary: None,
        flow: None,
        proved: None,
        findings: Vec::new(),
        gone: None,
    };
    match &of.outcome {
        PlanOutcome::Refused(faults) => PlanJson { refused: Some(refused_json(faults)), ..empty },
        PlanOutcome::Reviewed(plan) => PlanJson {
            title: &plan.title,
            display: &plan.display,
            steps: plan.steps,
            summary: Some(summary_json(&plan.summary)),
            flow: plan.flow.as_ref().map(|flow| flow_json(flow)),
            proved: proved_json(&plan.summary),
            findings: plan
                .findings
                .iter()
                .zip(&plan.places)
                .map(|(finding, place)| {
                    let known = with_known.then_some(finding.known);
                    FindingJson { known, ..finding_json(plan, finding, *place) }
                })
                .collect(),
            gone: with_known.then(|| plan.gone.iter().map(gone_json).collect()),
            ..empty
        },
    }
}

/// The first fault with its place; of the others, the messages.
fn refused_json(faults: &[Fault]) -> RefusedJson {
    let place = faults.first().and_then(Fault::line_column);
    let messages: Vec<String> = faults.iter().map(|fault| fault.message.clone()).collect();
    RefusedJson { message: messages.join("\n"), line: place.map(|at| at.line), column: place.map(|at| at.column) }
}

fn summary_json(summary: &Summary) -> SummaryJson<'_> {
    SummaryJson {
        error: summary.error,
        warning: summary.warning,
        note: summary.note,
        accepted: summary.accepted,
        seconds: rounded(summary.seconds),
        cleanings: summary.cleanings,
        flashing_updates: summary.flashing_updates,
        driving_seconds: rounded(summary.driving_seconds),
        energy_mj: rounded(summary.energy_mj),
        worst_residue_l: rounded(summary.worst_residue_l),
        residue_l: rounded(summary.residue_l),
        most_since_cleaning: summary.most_since_cleaning,
        longest_answer_ms: rounded(summary.longest_answer_ms),
        as_planned: summary.as_planned.map(|[steps, of]| AsPlannedJson { steps, of }),
        certainty: certainty_json(summary),
        margins: margins_json(summary),
        not_checked: &summary.not_checked,
    }
}

fn flow_json(flow: &OfFlowReview) -> FlowJson {
    let FlowSize { states, moves, nodes, edges, walks, played_moves, cells, unjoined_cells } = flow.size;
    let verdicts = flow.verdicts.iter().map(VerdictJson::from).collect();
    FlowJson {
        states,
        moves,
        nodes,
        edges,
        walks,
        played_moves,
        cells,
        unjoined_cells,
        verdicts,
        per_day: flow.a_day.as_ref().map(DayJson::from),
    }
}

/// What was proved of every walk; nothing of a plan.
pub(super) fn proved_json(summary: &Summary) -> Option<ProvedJson> {
    let named = summary.proved.as_ref()?.named();
    let open = named.iter().filter(|(_, bound)| *bound == Bound::NotProved);
    Some(ProvedJson {
        figures: named.iter().map(|(name, bound)| (*name, bound.figure().map(rounded))).collect(),
        not_proved: open.map(|(name, _)| *name).collect(),
    })
}

/// By how much the figures may be off, also those that have no limit; nothing where the display does not say it.
fn certainty_json(summary: &Summary) -> BTreeMap<&'static str, Option<f64>> {
    let Certainty { residue, durations, first_visible, flashes, energy } = summary.certainty;
    BTreeMap::from([
        ("residue", residue),
        ("durations", durations),
        ("first_visible", first_visible),
        ("flashes", flashes),
        ("energy", energy),
    ])
}

/// Every margin by its name; nothing where there is no such figure.
pub(super) fn margins_json(summary: &Summary) -> BTreeMap<&'static str, Option<MarginJson>> {
    summary.margins.named().into_iter().map(|(name, margin)| (name, margin.map(MarginJson::from))).collect()
}

fn finding_json<'a>(plan: &'a ReviewedPlan, finding: &'a Finding, place: Span) -> FindingJson<'a> {
    let at = plan.source.line_column(place.start);
    FindingJson {
        rule: finding.rule,
        level: finding.severity.word(),
        step: plan.flow.is_none().then_some(finding.step),
        label: finding.label.as_deref(),
        last_step: plan.flow.is_none().then_some(finding.last_step),
        update: finding.update,
        r#box: finding.rect.map(super::super::geometry::Rect::to_array),
        message: &finding.message,
        help: help_with_caution(finding),
        figures: finding.figures.iter().map(|(name, figure)| (*name, rounded(*figure))).collect(),
        certainty: CertaintyJson::of(finding),
        at: AtJson { file: &plan.source.name, line: at.line, column: at.column, pointer: &finding.pointer },
        walk: WalkJson::of(finding),
        fingerprint: &finding.fingerprint,
        cause: finding.cause.as_deref(),
        accepted: finding.accepted.as_deref(),
        known: None,
    }
}

fn gone_json(gone: &KnownFinding) -> GoneJson<'_> {
    GoneJson {
        rule: &gone.rule,
        level: gone.level.word(),
        label: gone.label.as_deref(),
        message: &gone.message,
        fingerprint: &gone.fingerprint,
    }
}
