//! The page of `replan`: the plan as it was, and what was chosen for it, side by side at one moment.

use std::path::Path;

use super::played_plan::{ForPage, Played, say};
use crate::{
    cli::{
        files::working_folder,
        output::{check_is_no_input, write_file},
    },
    report::{
        Gate, PlanOutcome, PlanReport, RunReport,
        html::{self, Form, Recording},
    },
    source::Fault,
};

/// Refuses a page that would take the place of an input.
pub(super) fn check(page: Option<&Path>) -> Result<(), Fault> {
    page.map_or(Ok(()), check_is_no_input)
}

/// Writes the page that was asked for; `what` is the second of the two plans.
pub(super) fn write(page: Option<&Path>, before: Played, (what, after): (&str, Played)) -> Result<(), Vec<Fault>> {
    let (Some(page), Some(before), Some(after)) = (page, before.for_page, after.for_page) else { return Ok(()) };
    let sides = [("as it was", before), (what, after)];
    let mut plans = Vec::new();
    let mut recordings = Vec::new();
    for (words, ForPage { plan, recording }) in sides {
        let path = format!("{}, {words}", plan.source.name);
        plans.push(PlanReport { path, temperature_c: None, outcome: PlanOutcome::Reviewed(plan) });
        recordings.push(recording);
    }
    let report =
        RunReport { plans, faults: Vec::new(), gate: Gate::Never, working_folder: working_folder(), known: None };
    let recordings: Vec<Option<&Recording>> = recordings.iter().map(Some).collect();
    write_file(page, |out| html::write(&report, &recordings, Form::Compared, out))?;
    say(|out| writeln!(out, "{} shows both side by side.", page.display()))
}
