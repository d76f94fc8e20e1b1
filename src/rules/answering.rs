//! Which mode of the display would answer a person soonest, of those that may show what changed: they reach its levels, may
//! start from what stands on the glass, and need to know no more of that than the controller does.
//!
//! Knows one update alone: what it would wait for is not known here.

use std::collections::BTreeMap;

use super::{
    remedy::{self, Settling},
    wording,
};
use crate::{
    change::{Mask, TileCover, bits, levels_of_tile, proposed_window},
    display::{Level, LevelSet, Mode},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
};

/// A change that is to be answered.
#[derive(Debug)]
pub(super) struct Answering<'s, 'p> {
    plan: &'p Plan,
    step: &'s PlayedStep<'s>,
    change: &'s Mask,
    rect: Rect,
    /// What stood on the glass where it changes, and what is to.
    levels: [LevelSet; 2],
    /// How many pixels go from each level to each.
    ways: BTreeMap<(Level, Level), u64>,
    /// Whether the controller knew what was on the whole glass.
    was_known: bool,
}

/// An update that answers.
#[derive(Debug)]
pub(super) struct Answer<'p> {
    mode: &'p Mode,
    /// Where; the whole panel where that is nothing.
    window: Option<Rect>,
    /// From its request to its first change, ms.
    pub(super) first_ms: f64,
    /// From its request to its end, ms.
    pub(super) whole_ms: f64,
    /// Whether it brings all that changes to its level.
    reaches_all: bool,
    /// What brings the rest after it.
    settling: Option<Settling<'p>>,
}

impl<'s, 'p> Answering<'s, 'p> {
    /// A change of a step, which has at least a pixel: nothing of one that has none.
    pub(super) fn new(plan: &'p Plan, step: &'s PlayedStep<'s>, change: &'s Mask, was_known: bool) -> Option<Self> {
        let rect = change.bounds(step.grid())?;
        let (_, to) = remedy::levels_of(change, step);
        // Where the step's updates brought something to its level, what stood there before is known from them.
        let (left, _) = remedy::levels_of(&change.and(&step.glass.unlike_memory()), step);
        let from = step.updates.iter().fold(left, |from, update| from.union(update.changes_from));
        Some(Self { plan, step, change, rect, levels: [from, to], ways: ways(plan, step, change), was_known })
    }

    /// The update that shows at least so many of its pixels soonest: best within a time, ms, and all of them.
    pub(super) fn first(&self, least_px: u64, within_ms: f64) -> Option<Answer<'p>> {
        let answers: Vec<Answer<'p>> = self.answers(least_px).collect();
        let rank = |answer: &Answer<'_>| {
            let is_late = answer.first_ms > within_ms;
            // Where none is in time, only the soonest helps.
            let flashes = !is_late && answer.mode.flashes > 0;
            (is_late, !is_late && !answer.reaches_all, flashes)
        };
        let soonest = |one: &Answer<'_>, other: &Answer<'_>| {
            rank(one).cmp(&rank(other)).then(one.first_ms.total_cmp(&other.first_ms))
        };
        answers.into_iter().min_by(soonest)
    }

    /// The update that shows all of it and ends soonest: best within a time, ms, and without a flash.
    pub(super) fn whole(&self, within_ms: f64) -> Option<Answer<'p>> {
        let rank = |answer: &Answer<'_>| {
            let is_late = answer.whole_ms > within_ms;
            (is_late, !is_late && answer.mode.flashes > 0)
        };
        let soonest = |one: &Answer<'_>, other: &Answer<'_>| {
            rank(one).cmp(&rank(other)).then(one.whole_ms.total_cmp(&other.whole_ms))
        };
        self.answers(self.change.count()).filter(|answer| answer.reaches_all).min_by(soonest)
    }

    /// What may be sent, and shows at least so many pixels; what it leaves can be settled after it.
    fn answers(&self, least_px: u64) -> impl Iterator<Item = Answer<'p>> {
        let modes: &'p [Mode] = &self.plan.display.modes;
        modes.iter().filter_map(move |mode| self.answer(mode, least_px))
    }

    fn answer(&self, mode: &'p Mode, least_px: u64) -> Option<Answer<'p>> {
        let (plan, now_c) = (self.plan, self.step.planned.temperature_c);
        let window = proposed_window(self.rect, &plan.display, plan.rotation).filter(|_| mode.windowed);
        let sent = window.unwrap_or(self.step.memory.size().whole());
        let [from, to] = self.driven(mode, sent);
        let duration_ms = mode.duration_at(now_c);
        let is_whole_drive = mode.full_swing_ms.is_none_or(|whole_ms| duration_ms >= whole_ms);
        let is_legal = from.is_within(mode.from) && is_whole_drive && mode.too_cold_at(now_c).is_none();
        if !is_legal || !(self.was_known || !mode.changed_only) {
            return None;
        }
        let reaches_all = to.is_within(mode.to);
        let shown = self.shown_px(mode);
        let settling = if reaches_all { None } else { self.settling(mode) };
        if shown < least_px || !reaches_all && settling.is_none() {
            return None;
        }
        let transfer_ms = plan.display.link.transfer_ms(sent.pixels());
        let (first_ms, whole_ms) = (transfer_ms + mode.first_visible_at(now_c), transfer_ms + duration_ms);
        Some(Answer { mode, window, first_ms, whole_ms, reaches_all, settling })
    }

    /// The levels that pixels which a mode drives in a box have, and are to get: all of the box, or only what changes.
    fn driven(&self, mode: &Mode, sent: Rect) -> [LevelSet; 2] {
        let [from, to] = self.levels;
        if mode.changed_only || mode.from == self.plan.display.ink.all() && mode.to == self.plan.display.ink.all() {
            return [from, to];
        }
        let [shown, memory] = self.step.glass.levels_within(&TileCover::new(*self.step.grid(), &[sent]));
        [from.union(shown), to.union(memory)]
    }

    /// How many pixels look otherwise after an update in a mode: at their level, or at the nearest that it has.
    fn shown_px(&self, mode: &Mode) -> u64 {
        let ink = &self.plan.display.ink;
        let shows = |before: Level, wanted: Level| {
            let nearest = || !mode.skips_out_of_reach && ink.nearest(wanted, mode.to) != Some(before);
            mode.to.contains(wanted) || nearest()
        };
        self.ways.iter().filter(|((before, wanted), _)| shows(*before, *wanted)).map(|(_, pixels)| pixels).sum()
    }

    /// What brings to the glass what a mode cannot show.
    fn settling(&self, mode: &Mode) -> Option<Settling<'p>> {
        let left = LevelSet(self.levels[1].0 & !mode.to.0);
        remedy::settling(self.plan, [mode.to, left], self.rect, self.step.planned.temperature_c)
    }
}

/// How many pixels of a change go from each level of the picture before to each of the one in memory.
fn ways(plan: &Plan, step: &PlayedStep<'_>, change: &Mask) -> BTreeMap<(Level, Level), u64> {
    let table = plan.display.ink.level_table();
    let levels = plan.display.ink.levels();
    let mut counts = vec![0_u64; levels * levels];
    for (tile, pixels) in change.tiles() {
        let before = levels_of_tile(step.previous, step.grid(), &table, *tile);
        let memory = step.glass.memory_levels(*tile);
        for bit in bits(*pixels) {
            counts[usize::from(before[bit as usize]) * levels + usize::from(memory[bit as usize])] += 1;
        }
    }
    let level = |at: usize| at as Level;
    let met = counts.into_iter().enumerate().filter(|(_, pixels)| *pixels > 0);
    met.map(|(at, pixels)| ((level(at / levels), level(at % levels)), pixels)).collect()
}

impl Answer<'_> {
    /// The mode, and where.
    fn update(&self) -> String {
        let place = self.window.map_or(String::new(), |rect| format!(" on the window {}", wording::rect(rect)));
        format!("`{}`{place}", self.mode.name)
    }

    /// To answer with it, in words; `settle_ms` is how soon the rest must follow.
    pub(super) fn first_words(&self, settle_ms: f64) -> String {
        let answer = format!(
            "answer with {}: its first change comes {} ms after the request",
            self.update(),
            wording::ms(self.first_ms)
        );
        match &self.settling {
            None => answer,
            Some(settling) => {
                format!("{answer}; settle its greys within {} ms with {}", wording::ms(settle_ms), settling.words())
            }
        }
    }

    /// To show all with it, in words.
    pub(super) fn whole_words(&self) -> String {
        format!("show it with {} alone: it stands {} ms after the request", self.update(), wording::ms(self.whole_ms))
    }
}
