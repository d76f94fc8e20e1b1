//! `not-proved`: a limit of which nobody can say whether every walk through a flow stays within it.

use super::{Outcome, Rule, Setup};
use crate::finding::{Observation, Sink, Where};

/// Reports the limits that are open.
#[derive(Clone)]
pub(super) struct NotProved;

impl NotProved {
    pub(super) fn new(_setup: &Setup<'_>) -> Self {
        Self
    }
}

/// What helps to decide an open limit.
fn help(rule: &str) -> &'static str {
    match rule {
        "too-many-since-cleaning" | "visible-ghost" => {
            "clean after fewer updates or at more states, so that the proved figure falls; or play the walks that \
             matter as plans: `stillpage walk` writes them"
        }
        _ => {
            "play the walks that matter as plans: `stillpage walk` writes them; or change the moves until every walk stays within the limit"
        }
    }
}

impl Rule for NotProved {
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        for open in outcome.of_flow.into_iter().flat_map(|of_flow| &of_flow.open) {
            let observation = Observation {
                message: open.message.clone(),
                help: help(open.rule).into(),
                figures: open.figures.clone(),
                key: open.rule.into(),
                ..Observation::default()
            };
            sink.report(Where { label: Some(open.rule.into()), ..Where::of_plan("") }, observation);
        }
    }
}
