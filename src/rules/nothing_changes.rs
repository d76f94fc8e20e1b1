//! `nothing-changes`: an update that sends pixels of which none changes, and that cleans nothing.

use std::collections::BTreeSet;

use super::{Rule, Setup, remedy::has_turns, wording};
use crate::{
    finding::{Change, ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
};

/// Looks at every update on its own.
#[derive(Clone)]
pub(super) struct NothingChanges<'p> {
    plan: &'p Plan,
    /// The updates of steps with several turns that do something in one of them, and those that do nothing in one, by their
    /// fields of the plan.
    useful: BTreeSet<String>,
    idle: BTreeSet<String>,
    /// Those that stand beside something else that differs in one of them: there `"changed"` would send more.
    beside: BTreeSet<String>,
}

impl<'p> NothingChanges<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, useful: BTreeSet::new(), idle: BTreeSet::new(), beside: BTreeSet::new() }
    }
}

impl Rule for NothingChanges<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let display = &self.plan.display;
        for (index, update) in step.updates.iter().enumerate() {
            let mode = &display.modes[update.mode];
            if update.sent.is_empty() {
                continue;
            }
            let field = StepField::Mode(index);
            let is_useful = update.changed_px > 0 || mode.cleans || update.takes_residue;
            if has_turns(step.planned.step) {
                let pointer = field.pointer(step.planned.step);
                if is_useful && !step.changed.outside(&update.sent, step.grid()).is_empty() {
                    self.beside.insert(pointer.clone());
                }
                let turns = if is_useful { &mut self.useful } else { &mut self.idle };
                turns.insert(pointer);
            }
            if is_useful {
                continue;
            }
            let observation = Observation {
                update: Some(index),
                rect: update.sent_bounds(),
                message: format!(
                    "the `{}` update sends {} but changes none of them; it takes {} ms",
                    mode.name,
                    wording::area(update.sent_px, display),
                    wording::figure(update.duration_ms)
                ),
                help: "remove the update, or ask for \"changed\", which sends nothing where nothing differs".into(),
                corrections: vec![
                    Correction::of(step, ChangeOf::RemoveUpdate { update: index }),
                    Correction::of(step, ChangeOf::Window { update: index, window: WindowAsk::Changed }),
                ],
                figures: vec![("sent_px", update.sent_px as f64), ("duration_ms", update.duration_ms)],
                ..Observation::default()
            };
            sink.report(Where::of(step, field), observation);
        }
    }

    /// What another turn of a step needs cannot be taken away.
    fn end(&mut self, sink: &mut Sink) {
        for pointer in self.idle.intersection(&self.useful) {
            sink.amend(pointer, "", |finding| {
                finding.help =
                    "ask for \"changed\", which sends nothing where nothing differs: other turns of this step need \
                                the update"
                        .into();
                if self.beside.contains(pointer) {
                    finding.help =
                        "make this turn a step of its own, without the update: other turns of this step need it".into();
                    finding.corrections.clear();
                }
                let removes = |change: &Change| matches!(change.what, ChangeOf::RemoveUpdate { .. });
                finding.corrections.retain(|correction| !correction.changes.iter().any(removes));
            });
        }
    }
}
