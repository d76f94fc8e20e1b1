//! `visible-ghost`: a place that looks visibly lighter or darker than the rest of its level.

use super::{
    Rule, Setup,
    ghost_groups::{GhostGroups, Group, Kind, State},
    remedy, wording,
};
use crate::{
    finding::{Observation, ResidueModes, Sink},
    panel::PlayedStep,
    plan::Plan,
};

/// Follows the ghosts that are no outlines of what is driven beside them: those are `outline-left`'s.
#[derive(Clone)]
pub(super) struct VisibleGhost<'p> {
    plan: &'p Plan,
    limit_l: f64,
    groups: GhostGroups<'p>,
    modes: ResidueModes,
}

impl<'p> VisibleGhost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let groups = GhostGroups::new(setup.plan, Kind::Driven, remedy::origin);
        let limit_l = setup.limits.visible_ghost.limit_l.value;
        Self { limit_l, plan: setup.plan, groups, modes: ResidueModes::default() }
    }

    fn tell(&self, group: Group, sink: &mut Sink) {
        let display = &self.plan.display;
        let State { count, pixels, rim_px, worst_l, ref origin, .. } = group.worst;
        let when = group.at_its_worst();
        let (worst, area) = (wording::figure(worst_l), wording::area(pixels, display));
        let undriven = match rim_px {
            0 => String::new(),
            _ => format!(
                "; {rim_px} of the {pixels} px were not driven since it came: what was driven beside them left it"
            ),
        };
        let message = if count == 1 {
            format!("a ghost of {worst} L* on {area}{when}: {origin}{undriven}")
        } else {
            format!("{count} ghosts of up to {worst} L* on {area}{when}; of the strongest: {origin}{undriven}")
        };
        let observation = Observation {
            margin: self.modes.margin(worst_l, self.limit_l, display),
            ..group.observation(message, "ghosts", self.limit_l, display)
        };
        sink.report(group.place, observation);
    }
}

impl Rule for VisibleGhost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step);
        for group in self.groups.step(step) {
            self.tell(group, sink);
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        for group in self.groups.end() {
            self.tell(group, sink);
        }
    }
}
