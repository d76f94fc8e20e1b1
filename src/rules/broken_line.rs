//! `broken-line`: a line of a trace cannot be read.

use super::{Rule, Setup};
use crate::{
    finding::{Observation, Severity, Sink, Where},
    plan::Plan,
};

/// Looks at the lines of a trace that are not JSON.
#[derive(Clone)]
pub(super) struct BrokenLine<'p> {
    plan: &'p Plan,
}

impl<'p> BrokenLine<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for BrokenLine<'_> {
    fn end(&mut self, sink: &mut Sink) {
        let lines = self.plan.recorded.iter().flat_map(|recorded| &recorded.broken);
        for (step, broken) in lines {
            let help = if broken.is_last {
                "the device may have lost its power while it wrote this line; what came before it is reviewed"
            } else {
                "check how the device writes this line, for instance quotation marks inside a text; updates on it are \
                 missing from this review"
            };
            let observation = Observation {
                message: format!("this line is not JSON, so it is left out: {}", broken.reason),
                help: help.into(),
                severity: broken.is_last.then_some(Severity::Note),
                ..Observation::default()
            };
            let pointer = format!("/lines/{}", broken.line);
            sink.report(Where { step: *step, last_step: *step, ..Where::of_plan(pointer) }, observation);
        }
    }
}
