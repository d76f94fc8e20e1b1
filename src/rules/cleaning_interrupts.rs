//! `cleaning-interrupts`: a flashing cleaning while a person is at it.

use std::collections::BTreeMap;

use super::{
    Rule, Setup,
    pauses::{after_ms as whole_ms, later},
    remedy, wording,
};
use crate::{
    change::proposed_window,
    display::LevelSet,
    finding::{Asks, Figure, Margin, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate, WaitsFor},
    plan::Plan,
};

/// Remembers when a person asked for something last, and looks for the next pause.
#[derive(Clone)]
pub(super) struct CleaningInterrupts<'p> {
    plan: &'p Plan,
    quiet_ms: f64,
    /// How soon greys that a quick update could not show are to follow it.
    settle_ms: f64,
    /// When a person asked for something last, ms.
    asked_ms: Option<f64>,
    /// Places that still wait for their greys.
    unsettled: Vec<Unsettled>,
    /// Findings that wait for the next pause, one for each field of the plan. Their help says what to do beside that.
    waiting: BTreeMap<String, (Where, Observation)>,
    last: Option<(u64, f64)>,
}

/// A place that an update changed without showing all of its greys.
#[derive(Clone)]
struct Unsettled {
    /// The windows around what it changed, and around the greys; none where there are no windows: there only the whole panel
    /// can flash.
    windows: [Option<Rect>; 2],
    /// The greys.
    rect: Rect,
    mode: usize,
    /// What stands there, and what is to.
    levels: [LevelSet; 2],
    until_ms: f64,
    /// The step, in words.
    step: String,
}

impl Unsettled {
    /// What an update left so; `None` if it showed all.
    fn new(step: &PlayedStep<'_>, update: &PlayedUpdate, plan: &Plan, settle_ms: f64) -> Option<Self> {
        let rect = update.out_of_reach.bounds(step.grid())?;
        let changed = step.changed.inside(&update.sent, step.grid()).bounds(step.grid()).unwrap_or(rect);
        let window = |rect| proposed_window(rect, &plan.display, plan.rotation);
        let (shown, wanted) = remedy::levels_of(&update.out_of_reach, step);
        Some(Self {
            windows: [window(changed), window(rect)],
            rect,
            mode: update.mode,
            levels: [shown, wanted],
            until_ms: step.updates_request_ms() + settle_ms,
            step: wording::step_name(step.planned.index, step.planned.step.label.as_deref()),
        })
    }

    /// Whether an update flashes nothing but this place, and shows something of it.
    fn is_settled_by(&self, update: &PlayedUpdate) -> bool {
        let is_inside = |sent: &Rect| self.windows.iter().flatten().any(|window| window.around(*sent) == *window);
        update.changed_px > 0 && update.sent.iter().all(is_inside)
    }
}

impl<'p> CleaningInterrupts<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            quiet_ms: setup.limits.cleaning_interrupts.quiet_ms.value,
            settle_ms: setup.limits.grey_in_two_level_mode.settle_ms.value,
            plan: setup.plan,
            asked_ms: None,
            unsettled: Vec::new(),
            waiting: BTreeMap::new(),
            last: None,
        }
    }

    fn tell(&mut self, pause: &str, sink: &mut Sink) {
        for (place, observation) in std::mem::take(&mut self.waiting).into_values() {
            let first = &observation.help;
            let help = if let Some(asks) = &observation.asks {
                let span = wording::span(self.quiet_ms);
                format!("{}: then it flashes {span} after the last touch, key or pen", asks.words())
            } else if first.is_empty() {
                format!("move it to a pause; {pause}")
            } else {
                format!("{first}, and move the cleaning to a pause; {pause}")
            };
            sink.report(place, Observation { help, ..observation });
        }
    }

    fn see(&mut self, step: &PlayedStep<'_>, index: usize, asked_ms: f64) {
        let update = &step.updates[index];
        let mode = &self.plan.display.modes[update.mode];
        let Some(flash_ms) = update.first_flash_ms(mode) else { return };
        let after_ms = flash_ms - asked_ms;
        if !mode.cleans || update.sent.is_empty() || after_ms >= self.quiet_ms {
            return;
        }
        if self.unsettled.iter().any(|unsettled| unsettled.is_settled_by(update)) {
            return;
        }
        let before_it = self.before_it(step, update);
        // A cleaning that is a step of its own can simply come later.
        let is_alone = index == 0 && step.introduced.is_empty() && !remedy::has_turns(step.planned.step);
        let own_ms = whole_ms(step.planned.step.after_ms + self.quiet_ms - after_ms);
        let asks: Option<Asks> = (is_alone && before_it.is_none()).then(|| later(step, own_ms, self.plan));
        let observation = Observation {
            asks,
            update: Some(index),
            rect: update.sent_bounds(),
            message: format!(
                "the cleaning `{}` flashes {} after a touch, key or pen, while the person is still using the panel",
                mode.name,
                wording::span(after_ms)
            ),
            help: before_it.unwrap_or_default(),
            figures: vec![("after_ms", after_ms), ("limit_ms", self.quiet_ms)],
            margin: self.margin(update, flash_ms, after_ms),
            ..Observation::default()
        };
        let place = Where::of(step, StepField::Mode(index));
        let last_step = place.last_step;
        let (known, _) = self.waiting.entry(place.pointer.clone()).or_insert((place, observation));
        known.last_step = last_step;
    }

    /// Of the part of the time until the flash that rests on durations: the wait for other updates, and the time from the start
    /// to the flash. Both would have to be longer by as much as is missing.
    fn margin(&self, update: &PlayedUpdate, flash_ms: f64, after_ms: f64) -> Option<Margin> {
        let display = &self.plan.display;
        let by_link = update.times.waits_for == WaitsFor::Link && !display.link.waits_for_panel;
        let waits_ms = if by_link { 0.0 } else { update.times.wait_ms };
        let estimated_ms = waits_ms + flash_ms - update.times.start_ms;
        let needed_ms = estimated_ms + self.quiet_ms - after_ms;
        Margin::of_too_little(Figure::Durations, estimated_ms, needed_ms, &display.certainty)
    }

    /// What must come before a cleaning can wait: the greys that it would have brought, in words.
    fn before_it(&self, step: &PlayedStep<'_>, update: &PlayedUpdate) -> Option<String> {
        let is_brought = |unsettled: &&Unsettled| update.sent.iter().any(|sent| sent.overlaps(unsettled.rect));
        let Unsettled { rect, mode, levels, step: of, .. } = self.unsettled.iter().find(is_brought)?;
        let modes = &self.plan.display.modes;
        let (quick, settle_ms) = (&modes[*mode].name, wording::ms(self.settle_ms));
        let settling = remedy::settling(self.plan, *levels, *rect, step.planned.temperature_c);
        Some(match settling {
            Some(settling) => format!("redraw the greys of {of} within {settle_ms} ms with {}", settling.words()),
            None => format!(
                "this display cannot redraw the greys of {of} later without flashing the whole panel: show that step \
                 with `{}` at once, or draw it in levels that `{quick}` can show",
                modes[update.mode].name
            ),
        })
    }
}

impl Rule for CleaningInterrupts<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let request_ms = step.planned.request_ms;
        if let Some((index, ended_ms)) = self.last.filter(|(_, ended_ms)| request_ms - ended_ms >= self.quiet_ms) {
            let pause =
                format!("the next pause, {} long, begins after step {index}", wording::span(request_ms - ended_ms));
            self.tell(&pause, sink);
        }
        let updates_ms = step.updates_request_ms();
        self.unsettled.retain(|unsettled| unsettled.until_ms >= updates_ms);
        let by_person = step.planned.step.cause.is_person();
        for (index, update) in step.updates.iter().enumerate() {
            // The answer to a touch is no interruption of it: `needless-flash` looks at that.
            if let (Some(asked_ms), false) = (self.asked_ms, by_person) {
                self.see(step, index, asked_ms);
            }
            self.unsettled.extend(Unsettled::new(step, update, self.plan, self.settle_ms));
        }
        if by_person {
            self.asked_ms = Some(updates_ms);
        }
        self.last = Some((step.planned.index, updates_ms));
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell("after it, the only pause is the end of the plan", sink);
    }
}
