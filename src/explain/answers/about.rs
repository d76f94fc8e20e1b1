//! What every answer needs: the story, the plan, and the names of what stands in them.

use crate::{
    display::Mode,
    explain::{
        happened::{Event, SentHere},
        lasting::name_of_step,
        story_parts::Story,
    },
    plan::{Plan, PlanKind},
    rules::wording::{cleaning_modes, one_of},
};

/// Less than this is nothing to speak of, L*.
pub const LEAST_OFF_L: f64 = 0.05;

/// What a complaint is about.
pub(super) struct About<'s> {
    pub(super) story: &'s Story,
    pub(super) plan: &'s Plan,
}

impl About<'_> {
    pub(super) fn mode(&self, sent: &SentHere) -> &Mode {
        &self.plan.display.modes[sent.mode]
    }

    pub(super) fn sent(&self) -> impl DoubleEndedIterator<Item = (&Event, &SentHere)> {
        self.story.events.iter().flat_map(|event| event.sent.iter().map(move |sent| (event, sent)))
    }

    pub(super) fn flashing(&self) -> Vec<(&Event, &SentHere)> {
        self.sent().filter(|(_, sent)| self.mode(sent).flashes > 0 && !sent.is_lost).collect()
    }

    /// The modes without a flash, to choose one from.
    pub(super) fn quiet_modes(&self) -> Option<String> {
        let quiet = self.plan.display.modes.iter().filter(|mode| mode.flashes == 0);
        let names: Vec<String> = quiet.map(|mode| format!("`{}`", mode.name)).collect();
        (!names.is_empty()).then(|| one_of(&names))
    }

    /// What was played: a plan or a trace.
    pub(super) fn kind(&self) -> &'static str {
        self.plan.kind().word()
    }

    pub(super) fn is_trace(&self) -> bool {
        self.plan.kind() == PlanKind::Trace
    }

    /// The field of a plan by which the old picture is sent along, in brackets; a trace has none.
    pub(super) fn with_old(&self) -> &'static str {
        if self.is_trace() { "" } else { " (`with_old`)" }
    }

    /// The modes that clean, to choose one from.
    pub(super) fn cleaning_modes(&self) -> Option<String> {
        let names = cleaning_modes(&self.plan.display);
        (!names.is_empty()).then(|| one_of(&names))
    }

    pub(super) fn step_named(&self, step: u64) -> String {
        name_of_step(step, self.plan)
    }

    pub(super) fn name(&self, event: &Event) -> String {
        name_of_step(event.step, self.plan)
    }
}
