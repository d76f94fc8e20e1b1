//! `charge-builds-up`: pixels that were pushed one way more than the other, beyond their limit.

use super::{Rule, Setup, wording};
use crate::{
    change::regions,
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
    open: Option<Open>,
}

#[derive(Clone)]
struct Open {
    place: Where,
    rect: Option<Rect>,
    pixels: u64,
    most_vs: f64,
    /// Whether the pushes to white outweigh the others.
    is_to_white: bool,
}

impl<'p> ChargeBuildsUp<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { limit: setup.limits.charge_builds_up.net_impulse_vs, plan: setup.plan, open: None }
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
                back_words(open.is_to_white, display)
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

/// What takes such an impulse back, or keeps it from growing, in words.
fn back_words(is_to_white: bool, display: &Display) -> String {
    let modes_that = |does: &dyn Fn(Impulse) -> bool| -> Vec<String> {
        let found = display.modes.iter().filter(|mode| mode.impulse.is_some_and(does));
        found.map(|mode| format!("`{}`", mode.name)).collect()
    };
    let back = modes_that(&|impulse| takes_back(impulse, is_to_white));
    if !back.is_empty() {
        return format!("use {} for this place, which pushes it more in the other direction", wording::one_of(&back));
    }
    let balanced = modes_that(&is_balanced);
    let none = "no mode in the display description is known to cancel this charge";
    match balanced.as_slice() {
        [] => format!("{none}: ask the panel maker for one that does"),
        modes => format!(
            "{none}: to keep it from growing, use {} for this place, which pushes equally in both directions",
            wording::one_of(modes)
        ),
    }
}

/// A smaller push is none, volt-seconds.
const LEAST_VS: f64 = 1e-6;

/// Whether driving a pixel there and back, or to the level that it has, takes such an impulse back.
pub(super) fn takes_back(impulse: Impulse, is_to_white: bool) -> bool {
    let sign = if is_to_white { 1.0 } else { -1.0 };
    sign * there_and_back(impulse) < -LEAST_VS || sign * impulse.same < -LEAST_VS
}

/// Whether a mode pushes as much in one direction as in the other.
pub(super) fn is_balanced(impulse: Impulse) -> bool {
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
        let (over, worst_vs) = step.glass.overcharged();
        let spots = regions(&over, step.grid());
        let Some(largest) = spots.iter().max_by_key(|spot| spot.pixels) else {
            self.close(limit, sink);
            return;
        };
        let open = self.open.get_or_insert_with(|| Open {
            place: Where::of(step, StepField::Updates),
            rect: None,
            pixels: 0,
            most_vs: 0.0,
            is_to_white: true,
        });
        open.place.last_step = step.planned.index;
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
