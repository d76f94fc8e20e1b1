//! The turns of a plan that loops: plays the rules on, turn after turn, until the panel ends a turn as it ended the one before.
//!
//! Knows when to stop and which rules are new; what is said of them stands in the rule `loop-breaks`.

use std::{collections::BTreeSet, ops::ControlFlow};

use super::{
    OF_LATER_TURNS, RuleRunner, Selection,
    due::{HOUR_MS, whole_cleaning_ms},
    wording,
};
use crate::{
    finding::{Finding, LaterTurns, LostLater, OfTurn, accept_findings, sort_findings},
    panel::{PlayedStep, Player},
    plan::{MOST_STEPS, Plan},
};

/// The most turns that are played.
const MOST_TURNS: u64 = 50;
/// Rules look back as far as this, hours between cleanings aside: for so long a panel must have repeated itself.
const LONGEST_LOOK_BACK_MS: f64 = 600_000.0;

/// The rules at work on turn after turn.
pub(crate) struct Turns<'p> {
    plan: &'p Plan,
    runner: RuleRunner<'p>,
    /// The updates that are lost in the first turn, by step and place.
    lost: BTreeSet<(u64, usize)>,
    /// The rules that found something in the first turn, or have reported something since.
    known: BTreeSet<&'static str>,
    /// How many findings each `accept` matched at most.
    accepted: Vec<u64>,
    later: LaterTurns,
    before: Option<Ended<'p>>,
    /// When the panel ended a turn first as it ended the one before, ms.
    repeats_since_ms: Option<f64>,
    cleaned_ms: f64,
    was_cleaned: bool,
}

/// The panel at the end of a turn.
struct Ended<'p> {
    player: Player<'p>,
    at_ms: f64,
}

impl<'p> Turns<'p> {
    /// Nothing where the plan does not loop, or nobody asks what comes of it.
    pub(crate) fn new(plan: &'p Plan, selection: &Selection) -> Option<Self> {
        if !plan.loops || plan.switches_off(OF_LATER_TURNS) || plan.step_count == 0 || !selection.takes(OF_LATER_TURNS)
        {
            return None;
        }
        // Of the rules that are not asked for themselves it is asked anyway whether they fire later.
        let all = Selection { only: Vec::new(), ..selection.clone() };
        Some(Self {
            plan,
            runner: RuleRunner::new(plan, &all),
            lost: BTreeSet::new(),
            known: BTreeSet::new(),
            accepted: vec![0; plan.accept.len()],
            later: LaterTurns::default(),
            before: None,
            repeats_since_ms: None,
            cleaned_ms: 0.0,
            was_cleaned: false,
        })
    }

    /// How many turns are played at most.
    pub(crate) fn most(&self) -> u64 {
        most_turns(self.plan.step_count)
    }

    /// Shows a step of any turn to the rules.
    pub(crate) fn step(&mut self, step: &PlayedStep<'_>) {
        self.runner.step(step);
        self.see_lost(step);
        if let Some(cleaned_ms) = whole_cleaning_ms(step, self.plan) {
            (self.cleaned_ms, self.was_cleaned) = (cleaned_ms, true);
        }
    }

    /// Notes the updates that are lost in the first turn, and the first that is lost only in a later one.
    fn see_lost(&mut self, step: &PlayedStep<'_>) {
        let planned = step.planned;
        let number = planned.index % self.plan.step_count;
        let lost = step.updates.iter().enumerate().filter_map(|(at, update)| Some((at, update, update.lost?)));
        for (at, update, lost) in lost {
            if self.later.played == 0 {
                self.lost.insert((number, at));
            } else if self.later.lost.is_none() && !self.lost.contains(&(number, at)) {
                self.later.lost = Some(LostLater {
                    turn: self.later.played + 1,
                    step: wording::step_name(number, planned.step.label.as_deref()),
                    mode: self.plan.display.modes[update.mode].name.clone(),
                    after_ms: (!planned.step.cause.is_person())
                        .then(|| planned.step.after_ms + lost.later_ms(update.times.request_ms)),
                });
            }
        }
    }

    /// Looks at the panel after a step; says whether enough was seen.
    pub(crate) fn after(&mut self, player: &Player<'p>, index: u64, at_ms: f64) -> ControlFlow<()> {
        if !(index + 1).is_multiple_of(self.plan.step_count) {
            return ControlFlow::Continue(());
        }
        self.later.played += 1;
        self.take_new();
        let ended = Ended { player: player.fork(), at_ms };
        let repeats =
            self.before.as_ref().is_some_and(|before| ended.player.repeats(at_ms, &before.player, before.at_ms));
        self.before = Some(ended);
        self.repeats_since_ms = self.repeats_since_ms.filter(|_| repeats).or(repeats.then_some(at_ms));
        let is_over = self.is_settled(at_ms);
        self.was_cleaned = false;
        self.later.repeats = self.repeats_since_ms.is_some();
        if is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }

    /// Whether the panel repeated itself for as long as any rule looks back.
    fn is_settled(&self, at_ms: f64) -> bool {
        let Some(since_ms) = self.repeats_since_ms else { return false };
        let hours = self.plan.limits.cleaning_overdue.hours;
        let is_overdue = |hours: f64| at_ms - self.cleaned_ms > hours * HOUR_MS;
        let no_hours_left = self.was_cleaned || hours.is_none_or(|hours| is_overdue(hours.value));
        at_ms - since_ms >= LONGEST_LOOK_BACK_MS && no_hours_left
    }

    /// Takes the findings of rules that found nothing up to this turn, as if the plan ended with it.
    fn take_new(&mut self) {
        let mut runner = self.runner.clone();
        runner.end();
        let mut findings = runner.take_findings();
        for finding in &mut findings {
            self.count_in_its_turn(finding);
        }
        sort_findings(&mut findings);
        let matched = accept_findings(&mut findings, &self.plan.accept);
        for (most, matched) in self.accepted.iter_mut().zip(matched) {
            *most = matched.max(*most);
        }
        let turn = self.later.played;
        for finding in findings.into_iter().filter(Finding::is_open) {
            if self.known.insert(finding.rule) && turn > 1 {
                self.later.findings.push(OfTurn { turn, finding });
            }
        }
    }

    /// Steps are counted in their turn: the plan has no others.
    fn count_in_its_turn(&self, finding: &mut Finding) {
        let steps = self.plan.step_count;
        finding.last_step = (finding.step % steps).max(finding.last_step % steps);
        finding.step %= steps;
    }

    /// What the later turns brought, and how many findings each `accept` matched in any of them.
    pub(crate) fn finish(self) -> (LaterTurns, Vec<u64>) {
        (self.later, self.accepted)
    }
}

/// How many turns of so many steps are played at most.
fn most_turns(steps: u64) -> u64 {
    (MOST_STEPS / steps).clamp(1, MOST_TURNS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fifty_turns_are_played_and_a_million_steps() {
        let most = [1, 20_000, 20_001, 500_000, 500_001, 1_000_000].map(most_turns);
        assert_eq!(most, [50, 50, 49, 2, 1, 1]);
    }
}
