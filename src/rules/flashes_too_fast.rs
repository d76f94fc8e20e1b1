//! `flashes-too-fast`: a large area flashes more often than three times within a second.

use std::collections::BTreeSet;

use super::{Rule, Setup, words};
use crate::{
    finding::{Severity, Sight, Sink, StepField, Where},
    panel::{FlashBreak, PlayedStep},
    plan::Plan,
};

/// Looks at the thresholds that updates break, alone or together.
pub(super) struct FlashesTooFast<'p> {
    plan: &'p Plan,
    limit_sr: f64,
    /// Modes that break it alone and were told.
    told: BTreeSet<usize>,
}

impl<'p> FlashesTooFast<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { limit_sr: setup.limit("sr"), plan: setup.plan, told: BTreeSet::new() }
    }

    fn sight(&self, index: usize, mode: usize, found: &FlashBreak) -> Sight {
        let display = &self.plan.display;
        let kind = if found.is_red { "red flashes" } else { "flashes" };
        let what = match (found.is_alone, found.is_content) {
            (true, _) => format!("`{}` alone makes {} {kind}", display.modes[mode].name, found.flashes),
            (false, true) => format!("the content swings there and back: {} {kind}", found.flashes),
            (false, false) => format!("with the updates before it, {} {kind} come", found.flashes),
        };
        let help = if found.is_alone {
            format!(
                "use `{}` only on windows below that area, or a mode that flashes less often",
                display.modes[mode].name
            )
        } else if found.is_content {
            "let the content change less often, or on a smaller area".to_owned()
        } else {
            "leave more time between the updates, use a mode without flashes, or smaller windows".to_owned()
        };
        Sight {
            update: Some(index),
            rect: Some(found.rect),
            message: format!(
                "{what} within one second on {} in one field of view: {:.4} sr at {} mm, {} sr are the threshold",
                words::area(found.pixels, display),
                found.sr,
                words::ms(self.plan.viewing_distance_mm),
                self.limit_sr
            ),
            help,
            figures: vec![
                ("flashes", found.flashes as f64),
                ("sr", found.sr),
                ("limit_sr", self.limit_sr),
                ("px", found.pixels as f64),
                ("mm2", display.area_mm2(found.pixels)),
            ],
            key: format!("{} {}", found.is_red, found.is_alone),
            ..Sight::default()
        }
    }
}

impl Rule for FlashesTooFast<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        for (index, update) in step.updates.iter().enumerate() {
            for found in &update.flash_breaks {
                let sight = self.sight(index, update.mode, found);
                if !found.is_alone {
                    sink.report(Where::of(step, StepField::Mode(index)), sight);
                } else if self.told.insert(update.mode) {
                    let severity = Some(Severity::Warning);
                    sink.report(Where::of(step, StepField::Mode(index)), Sight { severity, ..sight });
                }
            }
        }
    }
}
