//! Reports: the verdict as text, as a page, as JSON, SARIF, JUnit XML and Markdown, as facts and as annotated pictures.
//!
//! Every format has structs of its own and carries the same findings. Gate and exit status are decided in this file, before any
//! format writes; the formats decide nothing.

pub mod facts;
pub mod html;
pub mod findings_json;
pub mod flow_facts;
pub mod junit;
pub mod markdown;
pub mod panel_view;
pub mod paths;
pub mod picture;
pub mod policy;
pub mod prepared_look;
pub mod residue_plot;
pub mod sarif;
pub mod story;
pub mod story_json;
pub mod story_page;
pub mod story_strip;
mod sheet;
pub mod text;
mod reading_order;
pub(crate) mod how_sure;
pub(crate) mod sentences;

use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use crate::{
    finding::{Finding, Severity, Summary},
    flow_review::OfFlowReview,
    known::{KnownFinding, KnownPlan},
    plan::Plan,
    review::Review,
    rules::{caution_of, is_of_screens},
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

impl PlanReport {
    /// The plan, if it was reviewed.
    pub fn reviewed(&self) -> Option<&ReviewedPlan> {
        match &self.outcome {
            PlanOutcome::Reviewed(plan) => Some(plan),
            PlanOutcome::Refused(_) => None,
        }
    }
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
    /// Whether its display is a single segment: an indicator.
    pub is_indicator: bool,
    /// The number of steps.
    pub steps: u64,
    /// Its figures.
    pub summary: Summary,
    /// The ids of the rules that were at work, in the order of the list of rules.
    pub rules: Vec<&'static str>,
    /// Those that failed on the way, by a fault of the program's own.
    pub failed: Vec<&'static str>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// Where each finding stands in the text, in their order.
    pub places: Vec<Span>,
    /// The annotated pictures that were drawn: the step and the path.
    pub pictures: BTreeMap<u64, String>,
    /// Known findings that were not found again.
    pub gone: Vec<KnownFinding>,
    /// Of a flow, what is said of it in addition to what is said of a plan.
    pub flow: Option<Box<OfFlowReview>>,
    /// Whether what the screens show at every temperature is reported with another one.
    pub screens_reported_before: bool,
}

impl ReviewedPlan {
    /// A plan, or the head of a flow, with its review.
    pub fn new(plan: &Plan, review: Review) -> Self {
        Self {
            source: plan.source.clone(),
            title: plan.title.clone(),
            display: plan.display.name.clone(),
            is_indicator: plan.display.is_indicator(),
            steps: plan.step_count,
            summary: review.summary,
            rules: review.rules,
            failed: review.failed,
            places: Self::locate_findings(&plan.source, &review.findings),
            findings: review.findings,
            pictures: BTreeMap::new(),
            gone: Vec::new(),
            flow: None,
            screens_reported_before: false,
        }
    }

    /// Leaves out what depends on the screens alone, as it was reported with another temperature; `first` names that.
    pub fn leave_screens_to(&mut self, first: &str) {
        self.screens_reported_before = true;
        let places = std::mem::take(&mut self.places);
        let findings = std::mem::take(&mut self.findings).into_iter().zip(places);
        (self.findings, self.places) = findings.filter(|(finding, _)| !is_of_screens(finding.rule)).unzip();
        self.summary.count(&self.findings);
        let words = format!(
            "the screens themselves, which are the same at every temperature and are reported with \
                             {first}"
        );
        self.summary.not_checked.push(words);
    }

    /// Finds the places of the findings in the text.
    pub fn locate_findings(source: &Arc<Source>, findings: &[Finding]) -> Vec<Span> {
        if findings.is_empty() {
            return Vec::new();
        }
        let pointers: Vec<&str> = findings.iter().map(|finding| finding.pointer.as_str()).collect();
        locate(source, &pointers)
    }

    /// How many findings are known and not accepted.
    pub fn known(&self) -> u64 {
        self.findings.iter().filter(|finding| finding.is_known()).count() as u64
    }

    /// The findings by cause, in order: each with those that follow from it. What follows stands by itself where somebody waits for
    /// only one of the two.
    fn by_cause(&self) -> Vec<ByCause<'_>> {
        let own = |finding: &Finding| (finding.fingerprint.clone(), finding.is_open());
        let cause_of = |finding: &Finding| finding.cause.clone().map(|cause| (cause, finding.is_open()));
        let all: BTreeSet<_> = self.findings.iter().map(own).collect();
        let mut following: BTreeMap<_, Vec<&Finding>> = BTreeMap::new();
        let mut causes = Vec::new();
        for (finding, place) in self.findings.iter().zip(&self.places) {
            match cause_of(finding).filter(|cause| all.contains(cause)) {
                Some(cause) => following.entry(cause).or_default().push(finding),
                None => causes.push((finding, *place)),
            }
        }
        let with_following = |(finding, place)| {
            let following = following.remove(&own(finding)).unwrap_or_default();
            ByCause { finding, place, following }
        };
        causes.into_iter().map(with_following).collect()
    }

    /// The annotated picture that shows a finding.
    fn picture_of(&self, finding: &Finding) -> Option<&str> {
        // A finding of the whole plan is drawn nowhere.
        let step = finding.is_of_a_step().then(|| finding.step_to_look_at())?;
        self.pictures.get(&step).map(String::as_str)
    }
}

/// A finding, and what follows from it.
#[derive(Clone, Debug)]
struct ByCause<'a> {
    finding: &'a Finding,
    /// Where it stands in the text.
    place: Span,
    following: Vec<&'a Finding>,
}

/// All plans of a run.
#[derive(Debug)]
pub struct RunReport {
    /// The plans, in the order in which they were named or found.
    pub plans: Vec<PlanReport>,
    /// Faults that belong to no plan.
    pub faults: Vec<Fault>,
    /// From which severity on a finding makes the run fail.
    pub gate: Gate,
    /// The folder in which the program was called, whole; paths below it are written from there.
    pub working_folder: String,
    /// Whether there is a list of known findings, and the plans of it that are no longer there.
    pub known: Option<Vec<KnownPlan>>,
}

/// From which severity on a finding makes the run fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gate {
    /// At this severity and above.
    At(Severity, GateOn),
    /// Never.
    Never,
}

/// Which findings make a run fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GateOn {
    /// All.
    All,
    /// Those that do not turn within the factor by which the figure they rest on may be off. Where the display gives no such
    /// factor they count as ever.
    Sure,
}

impl GateOn {
    fn counts(self, finding: &Finding) -> bool {
        self == Self::All || finding.sure() != Some(false)
    }
}

impl Gate {
    /// Whether a finding makes the run fail.
    pub fn stops(self, finding: &Finding) -> bool {
        match self {
            Self::At(severity, on) => finding.is_open() && finding.severity >= severity && on.counts(finding),
            Self::Never => false,
        }
    }
}

impl RunReport {
    /// The exit status: 2 where something could not be read or the program itself failed, 1 where a finding is at or above the gate, else 0.
    pub fn exit_status(&self) -> u8 {
        if !self.is_all_read() {
            return 2;
        }
        u8::from(self.reviewed().flat_map(|plan| &plan.findings).any(|finding| self.gate.stops(finding)))
    }

    /// Whether everything that was named could be read, and looked at by every rule.
    fn is_all_read(&self) -> bool {
        self.all_faults().next().is_none() && self.reviewed().all(|plan| plan.failed.is_empty())
    }

    /// The faults of the run and those of the plans that could not be read.
    pub fn all_faults(&self) -> impl Iterator<Item = &Fault> {
        let of_plans = self.plans.iter().flat_map(|plan| match &plan.outcome {
            PlanOutcome::Refused(faults) => faults.as_slice(),
            PlanOutcome::Reviewed(_) => &[],
        });
        self.faults.iter().chain(of_plans)
    }

    /// How many known findings were not found again, those of plans that are no longer there among them.
    pub fn gone(&self) -> u64 {
        let of_plans = self.reviewed().map(|plan| plan.gone.len()).sum::<usize>();
        let of_gone_plans = self.known.iter().flatten().map(|plan| plan.findings.len()).sum::<usize>();
        (of_plans + of_gone_plans) as u64
    }

    /// The plans that were reviewed.
    pub fn reviewed(&self) -> impl Iterator<Item = &ReviewedPlan> {
        self.plans.iter().filter_map(PlanReport::reviewed)
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
