//! The findings of a plan as somebody reads them: what has one cause stands once, and the worst stands first.
//!
//! Decides the order and what stands together, for every format that is read from top to bottom; knows none of them.

use std::cmp::Reverse;

use super::{ByCause, ReviewedPlan};
use crate::{
    finding::{Finding, Severity},
    rules::caution_of,
    source::Span,
};

/// What one rule found in a plan, at all its places.
#[derive(Clone, Debug)]
pub(super) struct Cause<'a> {
    /// The first place; of a flow, whose moves come in no order, the worst.
    pub(super) finding: &'a Finding,
    /// Where that stands in the plan's text.
    pub(super) place: Span,
    /// The other places of the same rule and level, in the order of the steps; of a flow the worse before the others.
    pub(super) others: Vec<&'a Finding>,
    /// What follows from any of them, by other rules.
    pub(super) following: Vec<&'a Finding>,
}

impl<'a> Cause<'a> {
    /// How often it was seen.
    pub(super) fn times(&self) -> u64 {
        self.places().map(|finding| finding.times).sum()
    }

    /// How often it was seen, and at how many places, in words; nothing if it was seen once. How often a flow shows something
    /// depends on the walks that were played, so of a flow only the places count.
    pub(super) fn how_often(&self) -> Option<String> {
        let places = 1 + self.others.len() as u64;
        let times = if self.finding.walk.is_some() { places } else { self.times() };
        match (times, places) {
            (1, _) => None,
            (times, 1) => Some(format!("{times} times")),
            (times, places) if times == places => Some(format!("{places} findings")),
            (times, places) => Some(format!("{places} findings, {times} occurrences")),
        }
    }

    /// What stands before its place, in words.
    pub(super) fn at(&self) -> &'static str {
        match (self.others.is_empty(), self.finding.walk.is_some()) {
            (true, _) => "at",
            (false, true) => "the worst at",
            (false, false) => "the first at",
        }
    }

    /// All its places, in the order of the steps.
    pub(super) fn places(&self) -> impl Iterator<Item = &'a Finding> {
        std::iter::once(self.finding).chain(self.others.iter().copied())
    }

    /// The findings that it stands for.
    pub(super) fn findings(&self) -> impl Iterator<Item = &'a Finding> {
        self.places().chain(self.following.iter().copied())
    }

    fn add(&mut self, ByCause { finding, place, following }: ByCause<'a>) {
        if finding.walk.is_some() && badness(finding) > badness(self.finding) {
            self.others.push(std::mem::replace(&mut self.finding, finding));
            self.place = place;
        } else {
            self.others.push(finding);
        }
        self.take(following);
    }

    /// Further places of the same rule are places; the rest follows.
    fn take(&mut self, following: Vec<&'a Finding>) {
        let is_place = |finding: &&Finding| kind(finding) == kind(self.finding);
        let (places, following): (Vec<_>, Vec<_>) = following.into_iter().partition(is_place);
        self.others.extend(places);
        self.following.extend(following);
    }
}

/// The causes of what is new in a plan and accepted by nobody, the worst first: by level, then those whose rule comes with a
/// caution, then those of steps before those of the whole plan, then by how many findings they stand for, then by how often they were seen.
pub(super) fn causes_by_weight(plan: &ReviewedPlan) -> Vec<Cause<'_>> {
    let mut causes = all_causes(plan);
    causes.retain(|cause| cause.finding.is_open());
    causes
}

/// The same of everything that was found: what is known or accepted stands by itself, behind the rest.
pub(super) fn all_causes(plan: &ReviewedPlan) -> Vec<Cause<'_>> {
    let mut causes: Vec<Cause<'_>> = Vec::new();
    for by_cause in plan.by_cause() {
        if let Some(cause) = causes.iter_mut().find(|cause| kind(cause.finding) == kind(by_cause.finding)) {
            cause.add(by_cause);
        } else {
            let ByCause { finding, place, following } = by_cause;
            let mut cause = Cause { finding, place, others: Vec::new(), following: Vec::new() };
            cause.take(following);
            causes.push(cause);
        }
    }
    for cause in &mut causes {
        if cause.finding.walk.is_some() {
            cause.others.sort_by(|one, other| badness(other).total_cmp(&badness(one)));
        } else {
            cause.others.sort_by_key(|finding| finding.step);
        }
    }
    causes.sort_by_cached_key(|cause| (Reverse(cause.finding.is_open()), weight(cause)));
    causes
}

/// How far beyond its limit a figure is, where a finding has one.
fn badness(finding: &Finding) -> f64 {
    finding.margin.map_or(0.0, |margin| margin.value())
}

fn kind(finding: &Finding) -> (&'static str, Severity, bool, bool) {
    (finding.rule, finding.severity, finding.known, finding.accepted.is_some())
}

fn weight(cause: &Cause<'_>) -> impl Ord + use<> {
    let finding = cause.finding;
    (
        Reverse(finding.is_own_fault()),
        Reverse(finding.severity),
        Reverse(caution_of(finding.rule).is_some()),
        // A figure of the whole plan has its causes in steps.
        Reverse(finding.is_of_a_step()),
        Reverse(cause.findings().count()),
        Reverse(cause.times()),
    )
}
