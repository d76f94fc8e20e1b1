//! `box-swells`: a `"changed"` window that grows around pixels that an earlier update could not bring to their level.

use super::{
    Rule, Setup, remedy,
    unreached::{LeftBy, Unreached},
    wording,
};
use crate::{
    change::{Mask, proposed_window, widened},
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every `"changed"` window beside what its step changed.
#[derive(Clone)]
pub(super) struct BoxSwells<'p> {
    plan: &'p Plan,
    times: f64,
    share: f64,
    unreached: Unreached,
    /// What swells for as long as the same pixels stay.
    open: Option<Swelling>,
}

/// A window that swelled, where it was largest beside what its step changed.
#[derive(Clone)]
struct Swollen {
    update: usize,
    mode: usize,
    sent: Rect,
    sent_px: u64,
    /// The window without what an earlier update left.
    own: Rect,
    left: Mask,
    left_rect: Rect,
    left_by: LeftBy,
    missing: remedy::Missing,
}

#[derive(Clone)]
struct Swelling {
    place: Where,
    count: u64,
    worst: Swollen,
}

impl Swollen {
    fn times(&self) -> f64 {
        self.sent_px as f64 / self.own.pixels() as f64
    }
}

impl<'p> BoxSwells<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.box_swells;
        let (times, share) = (limits.times.value, limits.share.value);
        Self { plan: setup.plan, times, share, unreached: Unreached::default(), open: None }
    }

    /// How an update's window swells, where it does.
    fn swollen(&self, step: &PlayedStep<'_>, index: usize) -> Option<Swollen> {
        let Plan { display, rotation, .. } = self.plan;
        let update = &step.updates[index];
        let takes_windows = display.windows.is_some() && display.modes[update.mode].windowed;
        let [sent] = update.sent[..] else { return None };
        if !takes_windows || update.out_of_reach.is_empty() {
            return None;
        }
        // What this update settles makes no window swell: it is what the update is for.
        let left = self.unreached.pixels().and(&update.out_of_reach);
        let others = step.changed.without(&left);
        if left.is_empty() || others.and(step.introduced).is_empty() {
            return None;
        }
        let own = widened(others.bounds(step.grid())?.to_window(), display, *rotation)?;
        let panel_px = step.grid().size().pixels();
        let is_large = update.sent_px as f64 >= self.share * panel_px as f64;
        let swells = update.sent_px as f64 > self.times * own.pixels() as f64;
        if !is_large || !swells {
            return None;
        }
        Some(Swollen {
            update: index,
            mode: update.mode,
            sent,
            sent_px: update.sent_px,
            own,
            left_rect: left.bounds(step.grid())?,
            left_by: self.unreached.mostly_left_by(&left)?,
            missing: remedy::Missing::new(step, &left),
            left,
        })
    }

    fn add(&mut self, step: &PlayedStep<'_>, swollen: Swollen) {
        let Some(open) = &mut self.open else {
            let place = Where::of(step, StepField::Window(swollen.update, None));
            self.open = Some(Swelling { place, count: 1, worst: swollen });
            return;
        };
        open.place.last_step = step.planned.index;
        open.count += 1;
        if swollen.times() > open.worst.times() {
            open.worst = Swollen { update: open.worst.update, ..swollen };
        }
    }

    fn tell(&mut self, sink: &mut Sink) {
        let Some(Swelling { place, count, worst }) = self.open.take() else { return };
        let display = &self.plan.display;
        let mode = |index: usize| &display.modes[index].name;
        let left_px = worst.left.count();
        let often = match count {
            1 => String::new(),
            _ => format!(", in {count} steps up to step {}", place.last_step),
        };
        let message = format!(
            "\"changed\" sends {}, {} times as much as the box {} around what this step changes{often}: it also covers \
             {} that still differ from the glass, because `{}` could not show their levels at {}",
            wording::area(worst.sent_px, display),
            wording::figure(worst.times()),
            wording::rect(worst.own),
            wording::area(left_px, display),
            mode(worst.left_by.mode),
            remedy::step_name(worst.left_by.step, self.plan),
        );
        let observation = Observation {
            update: Some(worst.update),
            rect: Some(worst.sent),
            message,
            help: self.help(&worst),
            corrections: self.corrections(&worst, &place),
            figures: vec![
                ("sent_px", worst.sent_px as f64),
                ("own_px", worst.own.pixels() as f64),
                ("left_px", left_px as f64),
                ("times", worst.times()),
            ],
            ..Observation::default()
        };
        sink.report(place, observation);
    }

    fn help(&self, worst: &Swollen) -> String {
        let modes = &self.plan.display.modes;
        let drawn = format!("draw them in levels that `{}` can show", modes[worst.mode].name);
        let Some(settling) = worst.missing.modes(self.plan).first().map(|mode| &modes[*mode]) else {
            return format!("{drawn}; no mode of this display can show their levels");
        };
        let step = remedy::step_name(worst.left_by.step, self.plan);
        let window = proposed_window(worst.left_rect, &self.plan.display, self.plan.rotation);
        let place = window.filter(|_| settling.windowed).map_or("the whole panel".to_owned(), wording::rect);
        format!(
            "redraw those pixels once, soon after {step}, with `{}` on {place}, or use that mode in {step} already; or \
            {drawn}",
            settling.name
        )
    }

    fn corrections(&self, worst: &Swollen, place: &Where) -> Vec<Correction> {
        let LeftBy { step, update, .. } = worst.left_by;
        let left_at = remedy::step_of(step, self.plan).map(|step| step.pointer.as_str());
        let settled = left_at.map(|at| worst.missing.corrections_at(at, update, worst.left_rect, self.plan));
        let named = ChangeOf::Window { update: worst.update, window: WindowAsk::Boxes(vec![worst.own.to_window()]) };
        let ticking = remedy::step_of(place.step, self.plan).map(|step| Correction::at(&step.pointer, named));
        settled.into_iter().flatten().chain(ticking).collect()
    }
}

impl Rule for BoxSwells<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.unreached.see_memory(step);
        if !self.unreached.pixels().is_empty() {
            for (index, asked) in step.planned.step.listed_updates().iter().enumerate() {
                let swollen = (asked.window == WindowAsk::Changed).then(|| self.swollen(step, index)).flatten();
                if let Some(swollen) = swollen {
                    self.add(step, swollen);
                }
            }
        }
        self.unreached.see_updates(step);
        if self.unreached.pixels().is_empty() {
            self.tell(sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.tell(sink);
    }
}
