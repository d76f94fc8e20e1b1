//! What the rules found on several walks through a flow, put together: one finding for each rule and move, with the
//! shortest walk that leads to it.
//!
//! Knows findings, not how they came about.

use std::{
    collections::{BTreeMap, HashMap},
    sync::Arc,
};

use super::verdicts::{JUDGED, Judged};
use crate::{
    display::Certainty,
    finding::{Finding, FindingWalk, PlanMargin, PlanMargins, Summary, sort_findings},
    flow::{Walk, WalkPlan},
    plan::Node,
    review::Review,
    rules::over_walks::SHOWN_BY_THE_NEXT,
};

/// A place of a flow, and what was found there.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct Place {
    /// The move, the start or the field.
    pointer: String,
    pub(super) rule: &'static str,
    /// Which of the rule's limits does not hold, if it is judged over all walks: a move may break several.
    limit: Option<usize>,
}

impl Place {
    fn of(finding: &Finding) -> Self {
        let limit = JUDGED.iter().position(|judged| judged.is_of(finding));
        Self { pointer: place_of(finding), rule: finding.rule, limit }
    }
}

/// A finding of one walk: the number of the walk, and its fingerprint there.
type OnWalk = (usize, String);

/// What was found on the walks so far.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    places: BTreeMap<Place, Seen>,
    /// Where each finding of each walk is now.
    place_of: HashMap<OnWalk, Place>,
    walks: usize,
    /// The figures of the walks together.
    pub(super) summary: Summary,
    /// The rules that failed.
    pub(super) failed: Vec<&'static str>,
}

#[derive(Debug)]
struct Seen {
    finding: Finding,
    cause: Option<OnWalk>,
    /// The walk that leads to it; none if it is about no move.
    walk: Option<Walk>,
}

impl Gathered {
    /// Adds the review of a walk; `named` names a walk.
    pub(super) fn add(&mut self, review: Review, walk: &Walk, plan: &WalkPlan, named: &dyn Fn(&Walk) -> FindingWalk) {
        let number = self.walks;
        self.walks += 1;
        self.take((number, true), review.findings, walk, plan, named);
        self.failed.extend(review.failed);
        self.failed.dedup();
        add_figures(&mut self.summary, &review.summary);
        add_largest(&mut self.summary, &review.summary);
        for text in review.summary.not_checked {
            if !self.summary.not_checked.contains(&text) {
                self.summary.not_checked.push(text);
            }
        }
    }

    /// Adds what some rules found on a walk that is not one of those that take every move.
    pub(super) fn add_found(
        &mut self,
        review: Review,
        walk: &Walk,
        plan: &WalkPlan,
        named: &dyn Fn(&Walk) -> FindingWalk,
    ) {
        let number = self.walks;
        self.walks += 1;
        add_largest(&mut self.summary, &review.summary);
        let found = review.findings.into_iter().map(|finding| Finding { cause: None, ..finding });
        self.take((number, false), found.collect(), walk, plan, named);
    }

    /// Whether there is a finding of a rule at a move.
    pub(super) fn has_at_move(&self, number: usize, rule: &str) -> bool {
        let pointer = format!("/moves/{number}");
        self.places.keys().any(|place| place.pointer == pointer && place.rule == rule)
    }

    /// Whether some walk does not keep a limit.
    pub(super) fn has_any(&self, judged: &Judged) -> bool {
        self.places.values().any(|seen| judged.is_of(&seen.finding))
    }

    fn take(
        &mut self,
        (number, counts): (usize, bool),
        findings: Vec<Finding>,
        walk: &Walk,
        plan: &WalkPlan,
        named: &dyn Fn(&Walk) -> FindingWalk,
    ) {
        let mut walks: HashMap<(u64, u64), Arc<FindingWalk>> = HashMap::new();
        for found in findings {
            let own = (number, found.fingerprint.clone());
            let cause = found.cause.clone().map(|cause| (number, cause));
            let last = whole(found.last_step.max(found.step));
            let until = walk.up_to(last + moves_until_it_shows(&found, walk, last));
            let mut of_steps = |step, last| {
                let named = || Arc::new(FindingWalk { to_place: whole(step), ..named(&until) });
                walks.entry((step, last)).or_insert_with(named).clone()
            };
            let finding = in_flow(found, plan, &mut of_steps);
            let place = Place::of(&finding);
            self.place_of.insert(own, place.clone());
            let walk = finding.walk.is_some().then_some(until);
            self.put(place, Seen { finding, cause, walk }, counts);
        }
    }

    /// The places with a walk that may be shorter: the place, the walk, and how many of its moves lead to the place.
    pub(super) fn walks(&self) -> impl Iterator<Item = (&Place, &Walk, usize)> {
        self.places.iter().filter_map(|(place, seen)| {
            let to_place = seen.finding.walk.as_ref()?.to_place;
            Some((place, seen.walk.as_ref()?, to_place))
        })
    }

    /// Takes the findings of a shorter walk for those places where it shows the same, no less bad; gives those places.
    pub(super) fn shorten(
        &mut self,
        places: Vec<Place>,
        review: &Review,
        walk: &Walk,
        plan: &WalkPlan,
        named: &dyn Fn(&Walk) -> FindingWalk,
    ) -> Vec<Place> {
        let mut found: HashMap<Place, Finding> = HashMap::new();
        for one in &review.findings {
            let named = |step, _| Arc::new(FindingWalk { to_place: whole(step), ..named(walk) });
            let finding = in_flow(one.clone(), plan, &mut { named });
            found.entry(Place::of(&finding)).or_insert(finding);
        }
        let mut shortened = Vec::new();
        for place in places {
            let Some(known) = self.places.get_mut(&place) else { continue };
            let same = found.remove(&place).filter(|finding| finding.severity >= known.finding.severity);
            let Some(finding) = same else { continue };
            known.finding = Finding { times: known.finding.times, ..finding };
            known.walk = Some(walk.clone());
            shortened.push(place);
        }
        shortened
    }

    /// Puts what was seen to what was seen before at the same place; only the walks that take every move count how often.
    fn put(&mut self, place: Place, seen: Seen, counts: bool) {
        let Some(known) = self.places.get_mut(&place) else {
            self.places.insert(place, seen);
            return;
        };
        let times = known.finding.times + if counts { seen.finding.times } else { 0 };
        if rank(&seen.finding) > rank(&known.finding) {
            *known = seen;
        }
        known.finding.times = times;
    }

    /// The findings in their order, each with the place of its cause.
    pub(super) fn into_findings(self) -> (Vec<Finding>, Links) {
        let of = |cause: Option<OnWalk>| cause.and_then(|cause| self.place_of.get(&cause).cloned());
        let (mut causes, mut walks) = (BTreeMap::new(), BTreeMap::new());
        let mut findings = Vec::new();
        for (place, seen) in self.places {
            if let Some(cause) = of(seen.cause).filter(|cause| *cause != place) {
                causes.insert(place.clone(), cause);
            }
            walks.extend(seen.walk.map(|walk| (place, walk)));
            findings.push(seen.finding);
        }
        sort_findings(&mut findings);
        (findings, Links { causes, walks })
    }
}

/// What belongs to the findings beside themselves, by their places.
#[derive(Debug)]
pub(super) struct Links {
    /// Which follows from which.
    causes: BTreeMap<Place, Place>,
    /// The walk that leads to each.
    walks: BTreeMap<Place, Walk>,
}

impl Links {
    /// The walk that leads to each finding of a walk, by its fingerprint.
    pub(super) fn walks_by_fingerprint(&self, findings: &[Finding]) -> BTreeMap<String, Walk> {
        let walk =
            |finding: &Finding| Some((finding.fingerprint.clone(), self.walks.get(&Place::of(finding))?.clone()));
        findings.iter().filter_map(walk).collect()
    }

    /// Gives every finding that follows from another of its own walk, and has no cause yet, the fingerprint of that one, or of
    /// what that one follows from.
    pub(super) fn link_causes(&self, findings: &mut [Finding]) {
        let known: HashMap<String, String> =
            findings.iter().filter_map(|one| Some((one.fingerprint.clone(), one.cause.clone()?))).collect();
        let prints: HashMap<Place, (String, crate::finding::Severity)> =
            findings.iter().map(|one| (Place::of(one), (one.fingerprint.clone(), one.severity))).collect();
        for finding in findings.iter_mut().filter(|finding| finding.cause.is_none()) {
            let roots = std::iter::successors(self.causes.get(&Place::of(finding)), |place| self.causes.get(place));
            let roots = roots.take(self.causes.len());
            let cause = roots.last().and_then(|root| prints.get(root));
            let cause = cause.filter(|(_, severity)| *severity >= finding.severity);
            let cause = cause.map(|(print, _)| known.get(print).unwrap_or(print).clone());
            finding.cause = cause.filter(|print| *print != finding.fingerprint);
        }
        // What a cause follows from is the cause of both.
        let roots: HashMap<String, String> =
            findings.iter().filter_map(|one| Some((one.fingerprint.clone(), one.cause.clone()?))).collect();
        for finding in findings {
            let root = finding.cause.as_ref().and_then(|cause| roots.get(cause));
            if let Some(root) = root.filter(|root| **root != finding.fingerprint) {
                finding.cause = Some(root.clone());
            }
        }
    }
}

/// How many moves after the last step of a finding a walk must go on until it shows: some things only show when what comes next
/// has come, after a pause.
fn moves_until_it_shows(found: &Finding, walk: &Walk, last: usize) -> usize {
    if !SHOWN_BY_THE_NEXT.contains(&found.rule) {
        return 0;
    }
    let pause_ms = found.figures.get("pause_ms").copied().unwrap_or(0.0);
    let mut passed_ms = 0.0;
    let next = walk.moves.iter().skip(last).position(|one| {
        passed_ms += one.after_ms;
        passed_ms >= pause_ms
    });
    next.map_or(1, |next| next + 1)
}

/// A number of steps; more than can be are all.
fn whole(steps: u64) -> usize {
    usize::try_from(steps).unwrap_or(usize::MAX)
}

/// The move, the start or the field of a flow that a finding is about.
fn place_of(finding: &Finding) -> String {
    let Some(walk) = &finding.walk else { return finding.pointer.clone() };
    let start = || finding.pointer.split('/').take(3).collect::<Vec<_>>().join("/");
    walk.move_of_place().map_or_else(start, |one| format!("/moves/{}", one.number))
}

/// Which of two findings of one place is kept: the worse, then the one with the shorter walk.
fn rank(finding: &Finding) -> impl Ord + use<> {
    let moves = finding.walk.as_ref().map_or(0, |walk| walk.moves.len());
    (finding.severity, std::cmp::Reverse(moves))
}

/// A finding of a walk's plan as one of the flow. Its step becomes the place of the move in the flow, counted from 1, so
/// that findings are sorted as the moves are; 0 is the start.
fn in_flow(found: Finding, walk: &WalkPlan, walk_to: &mut dyn FnMut(u64, u64) -> Arc<FindingWalk>) -> Finding {
    let at = usize::try_from(found.step).unwrap_or(usize::MAX);
    let (Some(Node::Step(step)), Some(origin)) = (walk.plan.nodes.get(at), walk.origins.get(at)) else {
        return Finding { corrections: Vec::new(), ..found };
    };
    let is_of_the_step =
        found.pointer.strip_prefix(&step.pointer).is_some_and(|rest| matches!(rest.as_bytes(), [] | [b'/', ..]));
    if !is_of_the_step {
        return Finding { corrections: Vec::new(), ..found };
    }
    let place = origin.by.map_or(0, |by| by as u64 + 1);
    Finding {
        pointer: origin.pointer_in_flow(step, &found.pointer),
        update: found.update.and_then(|update| origin.update_in_flow(update)),
        walk: Some(walk_to(found.step, found.last_step)),
        step: place,
        last_step: place,
        // A walk goes on after its last move, as a plan does not.
        // They name steps of the walk.
        corrections: Vec::new(),
        ..found
    }
}

/// Adds up the times, updates and energy of a walk.
fn add_figures(sum: &mut Summary, one: &Summary) {
    sum.seconds += one.seconds;
    sum.cleanings += one.cleanings;
    sum.flashing_updates += one.flashing_updates;
    sum.driving_seconds += one.driving_seconds;
    sum.energy_mj += one.energy_mj;
}

/// Keeps the largest of every other figure.
fn add_largest(sum: &mut Summary, one: &Summary) {
    sum.worst_residue_l = sum.worst_residue_l.max(one.worst_residue_l);
    sum.residue_l = sum.residue_l.max(one.residue_l);
    sum.most_since_cleaning = sum.most_since_cleaning.max(one.most_since_cleaning);
    sum.longest_answer_ms = sum.longest_answer_ms.max(one.longest_answer_ms);
    sum.longest_commit_ms = sum.longest_commit_ms.max(one.longest_commit_ms);
    sum.margins = PlanMargins {
        residue: worse(sum.margins.residue, one.margins.residue),
        answers: worse(sum.margins.answers, one.margins.answers),
        flashes: worse(sum.margins.flashes, one.margins.flashes),
        energy: None,
    };
    let residue = sum.margins.residue.and_then(|margin| margin.factor);
    sum.certainty = Certainty { residue, ..one.certainty };
}

/// The margin of the two that is nearer to its limit or farther beyond it.
fn worse(one: Option<PlanMargin>, other: Option<PlanMargin>) -> Option<PlanMargin> {
    let (Some(first), Some(second)) = (one, other) else { return one.or(other) };
    let is_worse = (second.holds(), -second.reached) < (first.holds(), -first.reached);
    Some(if is_worse { second } else { first })
}
