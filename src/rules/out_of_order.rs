//! `out-of-order`: the clock of a trace runs back.

use super::{Rule, Setup, wording};
use crate::{
    finding::{Observation, Sink, Where},
    plan::Plan,
};

/// Looks at the records whose time lies before that of the record before them.
#[derive(Clone)]
pub(super) struct OutOfOrder<'p> {
    plan: &'p Plan,
}

impl<'p> OutOfOrder<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for OutOfOrder<'_> {
    fn end(&mut self, sink: &mut Sink) {
        let records = self.plan.recorded.iter().flat_map(|recorded| &recorded.out_of_order);
        for record in records {
            let observation = Observation {
                message: format!(
                    "the clock runs back by {} here; this record is played at the time of the one before it",
                    wording::span(record.back_ms)
                ),
                help:
                    "write records in the order in which things happen; if the counter of the device begins again at \
                       some count, say so in the header: `\"clock\": { \"wraps_at\": COUNT }`"
                        .into(),
                figures: vec![("back_ms", record.back_ms)],
                ..Observation::default()
            };
            let place = Where { step: record.step, last_step: record.step, ..Where::of_plan(&record.pointer) };
            sink.report(place, observation);
        }
    }
}
