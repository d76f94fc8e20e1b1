//! The search for a rule: one part of it at a time, every way to fill it played over the whole plan, until nothing helps.
//!
//! Knows the order in which parts are tried; what may stand in them, `family.rs` says.

use std::collections::{HashMap, HashSet};

use super::{
    events::{Events, events_of},
    family::Family,
    kinds_of_change::Kind,
    rule::{Ask, Cleaning, Decision, Policy},
    rule_plays::{score_as_written, scores_of},
    written_out::written_out,
};
use crate::{
    change::pipeline::ScreenSource,
    plan::{Plan, Updates},
    planner::{choose::Score, turned::turned},
    review::BrokenScreen,
};

/// Rounds over all parts of a rule.
const MOST_ROUNDS: usize = 4;
/// Cleanings in one rule.
const MOST_CLEANINGS: usize = 2;
/// A plan that loops is played as many times at most, and as many steps in all; at least twice.
const MOST_TURNS: u64 = 50;
const MOST_STEPS: u64 = 3000;
/// A plan that loops is played until so many updates have come: a counter must have had the time to run out.
const UPDATES_PLAYED: u64 = 250;
/// So many rules are played before the next ones are compared with the best of them.
const BATCH: usize = 12;
/// On larger panels, times steps, two beginnings are followed instead of all.
const LARGE: u64 = 1 << 25;

/// A rule that was found for a plan.
#[derive(Debug)]
pub struct FoundPolicy {
    /// The rule.
    pub policy: Policy,
    /// How good the plan is with it.
    pub score: Score,
    /// How good the plan is as it is; `None` if some of its updates are still to be chosen.
    pub before: Option<Score>,
    /// The plan as it was played: several turns of it, if it loops.
    pub turned: Plan,
    /// The same with what the rule asks for.
    pub played: Plan,
    /// How many turns that are.
    pub turns: u64,
    /// What the firmware sees of it.
    pub events: Events,
    /// What the rule asks for at each of them.
    pub decisions: Vec<Decision>,
    /// How many rules were played.
    pub tried: usize,
}

impl FoundPolicy {
    /// Whether it keeps what every choice must: no more errors than the plan as it is, screens that nobody sees among them.
    pub fn is_allowed(&self) -> bool {
        self.before.is_none_or(|before| self.score.errors <= before.errors)
    }

    /// How many changes of each kind the plan has, by the places of the kinds.
    pub fn changes(&self) -> Vec<u64> {
        let mut counts = vec![0; Kind::COUNT];
        for event in &self.events.list {
            if let Some(change) = &event.change {
                counts[self.policy.kind(change, event.asker).place()] += 1;
            }
        }
        counts
    }
}

/// Finds a rule for a plan; `progress` learns how many rules were played so far.
///
/// # Errors
/// Where screens cannot be used.
pub fn policy_for(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    progress: &mut dyn FnMut(usize),
) -> Result<FoundPolicy, Vec<BrokenScreen>> {
    let turns = turns_of(plan, &events_of(plan, screens, threads)?);
    let turned = turned(plan, turns);
    let events = events_of(&turned, screens, threads)?;
    let is_open = plan.steps().any(|planned| planned.step.updates == Updates::Choose);
    let before = if is_open { None } else { Some(score_as_written(&turned, screens, threads)?) };
    let family = Family::new(&turned, &events);
    let mut search =
        Search { plan: &turned, screens, threads, events: &events, family, known: HashMap::new(), progress };
    let mut beginnings = search.family.beginnings(&events);
    if plan.screen_size().pixels() * turned.step_count > LARGE {
        beginnings.truncate(2);
    }
    let mut best: Option<(Policy, Score)> = None;
    for beginning in beginnings {
        let found = search.improved(beginning)?;
        if best.as_ref().is_none_or(|best| found.1.order(&best.1).is_lt()) {
            best = Some(found);
        }
    }
    let best = best.unwrap_or_else(|| unreachable!("there is at least one beginning"));
    let (policy, score) = search.without_needless(best)?;
    let tried = search.known.len();
    let policy = plain(policy, &events);
    let decisions = policy.decide(&events);
    let played = written_out(&turned, &events, &decisions);
    Ok(FoundPolicy { policy, score, before, turned, played, turns, events, decisions, tried })
}

fn turns_of(plan: &Plan, events: &Events) -> u64 {
    if !plan.loops || plan.step_count == 0 {
        return 1;
    }
    let updates = events.list.iter().filter(|event| event.change.is_some()).count().max(1) as u64;
    let most = (MOST_STEPS / plan.step_count).clamp(2, MOST_TURNS);
    UPDATES_PLAYED.div_ceil(updates).clamp(2, most)
}

/// The same rule without what the plan gives no reason for: a limit of size that parts nothing is none.
fn plain(policy: Policy, events: &Events) -> Policy {
    let same = |other: &Policy| other.decide(events) == policy.decide(events);
    let without = Policy { large_from_permille: None, ..policy.clone() };
    if same(&without) { without } else { policy }
}

type Broken = Vec<BrokenScreen>;

struct Search<'s> {
    plan: &'s Plan,
    screens: &'s dyn ScreenSource,
    threads: usize,
    events: &'s Events,
    family: Family<'s>,
    /// What was played, by what was asked for.
    known: HashMap<Asked, Known>,
    progress: &'s mut dyn FnMut(usize),
}

/// What is known of a rule that was played.
#[derive(Clone, Copy)]
enum Known {
    Score(Score),
    /// It was given up because it is worse than this.
    WorseThan(Score),
}

impl Known {
    fn score(self) -> Option<Score> {
        match self {
            Self::Score(score) => Some(score),
            Self::WorseThan(_) => None,
        }
    }

    /// Whether that is enough to compare it with a score.
    fn is_enough(self, bound: Option<Score>) -> bool {
        match self {
            Self::Score(_) => true,
            Self::WorseThan(score) => bound.is_some_and(|bound| bound.order(&score).is_le()),
        }
    }
}

/// All that a rule asks for: two rules that ask for the same are one.
type Asked = Vec<(usize, u64, Vec<Ask>)>;

fn asked(decisions: &[Decision]) -> Asked {
    let when = |decision: &Decision| decision.in_pause_at_ms.map_or(0, f64::to_bits);
    decisions.iter().map(|decision| (decision.event, when(decision), decision.asks.clone())).collect()
}

impl Search<'_> {
    /// A rule, improved part by part until nothing helps.
    fn improved(&mut self, beginning: Policy) -> Result<(Policy, Score), Broken> {
        let score = self.scores(std::slice::from_ref(&beginning), None)?[0];
        let none = Score { errors: u64::MAX, cost: f64::INFINITY };
        let mut best = (beginning, score.unwrap_or(none));
        for _ in 0..MOST_ROUNDS {
            let before = best.1;
            self.improve_cleanings(&mut best)?;
            for kind in Kind::all() {
                let answers = self.family.answers(kind);
                self.take_best(&mut best, |policy| answers.iter().map(|asks| answered(policy, kind, asks)).collect())?;
            }
            self.improve_sizes(&mut best)?;
            let starts = self.family.starts();
            self.take_best(&mut best, |policy| {
                starts.iter().map(|start| Policy { start: start.clone(), ..policy.clone() }).collect()
            })?;
            if best.1 == before {
                break;
            }
        }
        Ok(best)
    }

    /// A rule without those of several updates at one kind of change that make it no better.
    fn without_needless(&mut self, mut best: (Policy, Score)) -> Result<(Policy, Score), Broken> {
        for kind in Kind::all() {
            let asks = best.0.answer(kind).to_vec();
            if asks.len() < 2 {
                continue;
            }
            let shorter: Vec<Policy> = asks.iter().map(|ask| answered(&best.0, kind, &[*ask])).collect();
            let scores = self.scores(&shorter, Some(best.1))?;
            let mut as_good = shorter.into_iter().zip(scores).filter_map(|(policy, score)| Some((policy, score?)));
            if let Some(found) = as_good.find(|(_, score)| score.order(&best.1).is_le()) {
                best = found;
            }
        }
        Ok(best)
    }

    fn improve_cleanings(&mut self, best: &mut (Policy, Score)) -> Result<(), Broken> {
        for place in 0..MOST_CLEANINGS {
            if place > best.0.cleanings.len() {
                break;
            }
            let cleanings = self.family.cleanings();
            self.take_best(best, |policy| {
                let with = cleanings.iter().map(|cleaning| cleaned(policy, place, Some(cleaning)));
                with.chain([cleaned(policy, place, None)]).collect()
            })?;
            let Some(cleaning) = best.0.cleanings.get(place).cloned() else { continue };
            let others = self.family.counted_otherwise(&cleaning);
            self.take_best(best, |policy| {
                others.iter().map(|cleaning| cleaned(policy, place, Some(cleaning))).collect()
            })?;
        }
        Ok(())
    }

    /// Another limit of size helps only with other answers on one side of it: both are tried together.
    fn improve_sizes(&mut self, best: &mut (Policy, Score)) -> Result<(), Broken> {
        let sizes = self.family.sizes();
        let answers: Vec<(Kind, Vec<Vec<Ask>>)> = Kind::all().map(|kind| (kind, self.family.answers(kind))).collect();
        self.take_best(best, |policy| {
            let mut found = Vec::new();
            for size in &sizes {
                let sized = Policy { large_from_permille: *size, ..policy.clone() };
                let others = answers.iter().flat_map(|(kind, answers)| {
                    let sized = &sized;
                    answers.iter().map(move |asks| answered(sized, *kind, asks))
                });
                found.extend(others.collect::<Vec<_>>());
                found.push(sized);
            }
            found
        })
    }

    /// Takes the best of some others where it is better.
    fn take_best(
        &mut self,
        best: &mut (Policy, Score),
        others: impl FnOnce(&Policy) -> Vec<Policy>,
    ) -> Result<(), Broken> {
        let others = others(&best.0);
        let scores = self.scores(&others, Some(best.1))?;
        for (policy, score) in others.into_iter().zip(scores) {
            if let Some(score) = score.filter(|score| score.order(&best.1).is_lt()) {
                *best = (policy, score);
            }
        }
        Ok(())
    }

    /// How good some rules are; those that ask for the same are played once.
    fn scores(&mut self, policies: &[Policy], bound: Option<Score>) -> Result<Vec<Option<Score>>, Broken> {
        let lists: Vec<Vec<Decision>> = policies.iter().map(|policy| policy.decide(self.events)).collect();
        let keys: Vec<Asked> = lists.iter().map(|list| asked(list)).collect();
        let mut new: Vec<(Asked, Vec<Decision>)> = Vec::new();
        let mut is_listed = HashSet::new();
        for (key, list) in keys.iter().zip(lists) {
            let is_known = self.known.get(key).is_some_and(|known| known.is_enough(bound));
            if !is_known && is_listed.insert(key) {
                new.push((key.clone(), list));
            }
        }
        let mut bound = bound;
        for batch in new.chunks(BATCH) {
            let (keys, lists): (Vec<&Asked>, Vec<&[Decision]>) =
                batch.iter().map(|(key, list)| (key, list.as_slice())).unzip();
            let scores = scores_of(self.plan, self.screens, self.threads, &lists, bound)?;
            let before = bound;
            for (key, score) in keys.into_iter().zip(scores) {
                let known = score.map(Known::Score).or(before.map(Known::WorseThan));
                self.known.extend(known.map(|known| (key.clone(), known)));
                if let (Some(score), Some(known)) = (score, bound)
                    && score.order(&known).is_lt()
                {
                    bound = Some(score);
                }
            }
            (self.progress)(self.known.len());
        }
        Ok(keys.iter().map(|key| self.known.get(key).and_then(|known| known.score())).collect())
    }
}

fn answered(policy: &Policy, kind: Kind, asks: &[Ask]) -> Policy {
    let mut policy = policy.clone();
    policy.answers[kind.place()] = asks.to_vec();
    policy
}

fn cleaned(policy: &Policy, place: usize, cleaning: Option<&Cleaning>) -> Policy {
    let mut policy = policy.clone();
    match cleaning {
        Some(cleaning) if place < policy.cleanings.len() => policy.cleanings[place] = cleaning.clone(),
        Some(cleaning) => policy.cleanings.push(cleaning.clone()),
        None if place < policy.cleanings.len() => {
            policy.cleanings.remove(place);
        }
        None => {}
    }
    policy
}
