//! `wrong-start`: pixels driven from a level that the mode cannot start from, by an update or by ink that the controller draws.

use super::{Rule, Setup, remedy, wording};
use crate::{
    change::{Mask, proposed_window, regions},
    display::Mode,
    finding::{ChangeOf, Correction, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every update and every stroke on its own.
#[derive(Clone)]
pub(super) struct WrongStart<'p> {
    plan: &'p Plan,
    area_mm2: f64,
}

/// Places that start wrong and are large enough to be seen.
#[derive(Clone, Copy)]
struct Seen {
    pixels: u64,
    rect: Rect,
}

impl<'p> WrongStart<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { area_mm2: setup.limits.wrong_start.area_mm2.value, plan: setup.plan }
    }

    /// The places of a mask that have the area from which on a ghost is seen; `None` if none has.
    fn seen(&self, pixels: &Mask, step: &PlayedStep<'_>) -> Option<Seen> {
        if pixels.is_empty() {
            return None;
        }
        let places = regions(pixels, step.grid()).into_iter();
        let large = places.filter(|place| self.plan.display.area_mm2(place.pixels) >= self.area_mm2);
        large
            .map(|place| Seen { pixels: place.pixels, rect: place.rect })
            .reduce(|one, other| Seen { pixels: one.pixels + other.pixels, rect: one.rect.around(other.rect) })
    }

    fn observation(&self, seen: Seen, how: &str, mode: &Mode, now_c: f64) -> Observation {
        let Seen { pixels, rect } = seen;
        let display = &self.plan.display;
        let estimate = wording::estimate(display.residue_certainty(mode));
        let estimate = estimate.map_or(String::new(), |words| format!(" ({words})"));
        Observation {
            rect: Some(rect),
            message: format!(
                "{} are {how} `{}` from a level that it cannot start from (it can start from {}): a ghost of about {} \
                L*{estimate} stays",
                wording::area(pixels, display),
                mode.name,
                wording::levels(mode.from, display),
                wording::figure(mode.residue_at(now_c).wrong_start.abs())
            ),
            figures: vec![("px", pixels as f64), ("mm2", display.area_mm2(pixels)), ("limit_mm2", self.area_mm2)],
            beyond: Some(pixels as f64),
            ..Observation::default()
        }
    }

    fn starts_anywhere(&self, mode: usize) -> bool {
        let display = &self.plan.display;
        display.modes[mode].from == display.ink.all()
    }

    fn update(&self, step: &PlayedStep<'_>, index: usize, mode: usize, seen: Seen) -> Observation {
        let (modes, now_c) = (&self.plan.display.modes, step.planned.temperature_c);
        let starting: Vec<usize> = (0..modes.len()).filter(|mode| self.starts_anywhere(*mode)).collect();
        let names: Vec<String> = starting.iter().map(|mode| format!("`{}`", modes[*mode].name)).collect();
        let window = self.smaller_window(step, index);
        let is_smaller = |mode: usize| modes[mode].windowed && modes[mode].flashes > 0;
        let advised = window.filter(|_| !names.is_empty() && starting.iter().all(|mode| is_smaller(*mode)));
        let advised = advised.map(|window| format!("with {}", wording::changed_window(self.plan, window)));
        let in_short = advised.as_ref().map(|window| format!("use {} {window}", wording::one_of(&names)));
        let help = if names.is_empty() {
            self.bring_it_first(&modes[mode])
        } else {
            let window = advised.map_or(String::new(), |window| format!(", {window}, so that nothing else flashes"));
            format!(
                "use {} here, which can start from any level{window}{}",
                wording::one_of(&names),
                wording::slow_in(&starting, step, self.plan)
            )
        };
        let correction = |mode: usize| {
            let mut correction = Correction::of(step, ChangeOf::Mode { update: index, mode });
            if window.is_some() && is_smaller(mode) {
                let window = ChangeOf::Window { update: index, window: WindowAsk::Changed };
                correction.changes.extend(Correction::of(step, window).changes);
            }
            correction
        };
        let corrections = remedy::modes_by_cost(self.plan, now_c, |mode| self.starts_anywhere(*mode));
        Observation {
            update: Some(index),
            help,
            in_short,
            corrections: corrections.into_iter().map(correction).collect(),
            ..self.observation(seen, "driven with", &modes[mode], now_c)
        }
    }

    /// The window around what changes, where an update that covers the whole panel would flash more than that.
    fn smaller_window(&self, step: &PlayedStep<'_>, index: usize) -> Option<Rect> {
        let asked = step.planned.step.listed_updates().get(index)?;
        let window = proposed_window(step.changed.bounds(step.grid())?, &self.plan.display, self.plan.rotation)?;
        (asked.window == WindowAsk::All && window != step.memory.size().whole()).then_some(window)
    }

    fn stroke(&self, step: &PlayedStep<'_>, mode: usize, seen: Seen) -> Observation {
        let modes = &self.plan.display.modes;
        // Ink is drawn only by modes that drive what changes.
        let draws = |mode: &usize| modes[*mode].changed_only && self.starts_anywhere(*mode);
        let names: Vec<String> = (0..modes.len()).filter(draws).map(|mode| format!("`{}`", modes[mode].name)).collect();
        let help = if names.is_empty() {
            format!("{}, or do not let the pen draw over it", self.bring_it_first(&modes[mode]))
        } else {
            format!("let the controller draw with {}, which can start from any level", wording::one_of(&names))
        };
        let how = "drawn over by the controller with";
        Observation { help, ..self.observation(seen, how, &modes[mode], step.planned.temperature_c) }
    }

    fn bring_it_first(&self, mode: &Mode) -> String {
        format!("first update the place to {}", wording::levels(mode.from, &self.plan.display))
    }
}

impl Rule for WrongStart<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, (drawn, asked)) in step.strokes.iter().zip(&step.planned.step.strokes).enumerate() {
            if let Some(seen) = self.seen(&drawn.wrong_start, step) {
                sink.report(Where::of(step, StepField::StrokeMode(index)), self.stroke(step, asked.mode, seen));
            }
        }
        for (index, update) in step.updates.iter().enumerate() {
            if let Some(seen) = self.seen(&update.wrong_start, step) {
                sink.report(Where::of(step, StepField::Mode(index)), self.update(step, index, update.mode, seen));
            }
        }
    }
}
