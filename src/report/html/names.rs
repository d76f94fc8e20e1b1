//! What plans and causes are called on the page.

use crate::{plan::Cause, report::ReviewedPlan};

pub(super) fn plan_name(plan: &ReviewedPlan) -> &str {
    if plan.title.is_empty() { &plan.source.name } else { &plan.title }
}

pub(super) fn asked_by(cause: Cause) -> &'static str {
    match cause {
        Cause::System => "the device",
        Cause::Clock => "the clock",
        Cause::Touch | Cause::Pen | Cause::Key => cause.word(),
    }
}
