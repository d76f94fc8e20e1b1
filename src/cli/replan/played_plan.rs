//! The plan of `replan` from the disk, and plans as they are played for its table of figures.

use std::{
    io::{self, Write},
    sync::Arc,
};

use super::replan_arguments::ReplanArguments;
use crate::{
    cli::{
        files::{DecodedCache, LoadedPlan, SettingsStore, check_is_one_plan, load_kept_plan, screen_faults},
        output::write_out,
    },
    finding::Summary,
    plan::Plan,
    planner::{Meter, cost_of_finding},
    review::review,
    rules::Selection,
    source::Fault,
};

/// A plan as it was played.
pub(super) struct Played {
    pub(super) summary: Summary,
    pub(super) cost: f64,
    pub(super) flashed_cm2_s: f64,
    pub(super) mean_answer_ms: f64,
    pub(super) never_answered: u64,
}

/// Plays a plan that shows the screens of a loaded one.
pub(super) fn play(loaded: &LoadedPlan, plan: &Plan, threads: usize) -> Result<Played, Vec<Fault>> {
    let mut meter = Meter::default();
    let reviewed = review(plan, &loaded.screens, &Selection::default(), threads, &mut |step| {
        meter.step(step, plan);
    });
    let review = reviewed.map_err(|broken| screen_faults(loaded, broken))?;
    meter.end();
    let findings = review.findings.iter().filter(|finding| finding.is_open());
    let cost = meter.cost().total() + findings.map(|finding| cost_of_finding(finding.severity)).sum::<f64>();
    Ok(Played {
        summary: review.summary,
        cost,
        flashed_cm2_s: meter.flashed_cm2_s(),
        mean_answer_ms: meter.mean_answer_ms(),
        never_answered: meter.never_answered(),
    })
}

/// The plan that was asked for; its pictures are kept, because it is played several times.
pub(super) fn load_cached(
    arguments: &ReplanArguments,
    settings: &mut SettingsStore,
    cache: &Arc<DecodedCache>,
) -> Result<LoadedPlan, Vec<Fault>> {
    check_is_one_plan(&arguments.plan)?;
    load_kept_plan(&arguments.plan, settings, Some(cache))
}

/// Writes to standard output.
pub(super) fn say(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Vec<Fault>> {
    write_out(write).map_err(Vec::from)
}
