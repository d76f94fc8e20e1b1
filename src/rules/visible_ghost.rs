//! `visible-ghost`: a place that looks visibly lighter or darker than the rest of its level.

use super::{
    Rule, Setup,
    ghost_groups::{GhostGroups, Group, Kind, State, Words},
    remedy, wording,
};
use crate::{
    finding::{Observation, Sink},
    panel::PlayedStep,
};

/// Follows the ghosts that are no outlines of what is driven beside them: those are `outline-left`'s.
#[derive(Clone)]
pub(super) struct VisibleGhost<'p>(GhostGroups<'p>);

impl<'p> VisibleGhost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limit_l = setup.limits.visible_ghost.limit_l.value;
        Self(GhostGroups::new(setup, Kind::Driven, limit_l, Words { origin: remedy::origin, observation }))
    }
}

fn observation(group: &Group, groups: &GhostGroups<'_>) -> Observation {
    let State { count, pixels, rim_px, worst_l, ref origin, .. } = group.worst;
    let (worst, area) = (wording::figure(worst_l), wording::area(pixels, &groups.plan.display));
    let undriven = match rim_px {
        0 => String::new(),
        _ => format!("; {rim_px} of the {pixels} px changed last when pixels beside them were driven"),
    };
    let why = |it: &str| {
        if group.worst.is_cleaner() {
            format!("{it} shows because a part of an even area is cleaner than the rest of it")
        } else {
            format!("{it} was left by {origin}")
        }
    };
    let message = |when: &str| match count {
        1 => format!("a ghost of {worst} L* on {area}{when}: {}{undriven}", why("it")),
        _ => format!("{count} ghosts of up to {worst} L* on {area}{when}; {}{undriven}", why("the strongest")),
    };
    groups.observation(group, message, "ghosts")
}

impl Rule for VisibleGhost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.0.step(step, sink);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.0.end(sink);
    }
}
