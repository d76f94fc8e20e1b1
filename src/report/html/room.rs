//! Which steps of a plan have pictures first, where a page has no room for all. Knows findings and figures, no pictures.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet},
};

use super::recording::Recording;
use crate::{finding::Finding, rules::caution_of};

/// Steps with something to see, what matters most first: the first finding of each rule, in about the order in which the page
/// lists causes; the strongest ghost; then every other finding. A step may come more than once.
pub fn steps_by_weight(findings: &[Finding], recording: &Recording) -> Vec<u64> {
    let mut shown: Vec<&Finding> = findings.iter().filter(|finding| finding.is_of_a_step()).collect();
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    for finding in &shown {
        *times.entry(finding.rule).or_default() += 1;
    }
    shown.sort_by_key(|finding| {
        let weight = (finding.severity, caution_of(finding.rule).is_some(), times[finding.rule]);
        (!finding.is_open(), Reverse(weight), finding.step)
    });
    let mut rules = BTreeSet::new();
    let (first, others): (Vec<&Finding>, Vec<&Finding>) =
        shown.into_iter().partition(|finding| rules.insert(finding.rule));
    let steps = |findings: Vec<&Finding>| findings.into_iter().map(Finding::step_to_look_at).collect::<Vec<_>>();
    let ghost = recording.strongest_ghost().map(|frame| frame.index);
    steps(first).into_iter().chain(ghost).chain(steps(others)).collect()
}
