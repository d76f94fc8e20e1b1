//! `tiny-text`: SVG text whose small letters are too low on this panel for the distance from which it is read.

use super::{
    Rule, Setup,
    texts::{Followed, Group},
    wording,
};
use crate::{
    display::ink::InkKind,
    finding::{Observation, Sink},
    panel::PlayedStep,
    plan::{Plan, TinyTextLimits},
    units::{arc_minutes, height_mm_of_arc, length_mm},
};

/// Looks at the texts of every distinct screen.
#[derive(Clone)]
pub(super) struct TinyText<'p> {
    plan: &'p Plan,
    limits: TinyTextLimits,
    /// What both limits come to on this panel.
    limit_mm: f64,
    /// By the height of the letters and the size of the face, both in bits of px.
    followed: Followed<(u64, u64)>,
}

impl<'p> TinyText<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (plan, limits) = (setup.plan, setup.limits.tiny_text);
        let by_angle_mm = height_mm_of_arc(limits.arc_minutes.value, plan.viewing_distance_mm);
        let limit_mm = limits.mm.map_or(by_angle_mm, |floor| floor.value.max(by_angle_mm));
        Self { plan, limits, limit_mm, followed: Followed::new() }
    }

    /// Why so high a letter is too low.
    fn reason(&self, mm: f64) -> String {
        let [height, limit] = wording::figures_apart(mm, self.limit_mm);
        let height = format!("{height} mm high on this panel");
        if let Some(floor) = self.limits.mm.filter(|floor| floor.value >= self.limit_mm) {
            return format!("{height}, below {}", floor.words(&format!("{limit} mm")));
        }
        let distance_mm = self.plan.viewing_distance_mm;
        let [angle, wanted] = wording::figures_apart(arc_minutes(mm, distance_mm), self.limits.arc_minutes.value);
        format!(
            "{height}; to be read at full speed from {distance_mm:.0} mm away they must be {limit} mm high ({wanted} minutes of \
             arc instead of {angle})"
        )
    }

    fn tell(&self, x_height_px: f64, size_px: f64, group: Group, sink: &mut Sink) {
        let mm = length_mm(x_height_px, self.plan.display.pixels_per_inch);
        // Rounded up to halves of a pixel, so that what is advised is enough.
        let wanted_px = (2.0 * size_px * self.limit_mm / mm).ceil() / 2.0;
        let observation = Observation {
            rect: Some(group.rect),
            message: format!(
                "{}: the lowercase letters ({} px) are {}",
                group.words(),
                wording::figure(x_height_px),
                self.reason(mm)
            ),
            help: format!(
                "set it at {wanted_px} px instead of {} px, or choose a font with larger lowercase letters",
                wording::figure(size_px)
            ),
            figures: vec![
                ("x_height_mm", mm),
                ("limit_mm", self.limit_mm),
                ("arc_minutes", arc_minutes(mm, self.plan.viewing_distance_mm)),
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
