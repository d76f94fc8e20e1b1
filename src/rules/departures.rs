//! Where a device departed from the plan that it is held against: what three rules report of it.

use crate::{
    finding::{Observation, Sink, Where},
    plan::{DepartureKind, Plan},
};

/// The id of the rule that reports departures of a kind.
pub(crate) const fn rule_of_departure(kind: DepartureKind) -> &'static str {
    match kind {
        DepartureKind::NotInPlan => "not-in-plan",
        DepartureKind::NotDone => "not-done",
        DepartureKind::DoneOtherwise => "done-otherwise",
    }
}

/// Reports the departures of a kind.
pub(super) fn report(plan: &Plan, kind: DepartureKind, sink: &mut Sink) {
    let departures = plan.recorded.iter().flat_map(|recorded| &recorded.departures);
    for departure in departures.filter(|departure| departure.kind == kind) {
        let place = Where {
            step: departure.step,
            last_step: departure.step,
            label: departure.label.clone(),
            pointer: departure.pointer.clone(),
        };
        let observation = Observation {
            rect: departure.rect,
            message: departure.message.clone(),
            help: departure.help.clone(),
            key: departure.key.clone(),
            ..Observation::default()
        };
        sink.report(place, observation);
    }
}
