//! The page for people: one file with the verdict, the panel in three looks, the causes beside it, the time below, and the
//! screens as an index. It opens from disk and asks the network for nothing.
//!
//! Knows the verdict and the recordings, not how either came to be.

mod axis;
mod cause_list;
mod comparison;
mod dense_text;
mod figures;
mod flow_map;
mod finding_texts;
mod names;
mod packed;
mod patch_cache;
mod page_data;
mod recording;
mod room;
mod screen_index;
mod verdict;
mod view;

use std::{
    cmp::Reverse,
    io::{self, Write},
};

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{
    PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    sentences::{PREDICTIONS, at_temperatures, count, extent_of_run, sentence, severities},
};
use crate::{
    finding::{Severity, Summary},
    rules::FLASH_CAUTION,
};
use cause_list::{Shown, level_sign};
pub(super) use finding_texts::marked;
use packed::Style;
pub use patch_cache::PatchCache;
pub use recording::{Recorder, Recording};
pub use room::steps_by_weight;

/// Pictures of a page take at most so many bytes before they are written down.
pub const PICTURE_BYTES: usize = 1_900_000;

/// What a page is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// To be kept or sent.
    Review,
    /// The same, with the last plan held against the first one.
    Compared,
    /// To be shown by a server that tells the page when there is a new one.
    Live {
        /// Which of its pages this is.
        number: u64,
    },
}

impl Form {
    /// The number of a page that a server shows.
    fn number(self) -> Option<u64> {
        match self {
            Self::Live { number } => Some(number),
            Self::Review | Self::Compared => None,
        }
    }
}

/// Writes the page of a run. `recordings` are those of its plans, in their order; nothing for a plan that was refused.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, recordings: &[Option<&Recording>], form: Form, out: &mut dyn Write) -> io::Result<()> {
    let page = page(report, recordings, form).map_err(io::Error::other)?;
    out.write_all(page.into_string().as_bytes())
}

fn page(report: &RunReport, recordings: &[Option<&Recording>], form: Form) -> Result<Markup, String> {
    let mut plans = Vec::new();
    for (at, plan) in report.plans.iter().enumerate() {
        let seen_too = recordings.iter().enumerate().filter(|(other, _)| *other != at && form == Form::Compared);
        let recorded = Recorded {
            own: recordings.get(at).copied().flatten(),
            others: seen_too.filter_map(|(_, other)| *other).collect(),
        };
        plans.push(section(plan, &recorded, (at, report.plans.len()))?);
    }
    let (packed, unpack) =
        packed::script(form.number().is_some(), &view::view().into_string()).map_err(|error| error.to_string())?;
    Ok(html! {
        (DOCTYPE)
        html lang="en" {
            (head(&page_title(report), &style(report, form)))
            body data-page=[form.number()] {
                @if form.number().is_some() { div.live role="alert" {} }
                header {
                    h1 { (heading(report)) }
                    @match report.plans.as_slice() { [plan] => (where_from(plan)), _ => p { (total(report)) } }
                }
                main data-first=[first_plan(report)] {
                    @if report.plans.len() > 1 { (if form == Form::Compared { pair(report) } else { contents(report) }) }
                    @for fault in &report.faults {
                        p.refused { strong { (fault.message) } " " (fault.help.as_deref().unwrap_or_default()) }
                    }
                    @for plan in &plans { (plan) }
                    @if form == Form::Compared { (comparison::section(report, recordings)) }
                }
                footer { (cautions()) }
                @if !plans.is_empty() || form.number().is_some() {
                    script type="text/plain" id="packed" { (PreEscaped(packed)) }
                    script { (PreEscaped(unpack)) }
                }
            }
        }
    })
}

/// The head of a page.
pub(super) fn head(title: &str, style: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) }
            style { (PreEscaped(style)) }
        }
    }
}

fn style(report: &RunReport, form: Form) -> String {
    let mut style = Style::Page.text();
    if form.number().is_some() {
        style.push_str(&Style::Live.text());
    }
    if report.plans.len() > 1 {
        style.push_str(&Style::Plans.text());
    }
    if form == Form::Compared {
        style.push_str(&Style::Compared.text());
    }
    if report.reviewed().any(|plan| plan.flow.is_some()) {
        style.push_str(&Style::Map.text());
    }
    style
}

fn page_title(report: &RunReport) -> String {
    format!("Review of {}", heading(report))
}

fn heading(report: &RunReport) -> String {
    match report.plans.as_slice() {
        [plan] => title_of(plan).to_owned(),
        _ => format!("{}{}", extent_of_run(report), at_temperatures(report)),
    }
}

fn title_of(plan: &PlanReport) -> &str {
    match &plan.outcome {
        PlanOutcome::Reviewed(reviewed) if !reviewed.title.is_empty() => &reviewed.title,
        _ => &plan.path,
    }
}

fn total(report: &RunReport) -> String {
    let sum = |figure: fn(&Summary) -> u64| report.reviewed().map(|plan| figure(&plan.summary)).sum::<u64>();
    let found = severities([sum(|summary| summary.error), sum(|summary| summary.warning), sum(|summary| summary.note)]);
    let found = if found.is_empty() { "nothing found".to_owned() } else { found };
    let unread = match (report.plans.len() - report.reviewed().count()) as u64 {
        0 => String::new(),
        plans => format!("; {} could not be read", count(plans, "plan", "plans")),
    };
    sentence(&format!("{found}{unread}"))
}

/// The number of the plan with the worst verdict, which is opened first, where there are several.
fn first_plan(report: &RunReport) -> Option<usize> {
    let worst = worst_first(report).into_iter().find(|(_, plan)| plan.reviewed().is_some());
    worst.map(|(at, _)| at + 1).filter(|_| report.plans.len() > 1)
}

/// The plans and their places in the report: those that could not be read, then those with the most errors, warnings and
/// notes; of equal verdicts the first.
fn worst_first(report: &RunReport) -> Vec<(usize, &PlanReport)> {
    let mut plans: Vec<_> = report.plans.iter().enumerate().collect();
    plans.sort_by_key(|(_, plan)| (plan.reviewed().is_some(), Reverse(found(plan))));
    plans
}

/// Errors, warnings and notes of a plan.
fn found(plan: &PlanReport) -> Option<[u64; 3]> {
    plan.reviewed().map(|plan| &plan.summary).map(|summary| [summary.error, summary.warning, summary.note])
}

/// The plans of a run as a table.
fn contents(report: &RunReport) -> Markup {
    let levels = [Severity::Error, Severity::Warning, Severity::Note];
    html! {
        nav aria-label="Plans" {
            div.wide tabindex="0" role="group" aria-label="Plans, worst first" {
                table.contents {
                    thead { tr {
                        th scope="col" { "plans, worst first" }
                        @for (level, words) in levels.into_iter().zip(["errors", "warnings", "notes"]) {
                            th.number scope="col" { span class={ "level " (level.word()) } { (level_sign(level)) } " " (words) }
                        }
                    } }
                    tbody { @for (at, plan) in worst_first(report) { tr {
                        th scope="row" { a href={ "#plan=" (at + 1) } { (title_of(plan)) } " " span.faint { (plan.path) } }
                        @if let Some(numbers) = found(plan) { @for number in numbers { td.number { (number) } } }
                        @else { td colspan="3" { "could not be read" } }
                    } } }
                }
            }
        }
    }
}

/// The two plans that are compared, in their order.
fn pair(report: &RunReport) -> Markup {
    html! {
        nav aria-label="Plans" {
            ol.contents {
                @for (at, plan) in report.plans.iter().enumerate() {
                    li { a href={ "#plan=" (at + 1) } { (title_of(plan)) } " " span.faint { (plan.path) } " " (verdict::in_short(plan)) }
                }
            }
        }
    }
}

/// The recording of a plan, and those that are seen together with it.
struct Recorded<'r> {
    own: Option<&'r Recording>,
    others: Vec<&'r Recording>,
}

/// The part of one plan: its number, and how many there are.
fn section(plan: &PlanReport, recorded: &Recorded<'_>, (at, of): (usize, usize)) -> Result<Markup, String> {
    let recording = recorded.own;
    let reviewed = match &plan.outcome {
        PlanOutcome::Refused(faults) => {
            return Ok(html! {
                section.plan id={ "plan-" (at) } data-file=(plan.path) {
                    h2 { (plan.path) }
                    p.verdict { "This plan could not be read." }
                    ul { @for fault in faults { li { strong { (fault.message) } " " (fault.help.as_deref().unwrap_or_default()) } } }
                }
            });
        }
        PlanOutcome::Reviewed(reviewed) => reviewed,
    };
    let film = recording.map(|recording| page_data::data(recording, &recorded.others)).transpose()?;
    let shown = Shown { plan: reviewed, recording, at };
    Ok(html! {
        section.plan id={ "plan-" (at) } data-file=(plan.path) aria-label=(title_of(plan)) {
            @if of > 1 { header { h2 { (title_of(plan)) } (where_from(plan)) } }
            (verdict::verdict(shown))
            @if let Some(flow) = &reviewed.flow {
                @if !flow.drawing.states.is_empty() {
                    details { summary { "Screens, and the moves between them" } (flow_map::flow_map(&flow.drawing, at)) }
                }
                p { strong { "The walk that is shown: " } (flow.shown) }
            }
            p.unscripted { "The panel, its time and the screens need a browser that runs the script of this page." }
            div.work { (cause_list::causes(shown)) }
            @if let Some(recording) = recording { (behind(recording)) (screen_index::screens(recording)) }
            (not_checked(reviewed))
            @if let Some(film) = film { script type="application/json" { (PreEscaped(film)) } }
        }
    })
}

/// The file, the display and the temperature.
fn where_from(plan: &PlanReport) -> Markup {
    html! {
        p.faint {
            (plan.path)
            @if let Some(reviewed) = plan.reviewed() { " on " (reviewed.display) }
            @if let Some(celsius) = plan.temperature_c { " at " (celsius) " degrees C" }
        }
    }
}

/// What the panel and its time leave out of a long plan.
fn behind(recording: &Recording) -> Markup {
    let pictured = recording.pictured().iter().map(|[first, last]| last + 1 - first).sum::<u64>();
    let time = recording.steps_behind(axis::drawn(recording).len());
    html! {
        @if pictured < recording.steps { p.faint { "The page has room for the pictures of " (pictured) " of the " (count(recording.steps, "step", "steps")) "." } }
        @if time > 0 { p.faint { "The time ends " (count(time, "step", "steps")) " before the plan does." } }
    }
}

fn not_checked(plan: &ReviewedPlan) -> Markup {
    html! {
        @if !plan.summary.not_checked.is_empty() {
            details { summary { "What was not checked" }
                ul { @for text in &plan.summary.not_checked { li { (marked(text)) } } } }
        }
    }
}

fn cautions() -> Markup {
    html! {
        p { (sentence(FLASH_CAUTION)) }
        p { "A drive scheme that is not charge-balanced can damage a panel permanently. The panel maker's own \
             documents come first." }
        p { "Do not base a safety indicator on this model alone: local safety regulations and a licensed engineer decide." }
        p { (PREDICTIONS) }
    }
}
