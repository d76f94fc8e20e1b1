//! The family of rules among which one is chosen: `docs/planner.md` lists it.
//!
//! Knows the display and what the plan's events look like; how good a rule is, others find out by playing it.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    events::{Event, Events},
    kinds_of_change::{Asker, Kind},
    rule::{Ask, AtStep, Cleaning, Policy, When},
};
use crate::{
    display::{LevelSet, Mode},
    plan::{Plan, ScreenId, Step, Update, WindowAsk},
};

/// Limits between small and large changes that are tried, in thousandths of the panel.
const LARGE_FROM: [u32; 6] = [20, 50, 100, 250, 500, 800];
/// Numbers of updates after which a cleaning is due.
const AFTER: [u32; 14] = [1, 2, 3, 4, 6, 8, 10, 12, 15, 20, 30, 60, 90, 120];
/// With these a place for cleanings is tried first.
const FIRST_AFTER: [u32; 3] = [4, 12, 60];
/// Pauses beside those that the limits of the plan name, ms.
const LONG_PAUSES_MS: [f64; 2] = [20_000.0, 300_000.0];
/// As many screens are tried as places for a cleaning.
const MOST_SCREENS: usize = 8;
/// A mode that keeps no more than this share of the residue cleans well enough to be tried for it.
const CLEANS_WELL: f64 = 0.35;

/// By what the first of several answers is found: the lowest.
type By<'b> = &'b dyn Fn(&Vec<Ask>) -> (u32, usize, u64);

/// All that may be in a rule for a plan.
pub(super) struct Family<'p> {
    plan: &'p Plan,
    /// The levels before and after that occur, by levels of a kind.
    occurring: [[LevelSet; 2]; 3],
    screens: Vec<ScreenId>,
    is_asked_by: BTreeSet<Asker>,
    /// Boxes around changes, in thousandths.
    permille: BTreeSet<u32>,
}

impl<'p> Family<'p> {
    pub(super) fn new(plan: &'p Plan, events: &Events) -> Self {
        let mut occurring = [[LevelSet::default(); 2]; 3];
        for change in events.list.iter().filter_map(|event| event.change.as_ref()) {
            let sets = &mut occurring[change.levels as usize];
            *sets = [sets[0].union(change.sets[0]), sets[1].union(change.sets[1])];
        }
        let changing = || events.list.iter().filter_map(|event| Some((event, event.change.as_ref()?)));
        Self {
            plan,
            occurring,
            screens: resting_screens(events),
            is_asked_by: changing().map(|(event, _)| event.asker).collect(),
            permille: changing().map(|(_, change)| change.permille).collect(),
        }
    }

    fn modes(&self) -> impl Iterator<Item = (usize, &'p Mode)> {
        self.plan.display.modes.iter().enumerate()
    }

    /// The modes that bring all pixels of a kind to their levels: whatever such a change may hold, otherwise what it holds in
    /// this plan.
    fn reaching(&self, kind: Kind) -> Vec<(usize, &'p Mode)> {
        let within = |[from, to]: [LevelSet; 2]| {
            self.modes().filter(|(_, mode)| from.is_within(mode.from) && to.is_within(mode.to)).collect::<Vec<_>>()
        };
        let any = within(kind.levels.sets(&self.plan.display.ink));
        if any.is_empty() { within(self.occurring[kind.levels as usize]) } else { any }
    }

    fn damage(&self, (index, mode): (usize, &Mode)) -> Ask {
        Ask { mode: index, whole: !mode.windowed || self.plan.display.windows.is_none() }
    }

    /// What may be asked for at changes of a kind.
    pub(super) fn answers(&self, kind: Kind) -> Vec<Vec<Ask>> {
        let reaching = self.reaching(kind);
        let mut found: Vec<Vec<Ask>> = Vec::new();
        for (index, mode) in &reaching {
            found.push(vec![self.damage((*index, mode))]);
            if !mode.changed_only {
                found.push(vec![Ask { mode: *index, whole: true }]);
            }
        }
        // At once what a quick mode can show, and then what it cannot.
        let quick = || self.modes().filter(|(_, mode)| mode.flashes == 0 && mode.changed_only);
        for then in &reaching {
            for first in quick().filter(|(index, _)| *index != then.0) {
                found.push(vec![self.damage(first), self.damage(*then)]);
            }
        }
        let mut distinct: Vec<Vec<Ask>> = Vec::new();
        for asks in found {
            if !distinct.contains(&asks) {
                distinct.push(asks);
            }
        }
        distinct
    }

    /// What may be asked for at the first screen while the glass is unknown.
    pub(super) fn starts(&self) -> Vec<Vec<Ask>> {
        let all = |(index, _)| vec![Ask { mode: index, whole: true }];
        let driving: Vec<_> = self.modes().filter(|(_, mode)| !mode.changed_only).map(all).collect();
        if driving.is_empty() { self.modes().map(all).collect() } else { driving }
    }

    /// Limits between small and large, none among them; only those that part the changes of the plan.
    pub(super) fn sizes(&self) -> Vec<Option<u32>> {
        let parts =
            |from: &u32| self.permille.range(..from).next().is_some() && self.permille.range(from..).next().is_some();
        [None].into_iter().chain(LARGE_FROM.into_iter().filter(parts).map(Some)).collect()
    }

    /// Cleanings with the numbers of updates that are tried first.
    pub(super) fn cleanings(&self) -> Vec<Cleaning> {
        let numbers = self.limit().into_iter().chain(FIRST_AFTER);
        let numbers: BTreeSet<u32> = numbers.collect();
        let with = |places: &Cleaning| {
            let with = |after_updates: &u32| Cleaning { after_updates: *after_updates, ..places.clone() };
            numbers.iter().map(with).collect::<Vec<_>>()
        };
        self.places().iter().flat_map(with).collect()
    }

    /// The same cleaning with every number of updates, and with those next to its own.
    pub(super) fn counted_otherwise(&self, cleaning: &Cleaning) -> Vec<Cleaning> {
        let own = cleaning.after_updates;
        let near = [own.saturating_sub(2), own.saturating_sub(1), own + 1, own + 2];
        let numbers: BTreeSet<u32> = AFTER.into_iter().chain(near).chain(self.limit()).collect();
        let with = |after_updates| Cleaning { after_updates, ..cleaning.clone() };
        numbers.into_iter().filter(|number| *number > 0 && *number != own).map(with).collect()
    }

    /// The limit of the panel, and one less: the update that reaches it may still be the cleaning itself.
    fn limit(&self) -> Vec<u32> {
        let limit = self.plan.limits.too_many_since_cleaning.updates.map(|limit| limit.value as u32);
        limit.into_iter().flat_map(|limit| [limit, limit.saturating_sub(1)]).filter(|number| *number > 0).collect()
    }

    /// Every mode that cleans, at every moment for it.
    fn places(&self) -> Vec<Cleaning> {
        let mut found = Vec::new();
        for (index, mode) in self.modes().filter(|(_, mode)| self.cleans(mode)) {
            let whole = Ask { mode: index, whole: true };
            let boxed = Some(self.damage((index, mode))).filter(|ask| !ask.whole);
            let cleaning = |ask, when, behind_answer| Cleaning { ask, after_updates: 1, when, behind_answer };
            found.extend(self.pauses().into_iter().map(|ms| cleaning(whole, When::Pause { ms }, false)));
            for at in self.steps() {
                found.push(cleaning(whole, When::Step(at.clone()), false));
                found.push(cleaning(whole, When::Step(at.clone()), true));
                found.extend(boxed.map(|ask| cleaning(ask, When::Step(at.clone()), false)));
            }
        }
        found
    }

    /// Whether a mode takes enough away, and shows whatever changes.
    fn cleans(&self, mode: &Mode) -> bool {
        let cleans_well = mode.residue_at(self.plan.temperature_c).keeps <= CLEANS_WELL;
        let shows = |[from, to]: &[LevelSet; 2]| from.is_within(mode.from) && to.is_within(mode.to);
        !mode.changed_only && (mode.cleans || cleans_well) && self.occurring.iter().all(shows)
    }

    fn pauses(&self) -> Vec<f64> {
        let limits = &self.plan.limits;
        let named = [limits.cleaning_interrupts.quiet_ms.value, limits.missed_rest.pause_ms.value];
        let mut found: Vec<f64> = named.into_iter().chain(LONG_PAUSES_MS).filter(|ms| *ms > 0.0).collect();
        found.sort_by(f64::total_cmp);
        found.dedup();
        found
    }

    fn steps(&self) -> Vec<AtStep> {
        let anywhere = AtStep::default();
        let mut found = vec![anywhere.clone()];
        if self.permille.len() > 1 {
            found.push(AtStep { only_large: true, ..anywhere.clone() });
        }
        if self.is_asked_by.len() > 1 {
            let asked_by = |asker: &Asker| AtStep { asker: Some(*asker), ..anywhere.clone() };
            found.extend(self.is_asked_by.iter().map(asked_by));
        }
        found.extend(self.screens.iter().map(|screen| AtStep { screens: vec![*screen], ..anywhere.clone() }));
        found
    }

    /// Where the search begins: without a flash where possible; as the plan does it most often; with a cleaning of what changes;
    /// and with a cleaning at every change.
    pub(super) fn beginnings(&self, events: &Events) -> Vec<Policy> {
        let quiet = |asks: &Vec<Ask>| {
            let mode = |ask: &Ask| &self.plan.display.modes[ask.mode];
            let flashes: u32 = asks.iter().map(|ask| mode(ask).flashes).sum();
            let ms: f64 = asks.iter().map(|ask| mode(ask).duration_at(self.plan.temperature_c)).sum();
            (flashes, asks.len(), ms as u64)
        };
        let cleans = |asks: &Vec<Ask>| {
            let [ask] = asks.as_slice() else { return (true, true, 0) };
            let mode = &self.plan.display.modes[ask.mode];
            (!mode.cleans, ask.whole, mode.flashes)
        };
        let whole = |asks: &Vec<Ask>| (cleans(asks).0, !asks.iter().all(|ask| ask.whole), cleans(asks).2);
        let best = |by: By<'_>| self.with_answers(by);
        let number = |(one, two, three): (bool, bool, u32)| (u32::from(one), usize::from(two), u64::from(three));
        let quiet = best(&quiet);
        let as_planned = self.as_planned(events, &quiet);
        vec![quiet, as_planned, best(&|asks| number(cleans(asks))), best(&|asks| number(whole(asks)))]
    }

    /// A rule that answers each kind of change as the plan does most often, as far as a rule can.
    fn as_planned(&self, events: &Events, otherwise: &Policy) -> Policy {
        let mut policy = otherwise.clone();
        for kind in Kind::all() {
            let of_kind =
                |event: &&Event| event.change.as_ref().is_some_and(|change| policy.kind(change, event.asker) == kind);
            let asked: Vec<Vec<Ask>> =
                events.list.iter().filter(of_kind).filter_map(|event| self.asks_of(&event.step)).collect();
            let count = |asks: &Vec<Ask>| asked.iter().filter(|other| *other == asks).count();
            // Of several that are as frequent the first of the family.
            let known = self.answers(kind).into_iter().rev().filter(|asks| count(asks) > 0);
            if let Some(most) = known.max_by_key(|asks| count(asks)) {
                policy.answers[kind.place()] = most;
            }
        }
        policy
    }

    /// The updates of a step as a rule would ask for them; a list of windows is taken for the box around what changes.
    fn asks_of(&self, step: &Step) -> Option<Vec<Ask>> {
        let ask = |update: &Update| {
            let mode = &self.plan.display.modes[update.mode];
            let damage = self.damage((update.mode, mode));
            if update.window == WindowAsk::All { Ask { mode: update.mode, whole: true } } else { damage }
        };
        let asks: Vec<Ask> = step.listed_updates().iter().map(ask).collect();
        (!asks.is_empty()).then_some(asks)
    }

    fn with_answers(&self, by: By<'_>) -> Policy {
        let answer = |kind| self.answers(kind).into_iter().min_by_key(by).unwrap_or_default();
        let is_clean = |asks: &Vec<Ask>| {
            let mode = asks.first().map(|ask| &self.plan.display.modes[ask.mode]);
            mode.map_or((true, 0), |mode| (!mode.cleans, mode.flashes))
        };
        Policy {
            large_from_permille: None,
            answers: Kind::all().map(answer).collect(),
            start: self.starts().into_iter().min_by_key(is_clean).unwrap_or_default(),
            cleanings: Vec::new(),
            quiet_ms: self.plan.limits.cleaning_interrupts.quiet_ms.value,
        }
    }
}

/// The screens that stand longest in the plan, and come more than once or stand for long: where a cleaning may bother least.
fn resting_screens(events: &Events) -> Vec<ScreenId> {
    let mut rests: BTreeMap<ScreenId, f64> = BTreeMap::new();
    for pair in events.list.windows(2) {
        let [Event { screen: Some(screen), asked_ms, .. }, next] = pair else { continue };
        *rests.entry(*screen).or_default() += next.at_ms - asked_ms;
    }
    let mut found: Vec<(ScreenId, f64)> = rests.into_iter().collect();
    found.sort_by(|one, other| other.1.total_cmp(&one.1).then(one.0.cmp(&other.0)));
    found.into_iter().take(MOST_SCREENS).map(|(screen, _)| screen).collect()
}
