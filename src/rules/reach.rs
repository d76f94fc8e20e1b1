//! What the rules share that report states and moves of a flow.

use crate::finding::{FlowPlace, Observation, Sink, Where};

/// Reports each place with a message made from its name.
pub(super) fn report_each(places: &[FlowPlace], message: &dyn Fn(&str) -> String, help: &str, sink: &mut Sink) {
    for place in places {
        let observation = Observation {
            message: message(place.name.as_deref().unwrap_or_default()),
            help: help.into(),
            ..Observation::default()
        };
        sink.report(Where { label: place.name.clone(), ..Where::of_plan(&place.pointer) }, observation);
    }
}
