//! When what a person asked for is seen: the first moment at which enough of what a step changed shows
//! (`docs/model.md`, the queue).
//!
//! Knows how much of a change is an answer, and no limit for how soon it must come.

use super::played::{PlayedStep, PlayedUpdate};
use crate::{
    change::{Mask, bits, levels_of_tile},
    display::Display,
    plan::{Plan, Updates},
};

/// Less than this of a change is no answer, unless it is all of it. Common practice, no source.
const ANSWER_MM2: f64 = 1.0;

/// How many pixels of a change of so many are an answer; at least one.
pub(crate) fn least_answer_px(change_px: u64, display: &Display) -> u64 {
    let enough = (ANSWER_MM2 / display.area_mm2(1)).ceil() as u64;
    enough.min(change_px).max(1)
}

/// What a step that a person asked for is to show, and how much of it is an answer.
#[derive(Clone, Debug)]
pub struct AskedFor {
    /// The pixels: what the step changed in memory, or what was left of earlier steps.
    pub change: Mask,
    /// As many of them are an answer.
    pub least_px: u64,
}

/// The update that answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FirstAnswer {
    /// Its number in the step.
    pub update: usize,
    /// How many pixels the updates before it show: too few.
    pub before_px: u64,
}

impl AskedFor {
    /// What a step is to show.
    pub fn of(step: &PlayedStep<'_>, plan: &Plan) -> Self {
        let own = step.introduced.and(&step.changed);
        let change = if own.is_empty() { step.changed.clone() } else { own };
        let least_px = least_answer_px(change.count(), &plan.display);
        Self { change, least_px }
    }

    /// The first update of its step with which enough of it shows; where nothing is to be shown, the first that is seen at all.
    ///
    /// # Errors
    /// What shows of it, where that is too little.
    pub fn first(&self, step: &PlayedStep<'_>, plan: &Plan) -> Result<FirstAnswer, Mask> {
        let mut shown = Mask::new();
        for update in by_first_visible(step) {
            let before_px = shown.count();
            shown = shown.or(&shown_by(&step.updates[update], step, &self.change, plan));
            if self.change.is_empty() || shown.count() >= self.least_px {
                return Ok(FirstAnswer { update, before_px });
            }
        }
        Err(shown)
    }
}

/// The updates of a step that change something, in the order in which that shows.
pub fn by_first_visible(step: &PlayedStep<'_>) -> Vec<usize> {
    let updates = &step.updates;
    let mut found: Vec<usize> = (0..updates.len()).filter(|index| updates[*index].changes_something()).collect();
    found.sort_by(|one, other| updates[*one].first_visible_ms.total_cmp(&updates[*other].first_visible_ms));
    found
}

/// The pixels of a change that an update brings to another look. One that it cannot bring to its level may stay as it was.
fn shown_by(update: &PlayedUpdate, step: &PlayedStep<'_>, change: &Mask, plan: &Plan) -> Mask {
    let (ink, mode) = (&plan.display.ink, &plan.display.modes[update.mode]);
    let sent = change.inside(&update.sent, step.grid());
    let out_of_reach = sent.and(&update.out_of_reach);
    if mode.skips_out_of_reach || out_of_reach.is_empty() {
        return sent.without(&out_of_reach);
    }
    let (table, nearest) = (ink.level_table(), ink.nearest_of_each(mode.to));
    let staying = out_of_reach.tiles().iter().map(|(tile, pixels)| {
        let before = levels_of_tile(step.previous, step.grid(), &table, *tile);
        let memory = step.glass.memory_levels(*tile);
        let stays = |bit: &u32| nearest[usize::from(memory[*bit as usize])] == Some(before[*bit as usize]);
        (*tile, bits(*pixels).filter(stays).fold(0, |mask, bit| mask | 1 << bit))
    });
    sent.without(&Mask::from_sorted(staying))
}

/// A step that a person asked for and that has shown too little yet of what it is to show.
#[derive(Clone, Debug)]
pub struct Awaited {
    /// Since when somebody waits, ms since the plan began.
    pub since_ms: f64,
    /// What was neither shown nor taken back yet.
    pub pixels: Mask,
    /// How many pixels were shown.
    pub shown_px: u64,
    least_px: u64,
}

/// What happens to a step without an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It waits on.
    Waits,
    /// This update of the step that is seen answers it.
    Answered(usize),
    /// What it changed was taken back.
    TakenBack,
    /// What it changed is to become something else, or comes too late to be an answer.
    GivenUp,
}

impl Awaited {
    /// A step that is still to be answered, with what it has shown so far; `None` if nothing is to be shown, or nobody has
    /// decided how, or the controller's own line is the answer.
    pub fn new(step: &PlayedStep<'_>, asked: &AskedFor, shown: &Mask) -> Option<Self> {
        let planned = step.planned.step;
        if planned.updates == Updates::Choose || !planned.strokes.is_empty() || step.introduced.is_empty() {
            return None;
        }
        let pixels = asked.change.without(shown);
        let (since_ms, shown_px, least_px) = (step.awaited_since_ms(), shown.count(), asked.least_px);
        (!pixels.is_empty()).then_some(Self { since_ms, pixels, shown_px, least_px })
    }

    /// What a later step does.
    pub fn goes_on(&mut self, step: &PlayedStep<'_>, plan: &Plan) -> Fate {
        if self.since_ms + plan.limits.left_behind.settle_ms.value < step.updates_request_ms() {
            return Fate::GivenUp;
        }
        let before = std::mem::take(&mut self.pixels);
        let taken_back = before.and(step.introduced).without(&step.changed);
        self.pixels = before.without(&taken_back);
        if !self.pixels.and(step.introduced).is_empty() {
            return Fate::GivenUp;
        }
        for index in by_first_visible(step) {
            let shown = shown_by(&step.updates[index], step, &self.pixels, plan);
            self.shown_px += shown.count();
            self.pixels = self.pixels.without(&shown);
            if self.shown_px >= self.least_px {
                return Fate::Answered(index);
            }
        }
        if self.pixels.is_empty() { Fate::TakenBack } else { Fate::Waits }
    }
}

/// Measures the longest time from a touch or key, or a pen without a line of the controller's own, to its answer.
#[derive(Clone, Debug, Default)]
pub struct AnswerPeak {
    awaited: Vec<Awaited>,
    longest_ms: Option<f64>,
}

impl AnswerPeak {
    /// Takes a step.
    pub fn step(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        for mut awaited in std::mem::take(&mut self.awaited) {
            match awaited.goes_on(step, plan) {
                Fate::Waits => self.awaited.push(awaited),
                Fate::Answered(update) => self.answered(step, update, awaited.since_ms),
                Fate::TakenBack | Fate::GivenUp => {}
            }
        }
        let planned = step.planned.step;
        if !planned.cause.is_person() || !planned.strokes.is_empty() {
            return;
        }
        let asked = AskedFor::of(step, plan);
        match asked.first(step, plan) {
            Ok(first) => self.answered(step, first.update, step.awaited_since_ms()),
            Err(shown) => self.awaited.extend(Awaited::new(step, &asked, &shown)),
        }
    }

    fn answered(&mut self, step: &PlayedStep<'_>, update: usize, since_ms: f64) {
        let answer_ms = step.updates[update].first_visible_ms - since_ms;
        self.longest_ms = Some(self.longest_ms.unwrap_or(0.0).max(answer_ms));
    }

    /// The longest so far, ms; `None` if nobody was answered.
    pub fn reached(&self) -> Option<f64> {
        self.longest_ms
    }
}
