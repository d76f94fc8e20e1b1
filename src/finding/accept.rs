//! Findings that somebody decided to accept: they are still counted but never make the review fail.

use super::Finding;
use crate::plan::{Accept, StepName};

/// Marks the findings that an `accept` of the plan matches; returns how many each matched, in the plan's order.
///
/// A finding over many steps is matched by its first one.
pub fn accept_findings(findings: &mut [Finding], accept: &[Accept]) -> Vec<u64> {
    let mut matched = vec![0; accept.len()];
    for finding in findings {
        for (accept, matched) in accept.iter().zip(&mut matched) {
            if matches(accept, finding) {
                *matched += 1;
                finding.accepted.get_or_insert_with(|| accept.because.clone());
            }
        }
    }
    matched
}

/// Whether somebody decided to accept a finding.
pub fn is_accepted(finding: &Finding, accept: &[Accept]) -> bool {
    accept.iter().any(|accept| matches(accept, finding))
}

fn matches(accept: &Accept, finding: &Finding) -> bool {
    accept.rule == finding.rule
        && accept.steps.as_ref().is_none_or(|names| {
            names.iter().any(|name| match name {
                StepName::Index(index) => *index == finding.step,
                StepName::Label(label) => finding.label.as_ref() == Some(label),
            })
        })
}
