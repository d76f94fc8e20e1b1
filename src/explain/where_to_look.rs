//! Where and when it was worst: what to look at where nobody says it.

use std::{cmp::Reverse, collections::BTreeSet};

use super::{
    complaint::{Complaint, REACHES_THE_GLASS},
    patch,
};
use crate::{
    change::Mask,
    finding::{Finding, Severity},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
    rules::rule_named,
};

/// Why a place is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyHere {
    /// Somebody asked for it.
    Asked,
    /// Somebody asked for it, and for more that lies outside the screen.
    AskedForMore,
    /// The strongest ghost is there.
    Ghost,
    /// No ghost is noticeable, and the most is left there of what was before.
    Faint,
    /// The rule with this id found something there.
    Finding(&'static str),
    /// An update was sent there.
    Sent,
    /// The border is asked about, which is around all of the screen.
    Border,
    /// Nothing happened anywhere: the whole screen.
    Whole,
}

/// Finds the moment at which it was worst.
#[derive(Debug)]
pub(super) struct WorstMoment<'p> {
    plan: &'p Plan,
    /// The step with the strongest and largest ghosts.
    ghost: Option<(f64, u64)>,
    /// The step with the strongest residue, L*, whether most people notice it or not.
    residue: Option<(f64, u64)>,
    /// The step that drives most pixels of which the controller does not know what they show.
    unknown: Option<(u64, u64)>,
    /// The steps that leave an old picture where nothing is sent.
    left: BTreeSet<u64>,
    /// The last step that flashes.
    flashing: Option<u64>,
    /// The last step that answers a person.
    answering: Option<u64>,
    /// How many updates waited for the controller, and which step had the longest wait, ms.
    waits: u64,
    waited: Option<(f64, u64)>,
    last: u64,
}

/// Shorter waits are part of every transfer, and nobody notices them.
pub const LEAST_WAIT_MS: f64 = 10.0;

/// Less than this is left by nearly every update.
const LEAST_RESIDUE_L: f64 = 0.1;

impl<'p> WorstMoment<'p> {
    pub(super) fn new(plan: &'p Plan) -> Self {
        Self {
            plan,
            ghost: None,
            residue: None,
            unknown: None,
            left: BTreeSet::new(),
            flashing: None,
            answering: None,
            waits: 0,
            waited: None,
            last: 0,
        }
    }

    pub(super) fn see(&mut self, step: &PlayedStep<'_>) {
        let index = step.planned.index;
        self.last = index;
        if !step.left_behind.is_empty() {
            self.left.insert(index);
        }
        let weight: f64 = step.ghosts.iter().map(|ghost| ghost.worst_l * ghost.pixels as f64).sum();
        if weight > self.ghost.map_or(0.0, |(most, _)| most) {
            self.ghost = Some((weight, index));
        }
        if step.residue_l > self.residue.map_or(0.0, |(most, _)| most) {
            self.residue = Some((step.residue_l, index));
        }
        let unknown_px = step.updates.iter().map(|update| update.unknown_px).max().unwrap_or(0);
        if unknown_px > self.unknown.map_or(0, |(most, _)| most) {
            self.unknown = Some((unknown_px, index));
        }
        let sends = |update: &&PlayedUpdate| !update.sent.is_empty() && update.lost.is_none();
        let flashes = |update: &PlayedUpdate| self.plan.display.modes[update.mode].flashes > 0;
        if step.updates.iter().filter(sends).any(flashes) {
            self.flashing = Some(index);
        }
        if step.planned.step.cause.is_person() && step.updates.iter().any(|update| sends(&update)) {
            self.answering = Some(index);
        }
        for update in step.updates.iter().filter(sends).filter(|update| update.times.wait_ms >= LEAST_WAIT_MS) {
            self.waits += 1;
            if update.times.wait_ms > self.waited.map_or(0.0, |(most_ms, _)| most_ms) {
                self.waited = Some((update.times.wait_ms, index));
            }
        }
    }

    /// How many updates waited because the controller was busy, and the step of the one that waited longest.
    pub(super) fn waited(&self) -> Option<(u64, u64)> {
        self.waited.map(|(_, step)| (self.waits, step))
    }

    /// The last step with an update that flashes.
    pub(super) fn last_flash(&self) -> Option<u64> {
        self.flashing
    }

    /// The step to look at: that of the worst finding about such a complaint, or what such a complaint is about; without a
    /// complaint that of the worst finding of all.
    pub(super) fn step(&self, findings: &[Finding], complaint: Option<Complaint>) -> u64 {
        let of_steps = || findings.iter().filter(|finding| is_of_a_step(finding));
        let Some(complaint) = complaint else {
            let worst = of_steps().max_by_key(|finding| (finding.severity, Reverse(finding.step)));
            return worst.map_or(self.last, |finding| finding.step);
        };
        let weight = |finding: &&Finding| {
            let late = if complaint == Complaint::Late { times_its_limit(finding) } else { 0 };
            (how_near(finding, complaint), finding.severity, late, Reverse(finding.step))
        };
        let about = of_steps().filter(|finding| how_near(finding, complaint).is_some()).max_by_key(weight);
        let left = of_steps().filter(|finding| is_left_behind(finding) && self.left.contains(&finding.step));
        let left = left.map(|finding| finding.step).max();
        let flickers = about.map(|finding| finding.last_step).or(self.flashing);
        let about = about.map(|finding| finding.step);
        let found = match complaint {
            Complaint::Ghost => {
                let of = |strongest: Option<(f64, u64)>| strongest.map(|(_, step)| step);
                of(self.ghost).or(left).or(of(self.residue))
            }
            Complaint::Speckles => self.unknown.map(|(_, step)| step),
            Complaint::Shadow => None,
            Complaint::Flicker | Complaint::ColourFlicker | Complaint::Border => flickers,
            Complaint::Late => about.or(self.answering),
            // Where nothing is missing by the description, a controller that does not wait would have lost this.
            Complaint::Missing => about.or(self.waited.map(|(_, step)| step)),
            Complaint::Shifted => about,
        };
        found.unwrap_or(self.last)
    }
}

/// How many times its limit an answer takes or a ghost reaches, in thousandths; 0 of other figures.
fn times_its_limit(finding: &Finding) -> u64 {
    let figure = |name: &str| finding.figures.get(name).copied();
    let answer = || figure("whole_ms").or_else(|| figure("first_ms")).zip(figure("limit_ms"));
    let reached = answer().or_else(|| figure("worst_l").zip(figure("limit_l")));
    let times = reached.map_or(0.0, |(reached, limit)| reached / limit.max(f64::MIN_POSITIVE));
    (1000.0 * times) as u64
}

/// Whether a finding is about a step, also of a walk that is played as a plan: its steps stand in the moves of the flow.
pub(super) fn is_of_a_step(finding: &Finding) -> bool {
    let of_a_walk = ["/moves/", "/starts", "/cleanings/"];
    finding.is_of_a_step() || of_a_walk.iter().any(|field| finding.pointer.starts_with(field))
}

/// Whether a finding reports that an old picture stays because nothing was sent to it.
fn is_left_behind(finding: &Finding) -> bool {
    finding.severity == Severity::Error
        && finding.rect.is_some()
        && rule_named(finding.rule).is_some_and(|rule| rule.group == REACHES_THE_GLASS)
        && is_of_a_step(finding)
}

/// How near a finding is to what somebody complains of, more is nearer; `None` if it is about something else.
pub(super) fn how_near(finding: &Finding, complaint: Complaint) -> Option<Reverse<usize>> {
    let group = &rule_named(finding.rule)?.group;
    // An old picture at its full strength is seen more than any ghost.
    if matches!(complaint, Complaint::Ghost | Complaint::Shadow) && is_left_behind(finding) {
        return Some(Reverse(0));
    }
    complaint.groups().iter().position(|of| of == group).map(|place| Reverse(place + 1))
}

/// The worst of some findings that are about a complaint.
pub fn worst_about<'f>(complaint: Complaint, findings: impl IntoIterator<Item = &'f Finding>) -> Option<&'f Finding> {
    let near = |finding: &&Finding| how_near(finding, complaint).is_some();
    let weight = |finding: &&Finding| (how_near(finding, complaint), finding.severity, times_its_limit(finding));
    findings.into_iter().filter(near).max_by_key(weight)
}

/// The place to look at, at the end of a step.
pub(super) fn place(step: &PlayedStep<'_>, findings: &[Finding], complaint: Option<Complaint>) -> (Rect, WhyHere) {
    if complaint == Some(Complaint::Border) {
        return (step.memory.size().whole(), WhyHere::Border);
    }
    let now = step.planned.index;
    let here = |finding: &&Finding| (finding.step..=finding.last_step).contains(&now) && finding.rect.is_some();
    // What is missing is looked at where something is missing, and not where a window is wrong without a consequence.
    let is_about_places = matches!(complaint, Some(Complaint::Missing | Complaint::Shifted | Complaint::Ghost));
    let wrong = if is_about_places { step.glass.unlike_memory() } else { Mask::new() };
    let is_wrong = |finding: &Finding| finding.rect.is_some_and(|rect| !wrong.inside(&[rect], step.grid()).is_empty());
    let worst = |is_meant: &dyn Fn(&Finding) -> bool| {
        let found = findings.iter().filter(here).filter(|finding| is_meant(finding));
        let near = |finding: &Finding| complaint.and_then(|complaint| how_near(finding, complaint));
        let worst = found.max_by_key(|finding| (near(finding), is_wrong(finding), finding.severity, finding.step))?;
        Some((worst.rect?, WhyHere::Finding(worst.rule)))
    };
    let about = complaint.and_then(|complaint| worst(&|finding| how_near(finding, complaint).is_some()));
    let ghosts = || {
        let ghost = step
            .ghosts
            .iter()
            .max_by(|one, other| (one.worst_l * one.pixels as f64).total_cmp(&(other.worst_l * other.pixels as f64)));
        ghost.map(|ghost| (ghost.rect, WhyHere::Ghost))
    };
    let faint = || {
        let (rect, off_l) = patch::most_off(step)?;
        (off_l >= LEAST_RESIDUE_L).then_some((rect, WhyHere::Faint))
    };
    let is_left = |finding: &Finding| is_left_behind(finding) && is_wrong(finding);
    let errors = || worst(&|finding| finding.severity == Severity::Error && finding.step == now);
    let sent = || {
        let bounds = step.updates.iter().filter_map(PlayedUpdate::sent_bounds).reduce(Rect::around);
        bounds.map(|rect| (rect, WhyHere::Sent))
    };
    let first = match complaint {
        Some(Complaint::Ghost) => ghosts().or_else(|| worst(&is_left)).or(about).or_else(faint),
        Some(Complaint::Shadow) => ghosts().or(about),
        // A finding about an answer stands at the target that was touched, and the answer may come elsewhere.
        Some(Complaint::Late) => sent().or(about),
        Some(_) => about.or_else(sent),
        None => errors().or_else(ghosts),
    };
    let any = first.or_else(|| worst(&|_| true)).or_else(sent);
    any.unwrap_or_else(|| (step.memory.size().whole(), WhyHere::Whole))
}
