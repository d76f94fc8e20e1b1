//! What plans and causes are called on the page.

use crate::{
    plan::Cause,
    report::{ReviewedPlan, sentences::clock},
};

pub(super) fn plan_name(plan: &ReviewedPlan) -> &str {
    if plan.title.is_empty() { &plan.source.name } else { &plan.title }
}

fn asked_by(cause: Cause) -> &'static str {
    match cause {
        Cause::System => "the device",
        Cause::Clock => "the clock",
        Cause::Touch | Cause::Pen | Cause::Key => cause.word(),
    }
}

/// When a step is asked for, and by whom.
pub(super) fn when(request_ms: f64, cause: Cause) -> String {
    let by = asked_by(cause);
    if request_ms < 0.5 { format!("at the start, by {by}") } else { format!("at {}, by {by}", clock(request_ms)) }
}
