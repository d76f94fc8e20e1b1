//! `unused-accept`: an `accept` that matches no finding.

use super::{Outcome, Rule, Setup};
use crate::{
    finding::{Observation, Sink, Where},
    plan::Plan,
};

/// Looks at how many findings each `accept` matched.
#[derive(Clone)]
pub(super) struct UnusedAccept<'p> {
    plan: &'p Plan,
}

impl<'p> UnusedAccept<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for UnusedAccept<'_> {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        for (accept, matches) in self.plan.accept.iter().zip(outcome.accept_matches) {
            let is_off = self.plan.switches_off(&accept.rule);
            // A rule that this run left out could not find anything to accept.
            if *matches > 0 || !(is_off || outcome.ran(&accept.rule)) {
                continue;
            }
            let observation = Observation {
                message: if is_off {
                    format!("this entry accepts findings of `{}`, but that rule is switched off", accept.rule)
                } else {
                    format!(
                        "this entry accepts findings of `{}`, but no finding of that rule matches it any more",
                        accept.rule
                    )
                },
                help: if is_off {
                    format!("remove this entry, or switch `{}` on again", accept.rule)
                } else {
                    "remove it if the finding has been fixed; if a label has changed, correct the label here".into()
                },
                ..Observation::default()
            };
            sink.report(Where::of_plan(&accept.pointer), observation);
        }
    }
}
