//! `tiny-text`: SVG text whose small letters are lower than the limit on this panel.

use super::{
    Rule, Setup,
    texts::{Followed, Group},
    wording,
};
use crate::{
    display::ink::InkKind,
    finding::{Observation, Sink},
    panel::PlayedStep,
    plan::Plan,
    units::length_mm,
};

/// Looks at the texts of every distinct screen.
#[derive(Clone)]
pub(super) struct TinyText<'p> {
    plan: &'p Plan,
    limit_mm: f64,
    /// By the height of the letters and the size of the face, both in bits of px.
    followed: Followed<(u64, u64)>,
}

impl<'p> TinyText<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, limit_mm: setup.limits.tiny_text.mm.value, followed: Followed::new() }
    }

    fn tell(&self, x_height_px: f64, size_px: f64, group: Group, sink: &mut Sink) {
        let mm = length_mm(x_height_px, self.plan.display.pixels_per_inch);
        // Rounded up to halves of a pixel, so that what is advised is enough.
        let wanted_px = (2.0 * size_px * self.limit_mm / mm).ceil() / 2.0;
        let observation = Observation {
            rect: Some(group.rect),
            message: format!(
                "{}: small letters of {} px are {} mm high on this panel; {} mm can be read at arm's length",
                group.words(),
                wording::figure(x_height_px),
                wording::figure(mm),
                self.limit_mm
            ),
            help: format!(
                "set it in {wanted_px} px instead of {} px, or choose a face with larger small letters",
                wording::figure(size_px)
            ),
            figures: vec![
                ("x_height_mm", mm),
                ("limit_mm", self.limit_mm),
                ("size_px", size_px),
                ("texts", group.count as f64),
            ],
            key: format!("{x_height_px} {size_px}"),
            ..Observation::default()
        };
        sink.report(group.place, observation);
    }
}

impl Rule for TinyText<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        let display = &self.plan.display;
        if matches!(display.ink.kind(), InkKind::Segments(_)) {
            return;
        }
        let limit_mm = self.limit_mm;
        self.followed.step(step, |text| {
            let mm = length_mm(text.x_height_px, display.pixels_per_inch);
            (mm < limit_mm).then_some((text.x_height_px.to_bits(), text.size_px.to_bits()))
        });
    }

    fn end(&mut self, sink: &mut Sink) {
        for ((x_height, size), group) in self.followed.take() {
            self.tell(f64::from_bits(x_height), f64::from_bits(size), group, sink);
        }
    }
}
