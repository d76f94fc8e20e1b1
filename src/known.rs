//! Known findings: findings of an earlier run, so that only new ones stop a merge.
//!
//! Reads and writes `known-findings/1`, and distinguishes known findings from new ones. Does not know where files are.

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{self, Write},
    sync::Arc,
};

use serde::Serialize;

use crate::{
    finding::{Finding, Severity},
    source::{
        Fault, Source, did_you_mean,
        json::{Fields, Item, Reading, read_document},
    },
};

/// The format and its version.
const FORMAT: &str = "known-findings/1";

/// What was found before in one plan.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownPlan {
    /// The plan's path relative to the folder of the file, with `/`.
    pub plan: String,
    /// The temperature at which it was reviewed instead of its own, degrees C.
    pub temperature_c: Option<f64>,
    /// What was found, in the order of the review.
    pub findings: Vec<KnownFinding>,
}

/// A finding that was there before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownFinding {
    /// The rule's id.
    pub rule: String,
    /// Its level; a finding whose level is worse now is new.
    pub level: Severity,
    /// The label of the first step.
    pub label: Option<String>,
    /// Its message, for people: a finding is recognised by its fingerprint.
    pub message: String,
    /// The finding's fingerprint.
    pub fingerprint: String,
}

impl KnownFinding {
    /// What is kept of a finding.
    pub fn of(finding: &Finding) -> Self {
        Self {
            rule: finding.rule.to_owned(),
            level: finding.severity,
            label: finding.label.clone(),
            message: finding.message.clone(),
            fingerprint: finding.fingerprint.clone(),
        }
    }
}

/// Marks the findings that are known; returns the known ones that were not found again, of rules that `ran`.
pub fn mark_known(findings: &mut [Finding], known: &[KnownFinding], ran: impl Fn(&str) -> bool) -> Vec<KnownFinding> {
    let by_fingerprint: BTreeMap<&str, &KnownFinding> =
        known.iter().map(|known| (known.fingerprint.as_str(), known)).collect();
    let mut found = BTreeSet::new();
    for finding in findings {
        let known = by_fingerprint.get(finding.fingerprint.as_str());
        found.extend(known.map(|known| known.fingerprint.as_str()));
        finding.known = known.is_some_and(|known| finding.severity <= known.level);
    }
    known.iter().filter(|known| !found.contains(known.fingerprint.as_str()) && ran(&known.rule)).cloned().collect()
}

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    plans: Vec<PlanObject<'a>>,
}

#[derive(Serialize)]
struct PlanObject<'a> {
    plan: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    findings: Vec<FindingObject<'a>>,
}

#[derive(Serialize)]
struct FindingObject<'a> {
    rule: &'a str,
    level: &'static str,
    label: Option<&'a str>,
    message: &'a str,
    fingerprint: &'a str,
}

/// Writes known findings; a plan in which nothing is known is left out.
///
/// # Errors
/// Where the writer fails.
pub fn write_known(plans: &[KnownPlan], out: &mut dyn Write) -> io::Result<()> {
    let plans = plans.iter().filter(|plan| !plan.findings.is_empty()).map(plan_object).collect();
    serde_json::to_writer_pretty(&mut *out, &Document { format: FORMAT, plans })?;
    writeln!(out)
}

fn plan_object(plan: &KnownPlan) -> PlanObject<'_> {
    let findings = plan.findings.iter().map(|finding| FindingObject {
        rule: &finding.rule,
        level: finding.level.word(),
        label: finding.label.as_deref(),
        message: &finding.message,
        fingerprint: &finding.fingerprint,
    });
    PlanObject { plan: &plan.plan, temperature_c: plan.temperature_c, findings: findings.collect() }
}

/// Reads known findings of some rules.
///
/// # Errors
/// Every fault of the text, including rules that do not exist and fingerprints that no finding can have.
pub fn read_known(source: &Arc<Source>, rules: &[&str]) -> Result<Vec<KnownPlan>, Vec<Fault>> {
    read_document(source, |reading, root| {
        let fields = reading.document(root, "a file of known findings", FORMAT, &["format", "plans"])?;
        let plans = reading.required(&fields, "plans", "a file of known findings")?;
        let plans = reading.list(&plans)?;
        Some(plans.iter().filter_map(|item| known_plan(reading, item, rules)).collect())
    })
}

fn known_plan(reading: &mut Reading, item: &Item<'_>, rules: &[&str]) -> Option<KnownPlan> {
    const WHAT: &str = "the known findings of a plan";
    let fields = reading.object(item, WHAT, &["plan", "temperature_c", "findings"])?;
    let plan = required_text(reading, &fields, "plan", WHAT);
    let temperature_c = match fields.get("temperature_c") {
        None => None,
        Some(item) => Some(reading.number(item, -273.0, 1000.0)?),
    };
    let findings = reading.required(&fields, "findings", WHAT)?;
    let findings = reading.list(&findings)?;
    let findings = findings.iter().filter_map(|item| known_finding(reading, item, rules)).collect();
    Some(KnownPlan { plan: plan?, temperature_c, findings })
}

fn known_finding(reading: &mut Reading, item: &Item<'_>, rules: &[&str]) -> Option<KnownFinding> {
    const WHAT: &str = "a known finding";
    const LEVELS: [Severity; 3] = [Severity::Error, Severity::Warning, Severity::Note];
    let fields = reading.object(item, WHAT, &["rule", "level", "label", "message", "fingerprint"])?;
    let rule = reading.required(&fields, "rule", WHAT).and_then(|item| rule_id(reading, &item, rules));
    let level = reading.required(&fields, "level", WHAT);
    let level = level.and_then(|item| reading.word(&item, &LEVELS.map(|level| (level.word(), level))));
    let label = fields.get("label").and_then(|item| reading.text(item)).map(|text| text.value);
    let message = fields.get("message").and_then(|item| reading.text(item)).map(|text| text.value);
    let fingerprint = reading.required(&fields, "fingerprint", WHAT).and_then(|item| fingerprint(reading, &item));
    Some(KnownFinding {
        rule: rule?,
        level: level?,
        label,
        message: message.unwrap_or_default(),
        fingerprint: fingerprint?,
    })
}

fn rule_id(reading: &mut Reading, item: &Item<'_>, rules: &[&str]) -> Option<String> {
    let rule = reading.text(item)?.value;
    if !rules.contains(&rule.as_str()) {
        reading.fault(item, format!("there is no rule `{rule}`"), did_you_mean(&rule, rules.iter().copied()));
        return None;
    }
    Some(rule)
}

fn fingerprint(reading: &mut Reading, item: &Item<'_>) -> Option<String> {
    let text = reading.text(item)?.value;
    let is_one = text.len() == 16 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
    if !is_one {
        let help = "copy the fingerprint from a report in JSON, or write the list again with `--write-known`";
        reading.fault(item, "a fingerprint is 16 of the digits 0 to 9 and a to f", help);
    }
    is_one.then_some(text)
}

fn required_text(reading: &mut Reading, fields: &Fields<'_>, name: &str, what: &str) -> Option<String> {
    let item = reading.required(fields, name, what)?;
    reading.text(&item).map(|text| text.value)
}
