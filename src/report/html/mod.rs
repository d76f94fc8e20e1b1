//! The page for people: one file with the verdict, the screens in order, a time chart, a player of the panel and the
//! findings at their places. It opens from disk and asks the network for nothing.
//!
//! Knows the verdict and the recordings, not how either came to be.

mod chart;
mod comparison;
mod figures;
mod flow_map;
mod names;
mod recording;
mod page_data;

use std::{
    cmp::Reverse,
    io::{self, Write},
};

use base64::{Engine, engine::general_purpose::STANDARD};
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{
    ByCause, PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    sentences::{
        PREDICTIONS, count, estimate_words, extent, following_words, gone_words, margin_lines, ms, pieces, place_words,
        played_of_flow, sentence, severities, stopped, verdict_lines, walk_words,
    },
};
use crate::{
    finding::{Finding, Severity, Summary},
    rules::{FLASH_CAUTION, caution_of, rule_named},
};
use names::when;
use recording::Card;
pub use recording::{Recorder, Recording};

/// Pictures of a page take at most so many bytes before they are written down.
pub const PICTURE_BYTES: usize = 1_900_000;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("player.js");

/// Writes the page of a run. `recordings` are those of its plans, in their order; nothing for a plan that was refused.
///
/// # Errors
/// Where the writer fails.
pub fn write(
    report: &RunReport,
    recordings: &[Option<&Recording>],
    compared: bool,
    out: &mut dyn Write,
) -> io::Result<()> {
    let page = page(report, recordings, compared).map_err(io::Error::other)?;
    out.write_all(page.into_string().as_bytes())
}

fn page(report: &RunReport, recordings: &[Option<&Recording>], compared: bool) -> Result<Markup, String> {
    let mut plans = Vec::new();
    for (at, plan) in report.plans.iter().enumerate() {
        plans.push(section(plan, recordings.get(at).copied().flatten(), at)?);
    }
    Ok(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (page_title(report)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { (page_title(report)) }
                    p { (total(report)) }
                }
                main {
                    @if compared { (comparison::section(report, recordings)) }
                    @else if report.plans.len() > 1 { (contents(report)) }
                    @for fault in &report.faults {
                        p.refused { strong { (fault.message) } " " (fault.help.as_deref().unwrap_or_default()) }
                    }
                    @for plan in &plans { (plan) }
                }
                footer { (cautions()) }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    })
}

fn page_title(report: &RunReport) -> String {
    match report.plans.as_slice() {
        [plan] => format!("Review of {}", title_of(plan)),
        plans => format!("Review of {} refresh plans", plans.len()),
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

fn contents(report: &RunReport) -> Markup {
    html! {
        nav aria-label="Plans" {
            ol.contents {
                @for (at, plan) in report.plans.iter().enumerate() {
                    li { a href={ "#plan-" (at) } { (title_of(plan)) } " " span.faint { (plan.path) } " " (short_verdict(plan)) }
                }
            }
        }
    }
}

fn short_verdict(plan: &PlanReport) -> Markup {
    match &plan.outcome {
        PlanOutcome::Refused(_) => html! { span.tag.error { "could not be read" } },
        PlanOutcome::Reviewed(plan) => html! {
            @let summary = &plan.summary;
            @if summary.error + summary.warning + summary.note == 0 { span.tag.fine { "nothing found" } }
            @for (number, severity, one, many) in [
                (summary.error, Severity::Error, "error", "errors"),
                (summary.warning, Severity::Warning, "warning", "warnings"),
                (summary.note, Severity::Note, "note", "notes"),
            ] {
                @if number > 0 { span class={ "tag " (severity.word()) } { (count(number, one, many)) } " " }
            }
        },
    }
}

fn section(plan: &PlanReport, recording: Option<&Recording>, at: usize) -> Result<Markup, String> {
    let reviewed = match &plan.outcome {
        PlanOutcome::Refused(faults) => {
            return Ok(html! {
                section.plan id={ "plan-" (at) } {
                    h2 { (plan.path) }
                    p.verdict { "This plan could not be read." }
                    ul { @for fault in faults { li { strong { (fault.message) } " " (fault.help.as_deref().unwrap_or_default()) } } }
                }
            });
        }
        PlanOutcome::Reviewed(reviewed) => reviewed,
    };
    let shown = recording.map(|recording| recording_parts(recording, at)).transpose()?;
    Ok(html! {
        section.plan id={ "plan-" (at) } aria-labelledby={ "plan-" (at) "-title" } {
            h2 id={ "plan-" (at) "-title" } { (title_of(plan)) }
            p.faint { (plan.path) " on " (reviewed.display)
                @if let Some(celsius) = plan.temperature_c { " at " (celsius) " degrees C" } }
            p.verdict { (verdict(reviewed)) }
            (known(reviewed))
            @if let Some(played) = played_of_flow(reviewed) {
                ul { @for line in &verdict_lines(reviewed) { li { (marked(&sentence(line))) } } }
                p { (sentence(&played)) }
                (margins(&reviewed.summary))
            } @else { (figures(&reviewed.summary)) }
            @if let Some(flow) = &reviewed.flow {
                (flow_map::flow_map(&flow.drawing, at))
                p { strong { "The walk that is shown: " } (flow.shown) }
            }
            @if let Some(recording) = recording { (strip(recording, at)) }
            @if let Some(shown) = &shown { (shown) }
            (findings(reviewed, recording, at))
            @if !reviewed.summary.not_checked.is_empty() {
                details { summary { "What was not checked" }
                    ul { @for text in &reviewed.summary.not_checked { li { (marked(text)) } } } }
            }
        }
    })
}

/// The verdict in a sentence.
fn verdict(plan: &ReviewedPlan) -> String {
    let summary = &plan.summary;
    let steps = extent(plan);
    let (error, warning, note) = (summary.error, summary.warning, summary.note);
    let open = plan.findings.iter().filter(|finding| finding.is_open());
    // What a step does comes before figures of the whole plan.
    let rank = |finding: &&Finding| (finding.severity, finding.is_of_a_step(), Reverse(finding.step));
    let first = open.max_by_key(rank);
    let worst = first.map_or(String::new(), |finding| {
        format!(" First to look at: {}, {}.", place_words(finding), title_of_rule(finding))
    });
    if error > 0 {
        return format!(
            "Not ready: in {steps} there {} that a reader will see or miss.{worst}",
            are(error, "error", "errors")
        );
    }
    if warning > 0 {
        return format!("It works, with {}: {steps} were played.{worst}", count(warning, "warning", "warnings"));
    }
    if note > 0 {
        return format!("Sound, with {}: {steps} were played.{worst}", count(note, "note", "notes"));
    }
    format!("Sound: {steps} were played and nothing was found.")
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

fn are(number: u64, one: &str, many: &str) -> String {
    format!("{} {}", if number == 1 { "is" } else { "are" }, count(number, one, many))
}

fn title_of_rule(finding: &Finding) -> &str {
    rule_named(finding.rule).map_or(finding.rule, |page| page.title.as_str())
}

fn figures(summary: &Summary) -> Markup {
    html! {
        dl.figures { @for figure in figures::of_the_plan(summary) { div { dt { (figure.name) } dd { (figure.shown()) } } } }
        (margins(summary))
    }
}

fn margins(summary: &Summary) -> Markup {
    html! {
        @let margins = margin_lines(summary);
        @if !margins.is_empty() { ul.margins { @for line in &margins { li { (sentence(line)) } } } }
    }
}

/// The screens in order, and what happened between them.
fn strip(recording: &Recording, at: usize) -> Markup {
    html! {
        h3 id={ "strip-" (at) } { "The screens, in order" }
        div.wide tabindex="0" role="group" aria-labelledby={ "strip-" (at) } {
            (symbols(recording, at))
            ol.strip {
                @for (number, card) in recording.cards.iter().enumerate() { (card_of(card, recording, &symbol_id(at, number))) }
            }
            @if recording.more_cards { p.faint { "The plan continues; only its first " (recording.cards.len()) " kinds of step are shown small." } }
        }
    }
}

/// The small pictures, written once and used in the strip and beside the findings.
fn symbols(recording: &Recording, at: usize) -> Markup {
    let (width, height) = (recording.size.width, recording.size.height);
    html! {
        svg.symbols aria-hidden="true" {
            @for (number, card) in recording.cards.iter().enumerate() {
                @if let Some(thumb) = &card.thumb {
                    symbol id=(symbol_id(at, number)) viewBox=(format!("0 0 {width} {height}")) {
                        image width=(width) height=(height) preserveAspectRatio="none" href={ "data:image/png;base64," (STANDARD.encode(thumb)) } {}
                    }
                }
            }
        }
    }
}

fn symbol_id(at: usize, number: usize) -> String {
    format!("screen-{at}-{number}")
}

fn card_of(card: &Card, recording: &Recording, symbol: &str) -> Markup {
    let name = card.label.clone().unwrap_or_else(|| "no label".into());
    let steps = if card.times > 1 {
        format!("steps {} to {}, {} times", card.first, card.last, card.times)
    } else {
        format!("step {}", card.first)
    };
    html! {
        li {
            p.between {
                (when(card.request_ms, card.cause)) br;
                (card.updates)
                @if card.flashes { " " span.tag.flash { "flashes" } }
            }
            @if card.thumb.is_some() {
                svg role="img" aria-label={ "The panel after " (steps) ", " (name) } width=(thumb_width(recording)) viewBox=(format!("0 0 {} {}", recording.size.width, recording.size.height)) {
                    use href={ "#" (symbol) } width=(recording.size.width) height=(recording.size.height) {}
                }
            } @else { div.blank { "no room for its picture" } }
            p { strong { (name) } br; span.faint { (steps) } }
            p.faint {
                @if let Some(answer_ms) = card.answer_ms { "seen after " (ms(answer_ms)) " ms" br; }
                @if card.worst_l > 0.0 { "ghost of " (format!("{:.1}", card.worst_l)) " L*" }
            }
        }
    }
}

fn thumb_width(recording: &Recording) -> u32 {
    (u64::from(recording.size.width) * 150 / u64::from(recording.size.height.max(recording.size.width))).clamp(40, 150)
        as u32
}

fn recording_parts(recording: &Recording, at: usize) -> Result<Markup, String> {
    let data = page_data::data(recording)?;
    let id = format!("chart-{at}");
    Ok(html! {
        h3 { "Time" }
        div.wide tabindex="0" role="group" aria-label="Time chart, may be scrolled" { (PreEscaped(chart::draw(recording, &id))) }
        ul.key {
            @for (mark, name) in [
                ("person", "asked for by a person"), ("machine", "by the device"), ("sent", "transfer"), ("wait", "waits"),
                ("drive", "drives"), ("cleans", "drives and cleans"), ("flash", "a flash"),
                ("limit", "from here on residue is a ghost"),
            ] {
                li { span class={ "mark " (mark) } {} (name) }
            }
        }
        @let behind = chart::left_out(recording);
        @if behind > 0 { p.faint { "The chart ends " (count(behind, "step", "steps")) " before the plan does." } }
        h3 id={ "player-" (at) "-title" } { "The panel, step by step" }
        div.player data-film={ "film-" (at) } role="group" aria-labelledby={ "player-" (at) "-title" } tabindex="0" {
            p.faint { "This is what the model predicts. Nothing moves until you start it; it then plays ten times \
                       slower, and flashes are only marked, because flashing can trigger seizures in people with \
                       photosensitive epilepsy. Keys: arrows step, space plays and stops, R shows the residue." }
            div.stages {
                figure { canvas role="img" aria-label="The panel" width=(recording.size.width) height=(recording.size.height) style=(canvas_style(recording)) {} figcaption {} }
                figure.other hidden { canvas role="img" aria-label="The panel at the other step" width=(recording.size.width) height=(recording.size.height) style=(canvas_style(recording)) {} figcaption {} }
            }
            p.scale hidden { span { "-8 L* darker" } span.ramp {} span { "lighter +8 L*" } }
            p.said aria-live="polite" {}
            div.controls {
                label.steps { "Step " input type="range" min="0" max=(recording.pictured) value="0" name="step"; }
                button type="button" name="back" { "Step back" }
                button type="button" name="play" { "Play" }
                button type="button" name="forward" { "Step on" }
                label { "Speed " select name="speed" {
                    option value="0.1" { "ten times slower" } option value="0.25" { "four times slower" } option value="1" { "real time" } } }
                label { input type="checkbox" name="residue"; " residue only" }
                label { "Beside it " select name="beside" { option value="" { "nothing" } } }
                label { input type="checkbox" name="flashes"; " show flashes as they are" }
            }
            @let behind = recording.steps_behind(recording.pictured);
            @if behind > 0 { p.faint { "The player ends " (count(behind, "step", "steps")) " before the plan does: the page has room for no more pictures." } }
        }
        script type="application/json" id={ "film-" (at) } { (PreEscaped(data)) }
    })
}

fn canvas_style(recording: &Recording) -> String {
    // As large as the panel is, where there is room, but no smaller than can be looked at.
    format!(
        "width:min(100%,max({:.1}mm,320px));aspect-ratio:{}/{}",
        recording.width_mm, recording.size.width, recording.size.height
    )
}

fn findings(plan: &ReviewedPlan, recording: Option<&Recording>, at: usize) -> Markup {
    html! {
        h3 { "Findings" }
        @if plan.findings.is_empty() { p { "None." } }
        ol.findings {
            @for ByCause { finding, place, following } in plan.by_cause() {
                li id={ "finding-" (at) "-" (finding.fingerprint) } class=(finding.severity.word()) {
                    h4 { span class={ "tag " (finding.severity.word()) } { (finding.severity.word()) } " " (title_of_rule(finding)) @if finding.known { " (known)" } }
                    div.finding {
                        @if let Some(recording) = recording { (place_of(finding, recording, at)) }
                        div {
                            p { strong { (place_words(finding)) } ": " (marked(&stopped(&finding.message))) }
                            @if let Some(words) = estimate_words(finding) { p.faint { (sentence(&words)) } }
                            @if let Some(words) = walk_words(finding) { p { b { "Walk: " } (words) } }
                            p { b { "What to do: " } (marked(&stopped(&finding.help))) }
                            (following_lines(&following, at))
                            @if let Some(caution) = caution_of(finding.rule) { p.caution { (caution) } }
                            @if let Some(because) = &finding.accepted { p { "Accepted: " (because) } }
                            @let why = rule_named(finding.rule).map_or("", |page| page.section("Why it matters on paper"));
                            @if !why.is_empty() {
                                details { summary { "Why it matters on paper" } p { (marked(why)) } }
                            }
                            p.faint { code { (finding.rule) } " at " (plan.source.name) ":" (line_of(plan, place.start)) }
                        }
                    }
                }
            }
        }
    }
}

/// What follows from a finding.
fn following_lines(following: &[&Finding], at: usize) -> Markup {
    html! {
        @if !following.is_empty() {
            p { "From the same cause:" }
            ul { @for finding in following {
                li id={ "finding-" (at) "-" (finding.fingerprint) } { (marked(&stopped(&following_words(finding)))) }
            } }
        }
    }
}

fn line_of(plan: &ReviewedPlan, offset: usize) -> usize {
    plan.source.line_column(offset).line
}

/// A finding's place on the panel, in the panel's proportions, with the length of ten millimetres beside it.
fn place_of(finding: &Finding, recording: &Recording, at: usize) -> Markup {
    let Some(rect) = finding.rect else { return html! {} };
    let (width, height) = (f64::from(recording.size.width), f64::from(recording.size.height));
    let number = card_to_look_at(finding, recording);
    let per_mm = width / recording.width_mm;
    let bar_mm = [100.0, 50.0, 20.0, 10.0, 5.0, 2.0].into_iter().find(|mm| mm * per_mm <= 0.4 * width).unwrap_or(1.0);
    let line = width.max(height) / 160.0;
    html! {
        figure.place {
            svg viewBox=(format!("0 0 {width} {:.0}", height + 22.0 * line)) role="img" aria-label={ "Place on the panel: " (format!("{:?}", rect.to_array())) } {
                @if let Some(number) = number { use href={ "#" (symbol_id(at, number)) } width=(width) height=(height) {} }
                rect.panel x="0" y="0" width=(width) height=(height) stroke-width=(line) {}
                rect.halo x=(rect.x) y=(rect.y) width=(rect.width) height=(rect.height) stroke-width=(3.0 * line) {}
                rect.box x=(rect.x) y=(rect.y) width=(rect.width) height=(rect.height) stroke-width=(1.4 * line) {}
                path.bar d=(format!("M0 {:.1}h{:.1}", height + 7.0 * line, bar_mm * per_mm)) stroke-width=(1.4 * line) {}
                text x="0" y=(format!("{:.1}", height + 19.0 * line)) font-size=(11.0 * line) { (bar_mm) " mm" }
            }
        }
    }
}

/// The card whose picture holds what a finding is about.
fn card_to_look_at(finding: &Finding, recording: &Recording) -> Option<usize> {
    let cards = &recording.cards;
    let own = cards.iter().position(|card| is_within(&finding.pointer, &card.pointer) && card.thumb.is_some())?;
    if finding.step_to_look_at() == finding.step {
        return Some(own);
    }
    cards[..own].iter().rposition(|card| card.thumb.is_some()).or(Some(own))
}

/// A text whose names in backticks are set as code.
fn marked(text: &str) -> Markup {
    html! { @for (is_code, piece) in pieces(text) { @if is_code { code { (piece) } } @else { (piece) } } }
}

/// Whether a field lies in the step that a pointer leads to.
fn is_within(field: &str, step: &str) -> bool {
    field.strip_prefix(step).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
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
