//! The verdict on a plan at the top of its part of the page: a sentence with the worst cause, the margins behind it, and
//! the figures in a row. Knows the verdict, and of the recording where the strongest ghost is.

use maud::{Markup, html};

use super::{
    cause_list::{Shown, level_sign},
    figures,
    finding_texts::{marked, title_of_rule},
    recording::{Frame, Recording},
};
use crate::{
    finding::{Figure as MarginOf, Finding, Severity, Summary},
    report::{
        PlanOutcome, PlanReport, ReviewedPlan,
        how_sure::certainty_lines,
        reading_order::causes_by_weight,
        sentences::{count, extent, gone_words, place_words, played_of_flow, sentence, verdict_lines},
    },
};

/// The sentence, the margins and the figures.
pub(super) fn verdict(shown: Shown<'_>) -> Markup {
    let Shown { plan, recording, at } = shown;
    html! {
        p.verdict { (in_a_sentence(plan)) (worst(plan, at)) }
        (known(plan))
        @if let Some(played) = played_of_flow(plan) {
            ul { @for line in &verdict_lines(plan) { li { (marked(&sentence(line))) } } }
            p { (sentence(&played)) }
            (margins(&plan.summary))
        } @else {
            (margins(&plan.summary))
            dl.figures { @for figure in figures::of_the_plan(&plan.summary) {
                @let ghost = recording.filter(|_| figure.name == figures::STRONGEST_GHOST).and_then(Recording::strongest_ghost);
                div { dt { (figure.name) } " " dd {
                    @if let Some(frame) = ghost {
                        a href={ "#plan=" (at + 1) "&step=" (frame.index) "&look=left&beside=meant"
                            @if let Some(finding) = finding_of(frame, plan) { "&finding=" (finding.fingerprint) } } { (figure.shown()) }
                    }
                    @else { (figure.shown()) }
                } }
            } }
        }
    }
}

/// The finding to which the strongest ghost of a step belongs: of those about residue at its place and time the one whose
/// figure is nearest to it.
fn finding_of<'a>(frame: &Frame, plan: &'a ReviewedPlan) -> Option<&'a Finding> {
    let ghost = frame.strongest?;
    let is_of_it = |finding: &&Finding| {
        let is_of_residue = finding.margin.is_some_and(|margin| margin.figure == MarginOf::Residue);
        let is_then = finding.is_of_a_step() && (finding.step..=finding.last_step).contains(&frame.index);
        is_of_residue && is_then && finding.rect.is_some_and(|rect| rect.overlaps(ghost))
    };
    let off =
        |finding: &Finding| finding.figures.get("worst_l").map_or(f64::MAX, |worst_l| (worst_l - frame.worst_l).abs());
    plan.findings.iter().filter(is_of_it).min_by(|one, other| off(one).total_cmp(&off(other)))
}

/// How much was found, each level with its sign.
pub(super) fn in_short(plan: &PlanReport) -> Markup {
    match &plan.outcome {
        PlanOutcome::Refused(_) => html! { span.level.error { "could not be read" } },
        PlanOutcome::Reviewed(plan) => html! {
            @let summary = &plan.summary;
            @if summary.error + summary.warning + summary.note == 0 { span.level { "nothing found" } }
            @for (number, severity, one, many) in [
                (summary.error, Severity::Error, "error", "errors"),
                (summary.warning, Severity::Warning, "warning", "warnings"),
                (summary.note, Severity::Note, "note", "notes"),
            ] {
                @if number > 0 { span class={ "level " (severity.word()) } { (level_sign(severity)) " " (count(number, one, many)) } " " }
            }
        },
    }
}

fn in_a_sentence(plan: &ReviewedPlan) -> String {
    let (summary, steps) = (&plan.summary, extent(plan));
    let (error, warning, note) = (summary.error, summary.warning, summary.note);
    if error > 0 {
        let are = if error == 1 { "is" } else { "are" };
        return format!(
            "Not ready: in {steps} there {are} {} that a reader will see or miss.",
            count(error, "error", "errors")
        );
    }
    if warning > 0 {
        return format!("It works, with {}: {steps} were played.", count(warning, "warning", "warnings"));
    }
    if note > 0 {
        return format!("Sound, with {}: {steps} were played.", count(note, "note", "notes"));
    }
    format!("Sound: {steps} were played and nothing was found.")
}

/// The worst cause, as a link to its first place.
fn worst(plan: &ReviewedPlan, at: usize) -> Markup {
    let causes = causes_by_weight(plan);
    let Some(cause) = causes.first() else { return html! {} };
    let finding = cause.finding;
    html! {
        " The worst: "
        a href={ "#plan=" (at + 1) "&finding=" (finding.fingerprint) } { (title_of_rule(finding)) ", " (place_words(finding)) } "."
    }
}

/// What was there before, and what is no longer.
fn known(plan: &ReviewedPlan) -> Markup {
    html! {
        @if plan.known() > 0 { p { "Known from before, and no reason to stop: " (count(plan.known(), "known finding", "known findings")) "." } }
        @if !plan.gone.is_empty() {
            details { summary { (count(plan.gone.len() as u64, "known finding is gone", "known findings are gone")) }
                ul { @for gone in &plan.gone { li { (marked(&gone_words(gone))) } } } }
        }
    }
}

/// How near each limit is, in a few words; opened, in sentences.
fn margins(summary: &Summary) -> Markup {
    let lines = certainty_lines(summary);
    html! {
        @if !lines.is_empty() {
            details.margins {
                summary { (short_margins(summary)) }
                ul { @for line in &lines { li { (sentence(line)) } } }
            }
        }
    }
}

fn short_margins(summary: &Summary) -> String {
    let named = summary.margins.named().into_iter();
    let mut known: Vec<_> =
        named.filter_map(|(name, margin)| Some((name, margin.filter(|margin| margin.factor.is_some())?))).collect();
    if known.is_empty() {
        return "the display does not say how sure its figures are".into();
    }
    known.sort_by_key(|(_, margin)| margin.holds());
    let words = known.into_iter().map(|(name, margin)| {
        let (name, unit) = match name {
            "residue" => ("ghosts of a noticeable size", " L*"),
            "answers" => (name, " ms"),
            "energy" => (name, " mJ"),
            _ => (name, " a second"),
        };
        let estimate = if margin.factor.is_some_and(|factor| factor > 1.0) { ", an estimate" } else { "" };
        let [reached, limit] = [margin.reached, margin.limit.value].map(short);
        format!("{name}: {}, {reached} of {limit}{unit}{estimate}", margin.holds().word())
    });
    words.collect::<Vec<_>>().join(" · ")
}

/// A figure with the digits that matter here.
fn short(value: f64) -> String {
    let step = if value >= 100.0 { 1.0 } else { 10.0 };
    format!("{}", (value * step).round() / step)
}
