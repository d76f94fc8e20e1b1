//! `charge-builds-up`: pixels that were pushed one way more than the other, beyond their limit.

use super::{Rule, Setup, wording};
use crate::{
    change::regions,
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
            help:
                "drive the place back in the opposite direction with a mode that balances it; unbalanced driving can \
                   damage a panel permanently: the panel maker's own documents come first"
                    .into(),
            figures: vec![
                ("net_impulse_vs", open.most_vs),
                ("limit_vs", limit.value),
                ("px", open.pixels as f64),
                ("mm2", display.area_mm2(open.pixels)),
            ],
            ..Observation::default()
        };
        sink.report(open.place, observation);
    }
}

impl Rule for ChargeBuildsUp<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(limit) = self.limit else { return };
        if step.pen_line.is_empty() && step.updates.iter().all(|update| update.driven_px == 0) {
            // Nothing was driven: what was beyond the limit a step ago is so still.
            if let Some(open) = &mut self.open {
                open.place.last_step = step.planned.index;
            }
            return;
        }
        let (over, most_vs) = step.glass.overcharged();
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
        });
        open.place.last_step = step.planned.index;
        if most_vs > open.most_vs {
            (open.rect, open.pixels, open.most_vs) = (Some(largest.rect), over.count(), most_vs);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        if let Some(limit) = self.limit {
            self.close(limit, sink);
        }
    }
}
