//! `flashes-too-fast`: a large area flashes more often than three times within a second.

use std::collections::BTreeSet;

use super::{Rule, Setup, wording};
use crate::{
    finding::{Figure, Margin, Observation, Severity, Sink, StepField, Where},
    panel::{FastFlashes, FlashKind, FlashLimits, FlashWatch, PlayedStep},
    plan::Plan,
};

/// Looks at the thresholds that updates break, alone or together.
#[derive(Clone)]
pub(super) struct FlashesTooFast<'p> {
    plan: &'p Plan,
    limits: FlashLimits,
    watch: FlashWatch<'p>,
    /// Modes that break it alone and were reported, by kind of flash.
    reported: BTreeSet<(usize, FlashKind)>,
}

impl<'p> FlashesTooFast<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.flashes_too_fast;
        let limits = FlashLimits { sr: limits.sr.value, per_second: limits.per_second.value };
        Self { limits, watch: FlashWatch::new(setup.plan, limits), plan: setup.plan, reported: BTreeSet::new() }
    }

    fn observation(&self, mode: usize, found: &FastFlashes) -> Observation {
        let display = &self.plan.display;
        let name = &display.modes[mode].name;
        let kind = if found.kind == FlashKind::Red { "red flashes" } else { "flashes" };
        let flashes = found.flashes;
        let (what, help) = if found.is_alone {
            (
                format!("`{name}` alone makes {flashes} {kind}"),
                format!("use `{name}` only on windows below that area, or a mode that flashes less often"),
            )
        } else if found.has_content {
            (
                format!("the content changes back and forth: {flashes} {kind}"),
                "change the content less often, or on a smaller area".to_owned(),
            )
        } else {
            (
                format!("together with the updates before it there are {flashes} {kind}"),
                "leave more time between the updates, use a mode without flashes, or use smaller windows".to_owned(),
            )
        };
        Observation {
            update: Some(found.update),
            rect: Some(found.rect),
            message: format!(
                "{what} within one second on {} in one field of view: {:.4} sr at {} mm; the threshold is {} sr",
                wording::area(found.pixels, display),
                found.sr,
                wording::ms(self.plan.viewing_distance_mm),
                self.limits.sr
            ),
            help,
            corrections: Vec::new(),
            figures: vec![
                ("flashes", flashes),
                ("sr", found.sr),
                ("limit_sr", self.limits.sr),
                ("px", found.pixels as f64),
                ("mm2", display.area_mm2(found.pixels)),
            ],
            margin: Margin::of(Figure::Flashes, found.on_large_area, found.allowed, display),
            key: format!("{:?} {}", found.kind, found.is_alone),
            severity: found.is_alone.then_some(Severity::Warning),
            ..Observation::default()
        }
    }
}

impl Rule for FlashesTooFast<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for found in self.watch.step(step) {
            let mode = step.updates[found.update].mode;
            if !found.is_alone || self.reported.insert((mode, found.kind)) {
                sink.report(Where::of(step, StepField::Mode(found.update)), self.observation(mode, &found));
            }
        }
    }
}
