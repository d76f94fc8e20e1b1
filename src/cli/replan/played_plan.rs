//! The plan of `replan` from the disk, plans as they are played, and the figures that tables compare them by.

use std::{
    io::{self, Write},
    path::Path,
    sync::Arc,
};

use super::replan_arguments::ReplanArguments;
use crate::{
    cli::{
        files::{DecodedCache, LoadedPlan, SettingsStore, check_is_one_plan, load_kept_plan, load_text, screen_faults},
        output::write_out,
    },
    finding::{Finding, Summary},
    plan::Plan,
    planner::{Meter, cost_of_finding},
    report::{
        ReviewedPlan,
        html::{PICTURE_BYTES, Recorder, Recording},
    },
    review::{Review, review},
    rules::{
        REPLACED_AFTER_MS, Selection,
        wording::{counted, step_name},
    },
    source::{Fault, Source},
};

/// A plan as it was played.
pub(super) struct Played {
    pub(super) summary: Summary,
    pub(super) cost: f64,
    pub(super) flashed_cm2_s: f64,
    pub(super) mean_answer_ms: f64,
    pub(super) never_answered: u64,
    /// What is drawn and never seen, in words.
    pub(super) never_shown: Option<String>,
    /// What a page shows of it, if somebody asked for one.
    pub(super) for_page: Option<ForPage>,
}

/// What a page shows of a plan that was played.
pub(super) struct ForPage {
    pub(super) plan: Box<ReviewedPlan>,
    pub(super) recording: Recording,
}

impl ForPage {
    fn new(plan: &Plan, review: Review, recording: Recording) -> Self {
        Self { plan: Box::new(ReviewedPlan::new(plan, review)), recording }
    }
}

/// Plays a plan that shows the screens of a loaded one; `page` is the page that will show it.
pub(super) fn play(
    loaded: &LoadedPlan,
    plan: &Plan,
    page: Option<&Path>,
    threads: usize,
) -> Result<Played, Vec<Fault>> {
    let mut meter = Meter::default();
    let mut recorder = page.map(|_| Recorder::new(plan, PICTURE_BYTES / 2, None));
    let mut recorded = Ok(());
    let reviewed = review(plan, &loaded.screens, &Selection::default(), threads, &mut |step| {
        meter.step(step, plan);
        if let (Some(recorder), Ok(())) = (recorder.as_mut(), &recorded) {
            recorded = recorder.step(step);
        }
    });
    let review = reviewed.map_err(|broken| screen_faults(loaded, broken))?;
    meter.end();
    let of_page = page.unwrap_or(Path::new("")).display().to_string();
    recorded.map_err(|words| Fault::of_file(of_page, format!("cannot be drawn: {words}"), "leave out `--html`"))?;
    let findings = review.findings.iter().filter(|finding| finding.is_open());
    let never_shown = never_shown(&review.findings);
    let cost = meter.cost().total() + findings.map(|finding| cost_of_finding(finding.severity)).sum::<f64>();
    Ok(Played {
        summary: review.summary.clone(),
        cost,
        never_shown,
        flashed_cm2_s: meter.flashed_cm2_s(),
        mean_answer_ms: meter.mean_answer_ms(),
        never_answered: meter.never_answered(),
        for_page: recorder.map(|recorder| ForPage::new(plan, review, recorder.finish())),
    })
}

/// What is drawn and never seen, in words; nothing if there is no such thing.
fn never_shown(findings: &[Finding]) -> Option<String> {
    let hidden = || findings.iter().filter(|one| one.is_open() && one.figures.contains_key(REPLACED_AFTER_MS));
    let first = hidden().next()?;
    let times = hidden().map(|finding| finding.times).sum::<u64>();
    Some(format!(
        "Not everything is seen: {} replaced before reaching the glass, first at {}. If it must be seen, leave more time \
         there, or draw less often.",
        counted(times, "change is", "changes are"),
        step_name(first.step, first.label.as_deref())
    ))
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

/// The same plan with another text, as if it stood in its file.
pub(super) fn load_with(
    text: String,
    loaded: &LoadedPlan,
    arguments: &ReplanArguments,
    (settings, cache): (&mut SettingsStore, &Arc<DecodedCache>),
) -> Result<LoadedPlan, Vec<Fault>> {
    let source = Arc::new(Source::new(loaded.plan.source.name.clone(), text));
    load_text(&source, &arguments.plan, settings, Some(cache))
}

/// A figure of a plan as it was played, for the tables.
pub(super) struct Figure {
    pub(super) name: &'static str,
    /// Its name in files.
    pub(super) key: &'static str,
    /// Digits after the point.
    pub(super) digits: usize,
    pub(super) of: fn(&Played) -> f64,
    /// Whether only rules are compared by it.
    pub(super) is_of_rules: bool,
}

/// All of them, in the order of the tables.
pub(super) const FIGURES: [Figure; 12] = [
    of_all("errors", "errors", 0, |played| played.summary.error as f64),
    of_all("warnings", "warnings", 0, |played| played.summary.warning as f64),
    of_all("notes", "notes", 0, |played| played.summary.note as f64),
    of_rules("cleanings", "cleanings", 0, |played| played.summary.cleanings as f64),
    of_all("flashing updates", "flashing_updates", 0, |played| played.summary.flashing_updates as f64),
    of_all("flashed area, cm2 s", "flashed_cm2_s", 1, |played| played.flashed_cm2_s),
    of_all("strongest ghost, L*", "strongest_ghost_l", 2, |played| played.summary.worst_residue_l),
    of_all("slowest first change, ms", "longest_answer_ms", 0, |played| played.summary.longest_answer_ms),
    of_rules("mean answer, ms", "mean_answer_ms", 0, |played| played.mean_answer_ms),
    of_all("never answered", "never_answered", 0, |played| played.never_answered as f64),
    of_all("energy, mJ", "energy_mj", 1, |played| played.summary.energy_mj),
    of_all("cost", "cost", 2, |played| played.cost),
];

const fn of_all(name: &'static str, key: &'static str, digits: usize, of: fn(&Played) -> f64) -> Figure {
    Figure { name, key, digits, of, is_of_rules: false }
}

const fn of_rules(name: &'static str, key: &'static str, digits: usize, of: fn(&Played) -> f64) -> Figure {
    Figure { is_of_rules: true, ..of_all(name, key, digits, of) }
}

/// Writes to standard output.
pub(super) fn say(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Vec<Fault>> {
    write_out(write).map_err(Vec::from)
}
