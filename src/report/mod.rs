//! Reports: the verdict as text, as JSON, as facts and as annotated pictures.
//!
//! Every format has structs of its own and carries the same findings. Nothing here decides anything.

pub mod facts;
pub mod html;
pub mod json;
pub mod panel_view;
pub mod picture;
pub mod text;

use std::{borrow::Cow, sync::Arc};

use crate::{
    finding::{Finding, Severity, Summary},
    rules::caution_of,
    source::{Fault, Source, Span, json::locate},
};

/// The verdict on one plan, as all formats get it.
#[derive(Debug)]
pub struct PlanReport {
    /// The path as the user knows it.
    pub path: String,
    /// The temperature at which it was reviewed instead of its own, degrees C.
    pub temperature_c: Option<f64>,
    /// What became of it.
    pub outcome: PlanOutcome,
}

/// What became of a plan.
#[derive(Debug)]
pub enum PlanOutcome {
    /// It was reviewed.
    Reviewed(Box<ReviewedPlan>),
    /// It could not be read; at least one fault.
    Refused(Vec<Fault>),
}

/// A plan that was reviewed.
#[derive(Debug)]
pub struct ReviewedPlan {
    /// Its text.
    pub source: Arc<Source>,
    /// Its title.
    pub title: String,
    /// Its display's name.
    pub display: String,
    /// The number of steps.
    pub steps: u64,
    /// Its figures.
    pub summary: Summary,
    /// What was found.
    pub findings: Vec<Finding>,
    /// Where each finding stands in the text, in their order.
    pub places: Vec<Span>,
}

impl ReviewedPlan {
    /// Finds the places of the findings in the text.
    pub fn locate_findings(source: &Arc<Source>, findings: &[Finding]) -> Vec<Span> {
        if findings.is_empty() {
            return Vec::new();
        }
        let pointers: Vec<&str> = findings.iter().map(|finding| finding.pointer.as_str()).collect();
        locate(source, &pointers)
    }
}

/// All plans of a run.
#[derive(Debug, Default)]
pub struct RunReport {
    /// The plans, in the order in which they were named or found.
    pub plans: Vec<PlanReport>,
    /// Faults that belong to no plan.
    pub faults: Vec<Fault>,
}

/// From which severity on a finding makes the run fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gate {
    /// At this severity and above.
    At(Severity),
    /// Never.
    Never,
}

impl RunReport {
    /// The exit status: 2 where something could not be read, 1 where a finding is at or above the gate, else 0.
    pub fn exit_status(&self, gate: Gate) -> u8 {
        let refused = |plan: &PlanReport| matches!(plan.outcome, PlanOutcome::Refused(_));
        if !self.faults.is_empty() || self.plans.iter().any(refused) {
            return 2;
        }
        let Gate::At(gate) = gate else { return 0 };
        let findings = self.reviewed().flat_map(|plan| &plan.findings);
        u8::from(findings.filter(|finding| finding.accepted.is_none()).any(|finding| finding.severity >= gate))
    }

    /// The plans that were reviewed.
    pub fn reviewed(&self) -> impl Iterator<Item = &ReviewedPlan> {
        self.plans.iter().filter_map(|plan| match &plan.outcome {
            PlanOutcome::Reviewed(plan) => Some(&**plan),
            PlanOutcome::Refused(_) => None,
        })
    }
}

/// What to do about a finding, with the caution that belongs to its rule.
fn help_with_caution(finding: &Finding) -> Cow<'_, str> {
    match caution_of(finding.rule) {
        None => Cow::Borrowed(&finding.help),
        Some(caution) => Cow::Owned(format!("{}; {caution}", finding.help)),
    }
}

/// A figure with six digits behind the point: the same on machines whose last bits differ.
fn rounded(value: f64) -> f64 {
    let rounded = (value * 1e6).round() / 1e6;
    // Minus zero would print a sign.
    if rounded == 0.0 { 0.0 } else { rounded }
}
