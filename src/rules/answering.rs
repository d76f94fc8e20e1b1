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
    change::{Mask, Region, TileCover, bits, levels_of_tile, proposed_window, regions},
    display::{Level, LevelSet, Mode},
    geometry::Rect,
    panel::PlayedStep,
    plan::Plan,
    units::length_mm,
};

/// A change that is to be answered.
#[derive(Debug)]
pub(super) struct Answering<'s, 'p> {
    plan: &'p Plan,
    step: &'s PlayedStep<'s>,
    /// All of it, and the part with the smallest window that is an answer too.
    parts: Vec<Part>,
    /// What stood on the glass where it changes.
    from: LevelSet,
    /// Whether the controller knew what was on the whole glass.
    was_known: bool,
    /// How many pixels are an answer.
    least_px: u64,
}

/// Pixels of a change that may be shown by one update.
#[derive(Debug)]
struct Part {
    pixels: Mask,
    rect: Rect,
    /// The levels that they are to get.
    to: LevelSet,
    /// How many of them go from each level to each.
    ways: BTreeMap<(Level, Level), u64>,
    is_all: bool,
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
    /// Whether it covers all that changes, and brings what it covers to its level.
    covers_all: bool,
    reaches_all: bool,
    /// Whether the controller drives another place at the same time.
    runs_beside: bool,
    /// What brings what it cannot show after it.
    settling: Option<Settling<'p>>,
}

impl<'s, 'p> Answering<'s, 'p> {
    /// A change of a step, of which so many pixels are an answer.
    pub(super) fn new(plan: &'p Plan, step: &'s PlayedStep<'s>, change: &Mask, least_px: u64, was_known: bool) -> Self {
        // Where the step's updates brought something to its level, what stood there before is known from them.
        let (left, _) = remedy::levels_of(&step.glass.unlike_memory_of(change), step);
        let from = step.updates.iter().fold(left, |from, update| from.union(update.changes_from));
        let all = Part::new(plan, step, change.clone(), true);
        let parts = all.into_iter().chain(smallest_part(plan, step, change, least_px)).collect();
        Self { plan, step, parts, from, was_known, least_px }
    }

    /// Of those that are worth it the update that answers soonest: best within a time, ms, with all that changes, at its level,
    /// and without a flash.
    pub(super) fn first(&self, within_ms: f64, is_worth: impl Fn(&Answer<'p>) -> bool) -> Option<Answer<'p>> {
        let rank = |answer: &Answer<'_>| {
            let is_late = answer.first_ms > within_ms;
            // Where none is in time, only the soonest helps.
            let [rest, grey, flash] =
                [!answer.covers_all, !answer.reaches_all, answer.mode.flashes > 0].map(|lacks| lacks && !is_late);
            (is_late, grey, rest, flash)
        };
        let soonest = |one: &Answer<'_>, other: &Answer<'_>| {
            rank(one).cmp(&rank(other)).then(one.first_ms.total_cmp(&other.first_ms))
        };
        self.answers().filter(is_worth).min_by(soonest)
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
        self.answers().filter(|answer| answer.covers_all && answer.reaches_all).min_by(soonest)
    }

    /// What may be sent and is an answer; what it leaves can be settled after it.
    fn answers(&self) -> impl Iterator<Item = Answer<'p>> {
        let modes: &'p [Mode] = &self.plan.display.modes;
        self.parts.iter().flat_map(move |part| modes.iter().filter_map(move |mode| self.answer(mode, part)))
    }

    fn answer(&self, mode: &'p Mode, part: &Part) -> Option<Answer<'p>> {
        let (plan, now_c) = (self.plan, self.step.planned.temperature_c);
        let window = proposed_window(part.rect, &plan.display, plan.rotation).filter(|_| mode.windowed);
        let sent = window.unwrap_or(self.step.memory.size().whole());
        let [from, to] = self.driven(mode, sent, part);
        let duration_ms = mode.duration_at(now_c);
        let is_whole_drive = mode.full_swing_ms.is_none_or(|whole_ms| duration_ms >= whole_ms);
        let is_known = self.was_known || !mode.changed_only;
        if !is_known || !from.is_within(mode.from) || !is_whole_drive || mode.too_cold_at(now_c).is_some() {
            return None;
        }
        let reaches_all = to.is_within(mode.to);
        let settling = if reaches_all { None } else { self.settling(mode, [from, to], part.rect) };
        if part.shown_px(mode, plan) < self.least_px || !reaches_all && settling.is_none() {
            return None;
        }
        let transfer_ms = plan.display.link.transfer_ms(sent.pixels());
        let (first_ms, whole_ms) = (transfer_ms + mode.first_visible_at(now_c), transfer_ms + duration_ms);
        let runs_beside = plan.display.parallel_updates > 1 && !plan.display.link.waits_for_panel;
        let covers_all = part.is_all;
        Some(Answer { mode, window, first_ms, whole_ms, covers_all, reaches_all, runs_beside, settling })
    }

    /// The levels that pixels which a mode drives in a box have, and are to get: all of the box, or only what changes.
    fn driven(&self, mode: &Mode, sent: Rect, part: &Part) -> [LevelSet; 2] {
        let all = self.plan.display.ink.all();
        if mode.changed_only || mode.from == all && mode.to == all {
            return [self.from, part.to];
        }
        let mut still = LevelSet::default();
        TileCover::new(*self.step.grid(), &[sent]).for_each_tile(|tile, covered| {
            let levels = self.step.glass.levels(tile);
            let unchanged = bits(covered & !part.pixels.pixels_of(tile));
            still = unchanged.fold(still, |still, bit| still.with(levels[bit as usize]));
        });
        [self.from.union(still), part.to.union(still)]
    }

    /// What brings to the glass what a mode cannot show of some levels.
    fn settling(&self, mode: &Mode, [before, wanted]: [LevelSet; 2], rect: Rect) -> Option<Settling<'p>> {
        let left = LevelSet(wanted.0 & !mode.to.0);
        let shown = if mode.skips_out_of_reach { before } else { mode.to };
        remedy::settling(self.plan, [shown, left], rect, self.step.planned.temperature_c)
    }
}

impl Part {
    fn new(plan: &Plan, step: &PlayedStep<'_>, pixels: Mask, is_all: bool) -> Option<Self> {
        let rect = pixels.bounds(step.grid())?;
        let (_, to) = remedy::levels_of(&pixels, step);
        Some(Self { ways: ways(plan, step, &pixels), pixels, rect, to, is_all })
    }

    /// How many pixels look otherwise after an update in a mode: at their level, or at the nearest that it has.
    fn shown_px(&self, mode: &Mode, plan: &Plan) -> u64 {
        let ink = &plan.display.ink;
        let shows = |before: Level, wanted: Level| {
            let nearest = || !mode.skips_out_of_reach && ink.nearest(wanted, mode.to) != Some(before);
            mode.to.contains(wanted) || nearest()
        };
        self.ways.iter().filter(|((before, wanted), _)| shows(*before, *wanted)).map(|(_, pixels)| pixels).sum()
    }
}

/// Somebody who touches looks at what is not further away than this. Common practice, no source.
const NEAR_MM: f64 = 40.0;

/// How far two boxes are apart, px.
fn apart_px(one: Rect, other: Rect) -> f64 {
    let gap = |[low, high]: [u32; 2], [other_low, other_high]: [u32; 2]| {
        f64::from(low.saturating_sub(other_high).max(other_low.saturating_sub(high)))
    };
    let across = gap([one.x, one.right()], [other.x, other.right()]);
    let down = gap([one.y, one.bottom()], [other.y, other.bottom()]);
    across.hypot(down)
}

/// Of several places that change near what was touched, the one with the smallest window that is an answer by itself.
fn smallest_part(plan: &Plan, step: &PlayedStep<'_>, change: &Mask, least_px: u64) -> Option<Part> {
    let places = regions(change, step.grid());
    let window = |place: &Region| proposed_window(place.rect, &plan.display, plan.rotation).map(Rect::pixels);
    let large = places.iter().filter(|place| places.len() > 1 && place.pixels >= least_px);
    // What shows far from the finger answers nobody.
    let touched = step.planned.step.touched.and_then(|touched| touched.cut(step.memory.size()));
    let most_px = NEAR_MM / length_mm(1.0, plan.display.pixels_per_inch);
    let near = large.filter(|place| touched.is_none_or(|touched| apart_px(place.rect, touched) <= most_px));
    let (_, smallest) = near.filter_map(|place| Some((window(place)?, place))).min_by_key(|(pixels, _)| *pixels)?;
    Part::new(plan, step, change.inside(&[smallest.rect], step.grid()), false)
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
    pub(super) fn update(&self) -> String {
        let place = self.window.map_or(String::new(), |rect| format!(" on the window {}", wording::rect(rect)));
        format!("`{}`{place}", self.mode.name)
    }

    /// To answer with it, in words; `settle_ms` is how soon the rest must follow.
    pub(super) fn first_words(&self, settle_ms: f64) -> String {
        let answer = format!(
            "answer with {}: its first change appears {} ms after the request",
            self.update(),
            wording::ms(self.first_ms)
        );
        let settling = self.settling.as_ref().map_or(String::new(), |settling| {
            format!("; then redraw its greys within {} ms with {}", wording::ms(settle_ms), settling.words())
        });
        let rest = match (self.covers_all, self.runs_beside) {
            (true, _) => String::new(),
            (false, true) => {
                "; then show the rest with a second update, which leaves this window out and so can start at once"
                    .to_owned()
            }
            // In the same step it would only wait.
            (false, false) => format!(
                "; then show the rest in a step of its own, at least {} ms after this one, when the answer is complete",
                self.whole_ms.ceil()
            ),
        };
        format!("{answer}{settling}{rest}")
    }

    /// To show all with it, in words.
    pub(super) fn whole_words(&self) -> String {
        format!(
            "show everything with {} alone: it is complete {} ms after the request",
            self.update(),
            wording::ms(self.whole_ms)
        )
    }
}
