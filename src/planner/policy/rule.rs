//! A rule for the firmware: what it asks for at each kind of change, and when it cleans.
//!
//! Decides from what a firmware knows: the change, who asked for it, the time, and a counter. Knows no panel.

use super::{
    events::{Change, Event, Events},
    kinds_of_change::{Asker, Extent, Kind},
};
use crate::plan::{ScreenId, Update};

/// A rule for the firmware.
#[derive(Clone, Debug, PartialEq)]
pub struct Policy {
    /// From this size of its box on a change is large, in thousandths of the panel; `None` if size does not matter.
    pub large_from_permille: Option<u32>,
    /// What is asked for at each kind of change, by its place.
    pub answers: Vec<Vec<Ask>>,
    /// What is asked for at the first screen while the controller does not know the glass.
    pub start: Vec<Ask>,
    /// The cleanings, in the order in which they are looked at.
    pub cleanings: Vec<Cleaning>,
    /// A cleaning that is not in a pause comes no sooner than this after a pen, ms; nor after any touch or key where it
    /// is not itself the answer to one.
    pub quiet_ms: f64,
}

/// An update as a rule asks for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Ask {
    /// Index of the display's mode.
    pub mode: usize,
    /// Whether it refreshes the whole panel; otherwise the box around what changes.
    pub whole: bool,
}

impl Ask {
    /// The same as an update of a plan.
    pub fn update(self) -> Update {
        if self.whole { Update::of_all(self.mode) } else { Update::of_changed(self.mode) }
    }
}

/// A cleaning, due after so many updates.
#[derive(Clone, Debug, PartialEq)]
pub struct Cleaning {
    /// What it asks for.
    pub ask: Ask,
    /// It is due once so many updates came since the last cleaning, the one at hand included.
    pub after_updates: u32,
    /// When it is done once it is due.
    pub when: When,
    /// Whether the change is shown first as ever, and cleaned behind that; otherwise the cleaning shows the change.
    pub behind_answer: bool,
}

/// When a cleaning that is due is done.
#[derive(Clone, Debug, PartialEq)]
pub enum When {
    /// At the next step of this kind.
    Step(AtStep),
    /// When nothing was asked for during so many ms.
    Pause {
        /// How long.
        ms: f64,
    },
}

/// Which steps a cleaning takes place at.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct AtStep {
    /// Only at large changes.
    pub only_large: bool,
    /// Only where these asked for it.
    pub asker: Option<Asker>,
    /// Only where one of these screens comes; any if there are none.
    pub screens: Vec<ScreenId>,
}

/// What is asked for at a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// The place of the event that it belongs to: a cleaning in a pause belongs to the event before it.
    pub event: usize,
    /// When, ms since the plan began, for a cleaning in a pause.
    pub in_pause_at_ms: Option<f64>,
    /// What.
    pub asks: Vec<Ask>,
}

/// What a firmware remembers between two steps.
#[derive(Clone, Debug)]
struct Memory {
    updates: u32,
    is_unknown: bool,
    person_ms: f64,
    pen_ms: f64,
}

impl Policy {
    /// The size of a change.
    pub fn extent(&self, permille: u32) -> Extent {
        if self.large_from_permille.is_some_and(|from| permille >= from) { Extent::Large } else { Extent::Small }
    }

    /// The kind of a change.
    pub fn kind(&self, change: &Change, asker: Asker) -> Kind {
        Kind { levels: change.levels, extent: self.extent(change.permille), asker }
    }

    /// What is asked for at a change while nothing is due.
    pub fn answer(&self, kind: Kind) -> &[Ask] {
        &self.answers[kind.place()]
    }

    /// All that is asked for, in order.
    pub fn decide(&self, events: &Events) -> Vec<Decision> {
        let mut memory = Memory {
            updates: 0,
            is_unknown: events.begins_unknown,
            person_ms: f64::NEG_INFINITY,
            pen_ms: f64::NEG_INFINITY,
        };
        let mut decisions = Vec::new();
        for (place, event) in events.list.iter().enumerate() {
            let asks = self.at_event(event, &mut memory);
            decisions.push(Decision { event: place, in_pause_at_ms: None, asks });
            if !event.goes_off {
                let next_ms = events.list.get(place + 1).map_or(f64::INFINITY, |next| next.at_ms);
                decisions.extend(self.in_pause(place, (event.asked_ms, next_ms), &mut memory));
            }
        }
        decisions
    }

    fn at_event(&self, event: &Event, memory: &mut Memory) -> Vec<Ask> {
        let asks = if memory.is_unknown && event.screen.is_some() {
            (memory.is_unknown, memory.updates) = (false, 0);
            self.start.clone()
        } else {
            self.when_known(event, memory)
        };
        if event.asker == Asker::Person {
            memory.person_ms = event.asked_ms;
        }
        if event.by_pen {
            memory.pen_ms = event.asked_ms;
        }
        memory.is_unknown |= event.forgets;
        asks
    }

    fn when_known(&self, event: &Event, memory: &mut Memory) -> Vec<Ask> {
        let answer = event.change.as_ref().map(|change| self.answer(self.kind(change, event.asker)));
        memory.updates += u32::from(answer.is_some());
        let shown = answer.unwrap_or_default();
        let is_due =
            |cleaning: &&Cleaning| memory.updates >= cleaning.after_updates && self.is_at(cleaning, event, memory);
        let Some(cleaning) = self.cleanings.iter().find(is_due) else { return shown.to_vec() };
        memory.updates = 0;
        let first = if cleaning.behind_answer { shown } else { &[] };
        first.iter().copied().chain([cleaning.ask]).collect()
    }

    /// Whether a cleaning that is due may be done at an event.
    fn is_at(&self, cleaning: &Cleaning, event: &Event, memory: &Memory) -> bool {
        let When::Step(at) = &cleaning.when else { return false };
        let last_ms = if event.asker == Asker::Person { memory.pen_ms } else { memory.pen_ms.max(memory.person_ms) };
        let is_large = || event.change.as_ref().is_some_and(|change| self.extent(change.permille) == Extent::Large);
        let shows = |screen| at.screens.contains(&screen);
        event.asked_ms - last_ms >= self.quiet_ms
            && !memory.is_unknown
            && (!at.only_large || is_large())
            && at.asker.is_none_or(|asker| asker == event.asker)
            && (at.screens.is_empty() || event.screen.is_some_and(shows))
            // A tap that changes nothing is no reason to flash.
            && (event.change.is_some() || event.asker == Asker::Device)
    }

    fn in_pause(&self, place: usize, (from_ms, to_ms): (f64, f64), memory: &mut Memory) -> Option<Decision> {
        let due = self.cleanings.iter().filter(|cleaning| memory.updates >= cleaning.after_updates);
        let after = |cleaning: &Cleaning| match cleaning.when {
            When::Pause { ms } if from_ms + ms < to_ms => Some((ms, cleaning.ask)),
            _ => None,
        };
        let first = due.filter_map(after).min_by(|one, other| one.0.total_cmp(&other.0));
        let (ms, ask) = first.filter(|_| !memory.is_unknown && memory.updates > 0)?;
        memory.updates = 0;
        Some(Decision { event: place, in_pause_at_ms: Some(from_ms + ms), asks: vec![ask] })
    }
}
