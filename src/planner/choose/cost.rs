//! What a played plan costs those who look at it: the figure by which choices are compared (`docs/planner.md`).
//!
//! Rules say what is wrong; this says which of two sound plans is the better one. Every part is 0 or more and only grows
//! from step to step.

use std::{cmp::Ordering, ops::Add};

use crate::{
    display::{Mode, WhenBusy},
    finding::Severity,
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, Update, WindowAsk},
};

/// A flash of the whole panel costs so much, a smaller one its share of it.
pub(super) const FLASH_OF_THE_PANEL: f64 = 12.0;
/// Every flashing update costs so much beside its area.
const FLASH: f64 = 3.0;
/// Flashes that come before a person has been quiet for the limit of `cleaning-interrupts` cost more by this: the person is
/// looking.
const DISTURBS: f64 = 2.0;
/// Every 100 ms until a touch, a key or a pen is answered.
const ANSWER_PER_100_MS: f64 = 1.0;
/// Nobody waits longer than so long for an answer.
const ANSWER_AWAITED_MS: f64 = 10_000.0;
/// An answer that never comes: the person presses again, and does what was not meant.
const NO_ANSWER: f64 = 300.0;
/// Every second until all of the answer stands.
const WHOLE_PER_S: f64 = 0.5;
/// A hundredth of the panel covered by a ghost of 1 L* for a minute.
const GHOST: f64 = 0.2;
/// A hundredth of the panel that shows another level than it should for a second.
const WRONG: f64 = 0.1;
/// Nobody looks longer at a ghost than so long, and what is wrong is seen at once.
const GHOST_SEEN_MS: f64 = 600_000.0;
const WRONG_SEEN_MS: f64 = 10_000.0;
const ENERGY_PER_MJ: f64 = 0.01;
/// A window more in an update: code that somebody has to read.
const WINDOW: f64 = 0.02;

/// A warning costs so much, and a note: a plan without them is better than any saving.
const WARNING: f64 = 60.0;
const NOTE: f64 = 2.0;

/// The parts of a cost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Flashes, by area and number.
    pub flashes: f64,
    /// Waiting for answers.
    pub answers: f64,
    /// Ghosts, by strength, area and time.
    pub ghosts: f64,
    /// Levels that are not yet, or not at all, what they should be.
    pub wrong_levels: f64,
    /// Energy, and the length of the plan's text.
    pub energy: f64,
    /// How often a cleaning was due and did not come, beyond the first time, which is a finding.
    pub overdue: f64,
}

impl Cost {
    /// All parts together.
    pub fn total(&self) -> f64 {
        self.flashes + self.answers + self.ghosts + self.wrong_levels + self.energy + self.overdue
    }
}

impl Add for Cost {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            flashes: self.flashes + other.flashes,
            answers: self.answers + other.answers,
            ghosts: self.ghosts + other.ghosts,
            wrong_levels: self.wrong_levels + other.wrong_levels,
            energy: self.energy + other.energy,
            overdue: self.overdue + other.overdue,
        }
    }
}

/// What a finding adds to the cost; an error is no matter of cost.
pub fn of_finding(severity: Severity) -> f64 {
    match severity {
        Severity::Error => 0.0,
        Severity::Warning => WARNING,
        Severity::Note => NOTE,
    }
}

/// What it costs to send some windows in a mode, estimated before they are played: by this the best of several ways to cover the
/// same is chosen.
pub(super) fn sending(mode: &Mode, windows: &[Rect], plan: &Plan, is_for_a_person: bool) -> f64 {
    let display = &plan.display;
    let px: u64 = windows.iter().copied().map(Rect::pixels).sum();
    let share = px as f64 / plan.screen_size().pixels() as f64;
    let per_cm2_mj = mode.energy.map_or(0.0, |energy| energy.per_cm2_mj);
    let transfer_ms = if is_for_a_person { display.link.transfer_ms(px) } else { 0.0 };
    FLASH_OF_THE_PANEL * f64::from(mode.flashes) * share
        + ENERGY_PER_MJ * per_cm2_mj * display.area_mm2(px) / 100.0
        + WINDOW * windows.len() as f64
        + ANSWER_PER_100_MS * transfer_ms / 100.0
}

/// What updates that show what changes at a step cost at the least, estimated before they are played; `step` is the same step
/// played without any.
/// `changed` is the box around what changes.
pub(super) fn least(updates: &[Update], (step, changed): (&PlayedStep<'_>, Option<Rect>), plan: &Plan) -> Cost {
    let mode_of = |update: &Update| &plan.display.modes[update.mode];
    let sent_px = |at: usize| least_sent_px(&updates[at], if at == 0 { changed } else { None }, plan);
    let celsius = step.planned.temperature_c;
    // Whoever asked is still looking, unless the panel is busy for so long that the flash comes late.
    let whole_ms = plan.display.link.transfer_ms(plan.screen_size().pixels());
    let busy_ms = step.queue_before.busy_ms(step.updates_request_ms()).into_iter().fold(0.0, f64::max);
    let latest_ms = updates.iter().map(|update| whole_ms + mode_of(update).duration_at(celsius)).sum::<f64>() + busy_ms;
    let is_looking = step.planned.step.cause.is_person() && latest_ms < plan.limits.cleaning_interrupts.quiet_ms.value;
    // A controller that drops what comes while it is busy shows nothing of it.
    let is_lost = |at: usize| plan.display.when_busy == WhenBusy::Drops && (at > 0 || busy_ms > 0.0);
    let sent_px = |at: usize| if is_lost(at) { 0 } else { sent_px(at) };
    let flashes = updates.iter().enumerate().map(|(at, update)| least_flashes(sent_px(at), mode_of(update), plan));
    let flashes = flashes.sum::<f64>() * if is_looking { DISTURBS } else { 1.0 };
    let answers = if step.planned.step.cause.is_person() && !step.changed.is_empty() {
        let transfer_ms = |at: usize| plan.display.link.transfer_ms(sent_px(at));
        let duration_ms = |at: usize| transfer_ms(at) + mode_of(&updates[at]).duration_at(celsius);
        let first_ms = |at: usize| transfer_ms(at) + mode_of(&updates[at]).first_visible_at(celsius);
        // Nothing is waited for where nothing is asked.
        let least = |times: &dyn Fn(usize) -> f64| (0..updates.len()).map(times).reduce(f64::min).unwrap_or(0.0);
        ANSWER_PER_100_MS * least(&first_ms) / 100.0 + WHOLE_PER_S * least(&duration_ms) / 1000.0
    } else {
        0.0
    };
    Cost { flashes, answers, ..Cost::default() }
}

/// How many pixels an update sends at the least: a window is only ever widened. `changed` is the box around what changes; `None`
/// if it is not known whether anything is left to change.
fn least_sent_px(update: &Update, changed: Option<Rect>, plan: &Plan) -> u64 {
    let size = plan.screen_size();
    match &update.window {
        WindowAsk::All => size.pixels(),
        WindowAsk::Boxes(boxes) => {
            boxes.iter().filter_map(|window| window.cut(size)).map(Rect::pixels).max().unwrap_or(0)
        }
        WindowAsk::Changed => changed.map_or(0, Rect::pixels),
    }
}

fn least_flashes(sent_px: u64, mode: &Mode, plan: &Plan) -> f64 {
    let size = plan.screen_size();
    let share = sent_px as f64 / size.pixels() as f64;
    if mode.flashes > 0 && sent_px > 0 { FLASH_OF_THE_PANEL * f64::from(mode.flashes) * share + FLASH } else { 0.0 }
}

/// Adds up the cost of a plan step by step.
#[derive(Clone, Debug)]
pub struct Meter {
    cost: Cost,
    /// Seconds times cm2 that flashed.
    flashed_cm2_s: f64,
    person_ms: f64,
    since_ms: f64,
    /// Ghosts on the glass now: hundredths of the panel times L*.
    ghosts: f64,
    /// Hundredths of the panel that show another level than they should.
    wrong: f64,
    /// Since when somebody waits for an answer of which nothing shows, ms; of each touch, key or pen.
    awaited_ms: Vec<f64>,
    never_answered: u64,
    /// Those that were answered: how many, and how long they waited in all, ms.
    answered: (u64, f64),
    /// Whether what is on the whole glass was known once. Later it is forgotten only by the controller.
    was_known: bool,
    /// How often the limit of updates since a cleaning has been used up since the last one.
    overdue: u32,
}

impl Default for Meter {
    fn default() -> Self {
        Self {
            cost: Cost::default(),
            flashed_cm2_s: 0.0,
            person_ms: f64::NEG_INFINITY,
            since_ms: 0.0,
            ghosts: 0.0,
            wrong: 0.0,
            awaited_ms: Vec::new(),
            never_answered: 0,
            answered: (0, 0.0),
            was_known: false,
            overdue: 0,
        }
    }
}

impl Meter {
    /// Adds a step.
    pub fn step(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        let now_ms = step.updates_request_ms();
        self.look_on(now_ms);
        self.answer_late(step);
        if step.planned.step.cause.is_person() {
            self.person_ms = now_ms;
            self.answer(step, now_ms);
        }
        let panel_px = step.memory.size().pixels() as f64;
        let quiet_ms = plan.limits.cleaning_interrupts.quiet_ms.value;
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let flashes = f64::from(plan.display.modes[update.mode].flashes);
            let area = update.sent_px as f64 / panel_px;
            let disturbs = if update.times.start_ms - self.person_ms < quiet_ms { DISTURBS } else { 1.0 };
            if flashes > 0.0 {
                self.cost.flashes += disturbs * (FLASH_OF_THE_PANEL * flashes * area + FLASH);
                self.flashed_cm2_s += plan.display.area_mm2(update.sent_px) / 100.0 * update.duration_ms / 1000.0;
            }
            self.cost.energy += ENERGY_PER_MJ * update.energy_mj + WINDOW * update.sent.len() as f64;
        }
        let hundredths = |pixels: u64| 100.0 * pixels as f64 / panel_px;
        self.ghosts = step.ghosts.iter().map(|ghost| hundredths(ghost.pixels) * ghost.worst_l).sum();
        self.see_overdue(step, plan);
        self.was_known |= step.glass.unknown_px() == 0;
        let unknown_px = if self.was_known { 0 } else { step.glass.unknown_px() };
        // Those that are known to be wrong may be among them.
        self.wrong = hundredths(step.glass.unlike_memory().count().max(unknown_px));
    }

    /// A finding says once that a place was not cleaned in time, however long that goes on: every further time that a cleaning
    /// would have been due costs as much again. Otherwise one warning would be cheaper than any number of cleanings.
    fn see_overdue(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        let Some(limit) = plan.limits.too_many_since_cleaning.updates else { return };
        let most = f64::from(step.glass.most_since_cleaning());
        let overdue = ((most - 1.0) / limit.value.max(1.0)).floor().max(0.0) as u32;
        self.cost.overdue += WARNING * f64::from(overdue.saturating_sub(self.overdue.max(1)));
        self.overdue = overdue;
    }

    /// What the last picture costs: it stays for hours.
    pub fn end(&mut self) {
        self.look_on(f64::INFINITY);
        self.never_answered += self.awaited_ms.len() as u64;
        self.answer_awaited(f64::INFINITY);
    }

    /// How many touches, keys and pens were never answered.
    pub fn never_answered(&self) -> u64 {
        self.never_answered
    }

    /// How long touches, keys and pens waited for something to show, on average, ms; 0 if none was answered.
    pub fn mean_answer_ms(&self) -> f64 {
        let (count, waited_ms) = self.answered;
        if count == 0 { 0.0 } else { waited_ms / count as f64 }
    }

    /// The cost so far.
    pub fn cost(&self) -> Cost {
        self.cost
    }

    /// Area that flashed times its time, cm2 s.
    pub fn flashed_cm2_s(&self) -> f64 {
        self.flashed_cm2_s
    }

    fn answer(&mut self, step: &PlayedStep<'_>, now_ms: f64) {
        // What only a stroke changes, the stroke shows.
        let shows = step.updates.iter().any(PlayedUpdate::changes_something) || !step.strokes.is_empty();
        if !shows && !step.introduced.is_empty() && !step.changed.is_empty() {
            self.awaited_ms.push(now_ms);
        }
        let changing = step.updates.iter().filter(|update| update.changes_something());
        let whole_ms = changing.map(|update| update.times.finish_ms - now_ms).fold(0.0, f64::max);
        let answered_ms = step.first_visible_ms().map(|first_ms| first_ms - now_ms);
        self.answered.0 += u64::from(answered_ms.is_some());
        let first_ms = answered_ms.unwrap_or(0.0);
        self.answered.1 += first_ms;
        self.cost.answers += ANSWER_PER_100_MS * first_ms / 100.0 + WHOLE_PER_S * whole_ms / 1000.0;
    }

    /// Ends the waiting where something shows at last, or where what was waited for is taken back: then it never comes.
    fn answer_late(&mut self, step: &PlayedStep<'_>) {
        if step.changed.is_empty() {
            let never = self.awaited_ms.drain(..).count();
            self.cost.answers += NO_ANSWER * never as f64;
            self.never_answered += never as u64;
        } else if let Some(first_ms) = step.first_visible_ms() {
            self.answer_awaited(first_ms);
        }
    }

    fn answer_awaited(&mut self, at_ms: f64) {
        if at_ms.is_finite() {
            self.answered.0 += self.awaited_ms.len() as u64;
            self.answered.1 += self.awaited_ms.iter().map(|since_ms| at_ms - since_ms).sum::<f64>();
        }
        let waited = self.awaited_ms.drain(..).map(|since_ms| (at_ms - since_ms).min(ANSWER_AWAITED_MS));
        self.cost.answers += ANSWER_PER_100_MS * waited.sum::<f64>() / 100.0;
    }

    fn look_on(&mut self, until_ms: f64) {
        let seen = |most_ms: f64| (until_ms - self.since_ms).clamp(0.0, most_ms);
        self.cost.ghosts += GHOST * self.ghosts * seen(GHOST_SEEN_MS) / 60_000.0;
        self.cost.wrong_levels += WRONG * self.wrong * seen(WRONG_SEEN_MS) / 1000.0;
        self.since_ms = until_ms;
    }
}

/// How good a path is: errors come before everything else.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Score {
    /// Findings that are errors.
    pub errors: u64,
    /// The cost, with what warnings and notes add.
    pub cost: f64,
}

impl Score {
    /// The better one first.
    pub(in crate::planner) fn order(&self, other: &Self) -> Ordering {
        self.errors.cmp(&other.errors).then(self.cost.total_cmp(&other.cost))
    }
}
