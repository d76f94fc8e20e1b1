//! `too-soon`: an update begins closer to another one than it may.

use super::{
    Rule, Setup,
    pauses::{after_ms, later},
    remedy::has_turns,
    wording,
};
use crate::{
    finding::{Asks, ChangeOf, Correction, Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::{LimitValue, Origin, Plan, PlanKind},
};

/// Looks at the time between the begins of updates. One that waits may be overtaken by a later one over other pixels.
#[derive(Clone)]
pub(super) struct TooSoon<'p> {
    plan: &'p Plan,
    least: Option<LimitValue>,
    /// The begins that a coming update may still be too close to, ms.
    starts_ms: Vec<f64>,
}

impl<'p> TooSoon<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { least: setup.limits.too_soon.ms, starts_ms: Vec::new(), plan: setup.plan }
    }

    fn help(&self, asks: Option<&Asks>, least_ms: f64) -> String {
        let later = asks.map_or_else(
            || {
                let least_ms = after_ms(least_ms);
                match self.plan.kind() {
                    PlanKind::Plan => {
                        format!("send it in a step of its own, with an `after_ms` of at least {least_ms}")
                    }
                    PlanKind::Walk => {
                        format!("send it in a move of its own, with a `soonest_ms` of at least {least_ms}")
                    }
                    PlanKind::Trace => format!("send it at least {least_ms} ms after the update before it"),
                }
            },
            Asks::words,
        );
        format!(
            "{later}; or, if nobody needs to see both pictures, leave one of the two out: updates so close together may \
             wear or damage `{}`",
            self.plan.display.name
        )
    }
}

/// That a step comes so late that an update begins at a time, ms.
fn asks_for(step: &PlayedStep<'_>, update: &PlayedUpdate, begin_ms: f64, plan: &Plan) -> Asks {
    later(step, after_ms(step.planned.step.after_ms + begin_ms - update.times.request_ms), plan)
}

/// The same as a change of the plan; a person comes when a person comes.
fn corrections(step: &PlayedStep<'_>, asks: &Asks) -> Vec<Correction> {
    let planned = step.planned.step;
    match asks {
        Asks::Later(later) if !planned.cause.is_person() && !has_turns(planned) => {
            vec![Correction::of(step, ChangeOf::AfterMs { ms: later.own_ms })]
        }
        _ => Vec::new(),
    }
}

/// What is asked for between two updates, and by whom.
fn wants(least: LimitValue) -> String {
    let span = wording::span(least.value);
    match least.origin {
        Origin::Display => format!("the panel needs {span} between two updates"),
        _ => format!("that is less than {} between two updates", least.words(&span)),
    }
}

impl Rule for TooSoon<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(least) = self.least else { return };
        let least_ms = least.value;
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
            let start_ms = update.times.start_ms;
            // No update begins before it is requested.
            self.starts_ms.retain(|other| other + least_ms > update.times.request_ms);
            let close = |other: &&f64| (start_ms - **other).abs() < least_ms;
            let nearest = self
                .starts_ms
                .iter()
                .filter(close)
                .min_by(|one, other| (start_ms - **one).abs().total_cmp(&(start_ms - **other).abs()));
            let latest_ms = self.starts_ms.iter().filter(close).copied().fold(f64::NEG_INFINITY, f64::max);
            let nearest_ms = nearest.copied();
            self.starts_ms.push(start_ms);
            let Some(nearest_ms) = nearest_ms else { continue };
            let apart_ms = (start_ms - nearest_ms).abs();
            let is_own = step.updates[..index].iter().any(|own| !own.sent.is_empty());
            let asks = (!is_own).then(|| asks_for(step, update, latest_ms + least_ms, self.plan));
            let observation = Observation {
                update: Some(index),
                rect: update.sent_bounds(),
                message: format!(
                    "this update begins {} {}; {}",
                    wording::span_below(apart_ms, least_ms),
                    if start_ms < nearest_ms {
                        "before another one that is still waiting"
                    } else {
                        "after another one"
                    },
                    wants(least)
                ),
                help: self.help(asks.as_ref(), least_ms),
                corrections: asks.as_ref().map_or_else(Vec::new, |asks| corrections(step, asks)),
                asks,
                figures: vec![("apart_ms", apart_ms), ("limit_ms", least_ms)],
                beyond: Some(least_ms - apart_ms),
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }
}
