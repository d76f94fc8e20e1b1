//! Where and when it was worst: what to look at where nobody says it.

use super::complaint::Complaint;
use crate::{
    finding::{Finding, Severity},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    rules::rule_named,
};

/// Why a place is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyHere {
    /// Somebody asked for it.
    Asked,
    /// The strongest ghost is there.
    Ghost,
    /// The rule with this id found something there.
    Finding(&'static str),
    /// An update was sent there.
    Sent,
    /// Nothing happened anywhere: the whole screen.
    Whole,
}

/// Finds the moment at which it was worst.
#[derive(Debug, Default)]
pub(super) struct WorstMoment {
    /// The step with the strongest and largest ghosts.
    ghost: Option<(f64, u64)>,
    last: u64,
}

impl WorstMoment {
    pub(super) fn see(&mut self, step: &PlayedStep<'_>) {
        self.last = step.planned.index;
        let weight: f64 = step.ghosts.iter().map(|ghost| ghost.worst_l * ghost.pixels as f64).sum();
        if weight > self.ghost.map_or(0.0, |(most, _)| most) {
            self.ghost = Some((weight, step.planned.index));
        }
    }

    /// The step to look at: that of the worst finding about such a complaint, otherwise of the worst of all.
    pub(super) fn step(&self, findings: &[Finding], complaint: Option<Complaint>) -> u64 {
        let of_steps = || findings.iter().filter(|finding| finding.is_of_a_step());
        let is_about = |finding: &&Finding| complaint.is_some_and(|complaint| is_of(finding, complaint));
        let about =
            of_steps().filter(is_about).max_by_key(|finding| (finding.severity, std::cmp::Reverse(finding.step)));
        if complaint.is_some_and(|complaint| complaint == Complaint::Ghost) {
            return self.ghost.map_or(self.last, |(_, step)| step);
        }
        let worst = || of_steps().max_by_key(|finding| (finding.severity, std::cmp::Reverse(finding.step)));
        about.or_else(worst).map_or(self.last, |finding| finding.step)
    }
}

/// Whether a finding is about what somebody complains of.
fn is_of(finding: &Finding, complaint: Complaint) -> bool {
    rule_named(finding.rule).is_some_and(|page| complaint.groups().contains(&page.group.as_str()))
}

/// The place to look at, at the end of a step.
pub(super) fn place(step: &PlayedStep<'_>, findings: &[Finding], complaint: Option<Complaint>) -> (Rect, WhyHere) {
    let now = step.planned.index;
    let here = |finding: &&Finding| (finding.step..=finding.last_step).contains(&now) && finding.rect.is_some();
    let worst = |is_meant: &dyn Fn(&Finding) -> bool| {
        let found = findings.iter().filter(here).filter(|finding| is_meant(finding));
        let worst = found.max_by_key(|finding| (finding.severity, finding.step))?;
        Some((worst.rect?, WhyHere::Finding(worst.rule)))
    };
    let about = complaint.and_then(|complaint| worst(&|finding| is_of(finding, complaint)));
    let ghosts = || {
        let ghost = step
            .ghosts
            .iter()
            .max_by(|one, other| (one.worst_l * one.pixels as f64).total_cmp(&(other.worst_l * other.pixels as f64)));
        ghost.map(|ghost| (ghost.rect, WhyHere::Ghost))
    };
    let errors = || worst(&|finding| finding.severity == Severity::Error && finding.step == now);
    let sent = || {
        let bounds = step.updates.iter().filter_map(PlayedUpdate::sent_bounds).reduce(Rect::around);
        bounds.map(|rect| (rect, WhyHere::Sent))
    };
    let first = match complaint {
        Some(Complaint::Ghost) => ghosts().or(about),
        Some(_) => about.or_else(sent),
        None => errors().or_else(ghosts),
    };
    let any = first.or_else(|| worst(&|_| true)).or_else(sent);
    any.unwrap_or_else(|| (step.memory.size().whole(), WhyHere::Whole))
}
