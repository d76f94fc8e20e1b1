//! `nothing-changes`: an update that sends pixels of which none changes, and that cleans nothing.

use std::collections::BTreeMap;

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
    /// The updates of each step with several turns, by the pointer to the step.
    of_turns: BTreeMap<String, Vec<OfTurns>>,
}

/// What an update does in the turns of its step.
#[derive(Clone, Default)]
struct OfTurns {
    pointer: String,
    /// It does something in one of them.
    is_useful: bool,
    /// It does nothing in one of them.
    is_idle: bool,
    /// Something else differs in one of them as well: there `"changed"` would send more.
    is_beside: bool,
}

impl<'p> NothingChanges<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, of_turns: BTreeMap::new() }
    }

    /// Notes what an update does in this turn of its step.
    fn see_turn(&mut self, step: &PlayedStep<'_>, index: usize, is_useful: bool) {
        let planned = step.planned.step;
        if !self.of_turns.contains_key(&planned.pointer) {
            self.of_turns.insert(planned.pointer.clone(), Vec::new());
        }
        let Some(updates) = self.of_turns.get_mut(&planned.pointer) else { return };
        for at in updates.len()..=index {
            updates.push(OfTurns { pointer: StepField::Mode(at).pointer(planned), ..OfTurns::default() });
        }
        let update = &mut updates[index];
        update.is_useful |= is_useful;
        update.is_idle |= !is_useful;
        let played = &step.updates[index];
        // Mostly the first update changes all that differs, and then nothing has to be cut out.
        let changes_all = index == 0 && played.changed_px == step.changed.count();
        if is_useful && !update.is_beside && !changes_all {
            update.is_beside = !step.changed.outside(&played.sent, step.grid()).is_empty();
        }
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
            let is_useful = update.changed_px > 0 || update.changes_something() || mode.cleans || update.takes_residue;
            if has_turns(step.planned.step) {
                self.see_turn(step, index, is_useful);
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
                help: wording::by_kind(
                    self.plan,
                    "remove the update, or ask for \"changed\", which sends nothing where nothing differs",
                    "leave such an update out, or send only what differs",
                )
                .into(),
                corrections: vec![
                    Correction::of(step, ChangeOf::RemoveUpdate { update: index }),
                    Correction::of(step, ChangeOf::Window { update: index, window: WindowAsk::Changed }),
                ],
                figures: vec![("sent_px", update.sent_px as f64), ("duration_ms", update.duration_ms)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }

    /// What another turn of a step needs cannot be taken away.
    fn end(&mut self, sink: &mut Sink) {
        let needed = self.of_turns.values().flatten().filter(|update| update.is_idle && update.is_useful);
        for update in needed {
            sink.amend(&update.pointer, "", |finding| {
                finding.help =
                    "ask for \"changed\", which sends nothing where nothing differs: other turns of this step need \
                                the update"
                        .into();
                if update.is_beside {
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
