//! `charge-builds-up`: pixels that were pushed one way more than the other, beyond their limit.

use super::{Rule, Setup, wording};
use crate::{
    change::{Mask, TileGrid, regions},
    display::{Display, Impulse},
    finding::{Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{LimitValue, Plan},
};

/// Follows the net impulse of the pixel that is worst off.
#[derive(Clone)]
pub(super) struct ChargeBuildsUp<'p> {
    plan: &'p Plan,
    limit: Option<LimitValue>,
    charged: Charged,
    /// The step since which a pixel is near the limit: from then on, a mode that flashes is due.
    near: Option<u64>,
    open: Option<Open>,
}

#[derive(Clone)]
struct Open {
    place: Where,
    rect: Option<Rect>,
    /// The first step that must push no further.
    from: u64,
    pixels: u64,
    most_vs: f64,
    /// Whether the pushes to white outweigh the others.
    is_to_white: bool,
}

impl<'p> ChargeBuildsUp<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            limit: setup.limits.charge_builds_up.net_impulse_vs,
            plan: setup.plan,
            charged: Charged::default(),
            near: None,
            open: None,
        }
    }

    fn close(&mut self, limit: LimitValue, sink: &mut Sink) {
        let Some(open) = self.open.take() else { return };
        let display = &self.plan.display;
        let [most, allowed] = wording::figures_apart(open.most_vs, limit.value);
        let observation = Observation {
            rect: open.rect,
            message: format!(
                "{} accumulate a net impulse of up to {most} V s; {}",
                wording::area(open.pixels, display),
                wording::passed(limit, &format!("{allowed} V s"), "the display allows")
            ),
            help: format!(
                "{}; unbalanced driving can damage a panel permanently: the panel maker's own documents come first",
                back_words(open.is_to_white, open.from, display)
            ),
            figures: vec![
                ("net_impulse_vs", open.most_vs),
                ("limit_vs", limit.value),
                ("px", open.pixels as f64),
                ("mm2", display.area_mm2(open.pixels)),
            ],
            beyond: Some(open.most_vs),
            ..Observation::default()
        };
        sink.report(open.place, observation);
    }
}

/// From this share of the limit on, what pushes no further is due.
const SHARE: f64 = 0.8;

/// The pixels that are near the limit, or are so when they come back: driven to the other shade, a pixel has less for a while.
#[derive(Clone, Default)]
pub(super) struct Charged {
    near: Mask,
    away: Mask,
    /// The largest net impulse of those that are near, volt-seconds; 0 where none is.
    worst_vs: f64,
    /// Whether the pushes to white outweighed the others where something was near last.
    is_to_white: bool,
}

impl Charged {
    /// Takes the state at the end of a step that drives something.
    pub(super) fn see(&mut self, step: &PlayedStep<'_>) {
        let (near, worst_vs) = step.glass.charged_beyond(SHARE);
        if !near.is_empty() {
            self.is_to_white = worst_vs > 0.0;
        }
        let still_away = self.away.without(&step.changed);
        self.away = still_away.or(&self.near).without(&near);
        (self.near, self.worst_vs) = (near, worst_vs);
    }

    fn is_empty(&self) -> bool {
        self.near.is_empty() && self.away.is_empty()
    }

    /// Whether boxes of a step hold such pixels, and a mode with such an impulse takes it back, or adds none.
    pub(super) fn asks_for(&self, impulse: Impulse, boxes: &[Rect], grid: &TileGrid) -> bool {
        let is_right = takes_back(impulse, self.is_to_white) || is_balanced(impulse);
        is_right && [&self.near, &self.away].iter().any(|pixels| !pixels.inside(boxes, grid).is_empty())
    }
}

/// What takes such an impulse back from a step on, or keeps it from growing, in words.
fn back_words(is_to_white: bool, from: u64, display: &Display) -> String {
    let modes_that = |does: &dyn Fn(Impulse) -> bool| -> Vec<String> {
        let found = display.modes.iter().filter(|mode| mode.impulse.is_some_and(does));
        found.map(|mode| format!("`{}`", mode.name)).collect()
    };
    let back = modes_that(&|impulse| takes_back(impulse, is_to_white));
    if !back.is_empty() {
        let back = wording::one_of(&back);
        return format!("from step {from} on, use {back} for this place, which pushes it more in the other direction");
    }
    let balanced = modes_that(&is_balanced);
    let none = "no mode in the display description is known to cancel this charge";
    match balanced.as_slice() {
        [] => format!("{none}, so ask the panel maker for such a mode"),
        modes => format!(
            "{none}: from step {from} on, use only {} for this place, which pushes equally in both directions, so that the charge \
             does not grow",
            wording::one_of(modes)
        ),
    }
}

/// A smaller push is none, volt-seconds.
const LEAST_VS: f64 = 1e-6;

/// Whether driving a pixel there and back, or to the level that it has, takes such an impulse back.
fn takes_back(impulse: Impulse, is_to_white: bool) -> bool {
    let sign = if is_to_white { 1.0 } else { -1.0 };
    sign * there_and_back(impulse) < -LEAST_VS || sign * impulse.same < -LEAST_VS
}

/// Whether a mode pushes as much in one direction as in the other.
fn is_balanced(impulse: Impulse) -> bool {
    there_and_back(impulse).abs() <= LEAST_VS && impulse.same.abs() <= LEAST_VS
}

fn there_and_back(impulse: Impulse) -> f64 {
    impulse.lighter + impulse.darker
}

impl Rule for ChargeBuildsUp<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(limit) = self.limit else { return };
        if step.drives_nothing() {
            // Nothing was driven: what was beyond the limit a step ago is so still.
            if let Some(open) = &mut self.open {
                open.place.last_step = step.planned.index;
            }
            return;
        }
        let now = step.planned.index;
        self.charged.see(step);
        let worst_vs = self.charged.worst_vs;
        let since = (!self.charged.is_empty()).then_some(self.near.unwrap_or(now));
        let before = std::mem::replace(&mut self.near, since);
        let over = if worst_vs.abs() > limit.value { step.glass.overcharged().0 } else { Mask::new() };
        let spots = regions(&over, step.grid());
        let Some(largest) = spots.iter().max_by_key(|spot| spot.pixels) else {
            self.close(limit, sink);
            return;
        };
        let open = self.open.get_or_insert_with(|| Open {
            place: Where::of(step, StepField::Updates),
            rect: None,
            from: before.map_or(now, |near| near + 1),
            pixels: 0,
            most_vs: 0.0,
            is_to_white: true,
        });
        open.place.last_step = now;
        if worst_vs.abs() > open.most_vs {
            (open.rect, open.pixels, open.most_vs) = (Some(largest.rect), over.count(), worst_vs.abs());
            open.is_to_white = worst_vs > 0.0;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        if let Some(limit) = self.limit {
            self.close(limit, sink);
        }
    }
}
