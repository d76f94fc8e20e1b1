//! `small-target`: a touch target that a finger misses.

use std::collections::BTreeMap;

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, StepField, Where},
    geometry::Window,
    panel::PlayedStep,
    plan::Plan,
    units::length_mm,
};

/// The smallest target of WCAG 2.2, 2.5.8: 24 CSS px, each 1/96 inch.
const FLOOR_CSS_PX: f64 = 24.0;
const CSS_PX_IN_AN_INCH: f64 = 96.0;

/// Keeps each target that is too small, and when it was touched.
#[derive(Clone)]
pub(super) struct SmallTarget<'p> {
    plan: &'p Plan,
    limit_mm: f64,
    found: BTreeMap<Window, Where>,
}

impl<'p> SmallTarget<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, limit_mm: setup.limits.small_target.mm.value, found: BTreeMap::new() }
    }

    /// Width and height of what can be touched, mm: nothing beyond the edge can.
    fn size_mm(&self, target: Window) -> [f64; 2] {
        let on_panel = target.cut(self.plan.screen_size());
        on_panel.map_or([0.0; 2], |rect| {
            [rect.width, rect.height].map(|px| length_mm(f64::from(px), self.plan.display.pixels_per_inch))
        })
    }

    fn tell(&self, target: Window, place: Where, sink: &mut Sink) {
        let [width_mm, height_mm] = self.size_mm(target);
        let rect = target.cut(self.plan.screen_size());
        let message = match rect {
            Some(rect) => format!(
                "the touch target is {} x {} px, {} x {} mm: smaller than the limit of {} mm for a finger",
                rect.width,
                rect.height,
                wording::figure(width_mm),
                wording::figure(height_mm),
                self.limit_mm
            ),
            None => format!("the touch target {} lies outside the panel: nobody can touch it", wording::window(target)),
        };
        let pixels_per_inch = self.plan.display.pixels_per_inch;
        let wanted_px = (self.limit_mm * pixels_per_inch / 25.4).ceil();
        let floor_px = (FLOOR_CSS_PX * pixels_per_inch / CSS_PX_IN_AN_INCH).ceil();
        // One figure is to be built; the minimum is said only where a plan asks for less.
        let floor = if wanted_px < floor_px {
            format!("; the minimum of WCAG 2.2 (2.5.8) is {FLOOR_CSS_PX} CSS px, which is {floor_px} px here")
        } else {
            String::new()
        };
        let observation = Observation {
            rect,
            message,
            help: format!(
                "make its touch area at least {wanted_px} x {wanted_px} px, even if what is drawn there is smaller{floor}"
            ),
            figures: vec![("width_mm", width_mm), ("height_mm", height_mm), ("limit_mm", self.limit_mm)],
            key: wording::window(target),
            ..Observation::default()
        };
        sink.report(place, observation);
    }
}

impl Rule for SmallTarget<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        let Some(target) = step.planned.step.touched else { return };
        let [width_mm, height_mm] = self.size_mm(target);
        if width_mm.min(height_mm) < self.limit_mm {
            let place = self.found.entry(target).or_insert_with(|| Where::of(step, StepField::Touched));
            place.last_step = step.planned.index;
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        for (target, place) in std::mem::take(&mut self.found) {
            self.tell(target, place, sink);
        }
    }
}
