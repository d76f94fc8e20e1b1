//! `flashes-too-fast`: a large area flashes more often than three times within a second.

use std::collections::BTreeSet;

use super::{
    Rule, Setup,
    pauses::{after_ms, later},
    wording,
};
use crate::{
    finding::{Asks, Figure, Margin, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
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
    /// The boxes of earlier updates that may be seen within a second of the next step, and when each ends, ms.
    recent: Vec<(Vec<Rect>, f64)>,
}

/// Flashes are counted within this time, ms.
const SECOND_MS: f64 = 1000.0;

impl<'p> FlashesTooFast<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.flashes_too_fast;
        let limits = FlashLimits { sr: limits.sr.value, per_second: limits.per_second.value };
        Self {
            limits,
            watch: FlashWatch::new(setup.plan, limits),
            plan: setup.plan,
            reported: BTreeSet::new(),
            recent: Vec::new(),
        }
    }

    /// That a step comes a second after the end of all that is seen in the same place before it.
    fn asks_for(&self, step: &PlayedStep<'_>, found: &FastFlashes) -> Option<Asks> {
        let planned = step.planned.step;
        let own_before = step.updates[..found.update].iter().any(|own| !own.sent.is_empty());
        if found.is_alone || own_before || planned.cause.is_person() {
            return None;
        }
        let is_there = |(boxes, _): &&(Vec<Rect>, f64)| boxes.iter().any(|rect| rect.overlaps(found.rect));
        let end_ms = self.recent.iter().filter(is_there).map(|(_, end_ms)| *end_ms).reduce(f64::max)?;
        let later_ms = end_ms + SECOND_MS - step.updates_request_ms();
        (later_ms > 0.0).then(|| later(step, after_ms(planned.after_ms + later_ms), self.plan))
    }

    fn remember(&mut self, step: &PlayedStep<'_>) {
        let request_ms = step.updates_request_ms();
        self.recent.retain(|(_, end_ms)| end_ms + SECOND_MS > request_ms);
        let sent = step.updates.iter().filter(|update| !update.sent.is_empty());
        self.recent.extend(sent.map(|update| (update.sent.clone(), update.times.finish_ms)));
    }

    fn observation(&self, step: &PlayedStep<'_>, mode: usize, found: &FastFlashes) -> Observation {
        let display = &self.plan.display;
        let name = &display.modes[mode].name;
        let kind = if found.kind == FlashKind::Red { "red flashes" } else { "flashes" };
        // A few pixels may flash more often: what is reported is true of the whole area.
        let flashes = found.on_large_area;
        let (what, help) = if found.is_alone {
            (
                format!("`{name}` alone makes {flashes} {kind}"),
                format!("use `{name}` only on windows below that area, or a mode that flashes less often"),
            )
        } else if found.has_content && display.modes[mode].flashes == 0 {
            (
                format!("the content changes back and forth: {flashes} {kind}"),
                "change the content less often, or on a smaller area".to_owned(),
            )
        } else if found.has_content {
            (
                format!(
                    "the changes of content (half a flash each) and the flashes of `{name}` together make {flashes} {kind}"
                ),
                format!("leave more time before `{name}`, or use it on a smaller area"),
            )
        } else {
            (
                format!("this update and those before it make {flashes} {kind}"),
                "leave more time between the updates, use a mode without flashes, or use smaller windows".to_owned(),
            )
        };
        let asks = self.asks_for(step, found);
        let help = asks.as_ref().map_or(help.clone(), |asks| {
            let words = asks.words();
            format!(
                "{words}: then at least a second has passed since the last flash or change there; or use a mode that flashes \
                 less often, or smaller windows"
            )
        });
        Observation {
            asks,
            update: Some(found.update),
            rect: Some(found.rect),
            message: format!(
                "{what} within one second ({} are allowed) on {} in one field of view: {:.4} sr seen from {} mm away, and areas of {} sr or more count",
                found.allowed,
                wording::area(found.large_px, display),
                found.large_sr,
                wording::ms(self.plan.viewing_distance_mm),
                self.limits.sr
            ),
            help,
            corrections: Vec::new(),
            figures: vec![
                ("flashes", flashes),
                ("sr", found.large_sr),
                ("limit_sr", self.limits.sr),
                ("px", found.large_px as f64),
                ("mm2", display.area_mm2(found.large_px)),
            ],
            margin: Margin::of(Figure::Flashes, flashes, found.allowed, display),
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
                sink.report(Where::of(step, StepField::Mode(found.update)), self.observation(step, mode, &found));
            }
        }
        self.remember(step);
    }
}
