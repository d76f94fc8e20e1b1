//! The list of causes, the worst first: each with its help, its places, what follows from it, and why it matters.
//!
//! Knows the verdict and when steps are asked for; what is one cause is decided in `reading_order`.

use maud::{Markup, html};

use super::{
    finding_texts::{line_of, marked, title_of_rule},
    recording::Recording,
};
use crate::{
    finding::{Finding, Severity},
    report::{
        ReviewedPlan,
        how_sure::estimate_words,
        reading_order::{Cause, all_causes},
        sentences::{clock, following_words, place_words, sentence, stopped, walk_words},
    },
    rules::{caution_of, rule_named},
    source::Span,
};

/// A plan, its recording, and its number on the page.
#[derive(Clone, Copy)]
pub(super) struct Shown<'a> {
    pub(super) plan: &'a ReviewedPlan,
    pub(super) recording: Option<&'a Recording>,
    pub(super) at: usize,
}

/// The sign of a level; the word stands beside it.
pub(super) fn level_sign(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "●",
        Severity::Warning => "◐",
        Severity::Note => "○",
    }
}

/// The causes of a plan.
pub(super) fn causes(shown: Shown<'_>) -> Markup {
    let causes = all_causes(shown.plan);
    html! {
        div.list {
            h3 { "Causes, worst first" }
            @if causes.is_empty() { p { "None." } } @else {
                (filters(&causes))
                ol.causes { @for cause in &causes { (cause_of(cause, shown)) } }
            }
        }
    }
}

fn filters(causes: &[Cause<'_>]) -> Markup {
    let levels = [Severity::Error, Severity::Warning, Severity::Note];
    let met = levels.into_iter().filter(|level| causes.iter().any(|cause| cause.finding.severity == *level));
    html! {
        form.filters aria-label="Which causes are shown" {
            @for level in met { label { input type="checkbox" name="level" value=(level.word()) checked; " " (level_sign(level)) " " (level.word()) } }
            label { input type="checkbox" name="new"; " only new" }
            label { input type="checkbox" name="sure"; " only sure" }
            label { "rule " select name="rule" { option value="" { "all" } } }
            span.shown role="status" {}
        }
    }
}

fn cause_of(cause: &Cause<'_>, shown: Shown<'_>) -> Markup {
    let finding = cause.finding;
    let why = rule_named(finding.rule).map_or("", |page| page.section("Why it matters on paper"));
    html! {
        li class={ "cause " (finding.severity.word()) } data-level=(finding.severity.word()) data-rule=(finding.rule) {
            details {
                summary {
                    span.level { (level_sign(finding.severity)) " " (finding.severity.word()) } " "
                    strong.name { (title_of_rule(finding)) } " "
                    span.faint { (how_often(cause, shown)) }
                }
                ul.places { @for place in cause.places() { (place_of(place, cause, shown)) } }
                p.usual { b { "What to do: " } (marked(&stopped(&finding.help))) }
                @if let Some(caution) = caution_of(finding.rule) { p.caution { (sentence(caution)) } }
                (following(cause, shown))
                @if !why.is_empty() { details { summary { "Why it matters on paper" } p { (marked(why)) } } }
            }
        }
    }
}

/// How often, since when, how sure, and whether it is known.
fn how_often(cause: &Cause<'_>, shown: Shown<'_>) -> String {
    let finding = cause.finding;
    let mut parts = vec![cause.how_often().unwrap_or_else(|| "once".to_owned())];
    if finding.is_of_a_step() {
        let time = time_of(finding, shown).map_or(String::new(), |time| format!(" ({time})"));
        parts.push(format!("{} {}{time}", cause.at(), place_words(finding)));
    }
    parts.push(how_sure(cause));
    if finding.known {
        parts.push("known".into());
    } else if finding.accepted.is_some() {
        parts.push("accepted".into());
    }
    parts.join(" · ")
}

fn time_of(finding: &Finding, shown: Shown<'_>) -> Option<String> {
    let step = if shown.plan.flow.is_some() { step_to_show(finding, shown.plan)? } else { finding.step };
    let frame = shown.recording?.frames.get(usize::try_from(step).ok()?)?;
    Some(clock(frame.request_ms))
}

/// How sure a cause is, in a word or two.
fn how_sure(cause: &Cause<'_>) -> String {
    let places = || cause.places();
    let unsure = places().filter(|finding| is_unsure(finding)).count();
    if unsure > 0 && unsure < places().count() {
        return format!("{unsure} of its {} places not sure", places().count());
    }
    let words = if unsure > 0 {
        "not sure: an estimate near its limit"
    } else if places().any(|finding| finding.sure().is_none()) {
        "sure if its estimate is exact"
    } else {
        "sure"
    };
    words.into()
}

fn is_unsure(finding: &Finding) -> bool {
    finding.sure() == Some(false)
}

/// The step of the recording that shows a finding: in a flow, only on the walk that is shown.
pub(super) fn step_to_show(finding: &Finding, plan: &ReviewedPlan) -> Option<u64> {
    if let Some(flow) = &plan.flow {
        let walk = finding.walk.as_ref().filter(|walk| walk.words == flow.shown)?;
        let before = finding.step - finding.step_to_look_at();
        return Some((walk.to_place as u64).saturating_sub(before));
    }
    finding.is_of_a_step().then(|| finding.step_to_look_at())
}

/// The last step of the recording to which a finding applies, where that is not the one that shows it.
fn last_step(finding: &Finding, shown: Shown<'_>) -> Option<u64> {
    let first = step_to_show(finding, shown.plan)?;
    let last = match shown.plan.flow {
        // A walk is one of many: what comes after its last move is not said of it.
        Some(_) => first + (finding.step - finding.step_to_look_at()),
        None => finding.last_step,
    };
    (last > first).then_some(last)
}

/// A place of a cause: a link, and what is to be said there.
fn place_of(finding: &Finding, cause: &Cause<'_>, shown: Shown<'_>) -> Markup {
    let is_other = !std::ptr::eq(finding, cause.finding) && finding.help != cause.finding.help;
    let line = line_of(shown.plan, span_of(finding, shown.plan));
    item(
        finding,
        cause,
        shown,
        &html! {
            p { (marked(&sentence(&finding.message))) }
            @if is_other { p.own { b { "What to do here: " } (marked(&stopped(&finding.help))) } }
            @if let Some(words) = estimate_words(finding) { p.faint { (sentence(&words)) } }
            @if let Some(words) = walk_words(finding) { p { b { "Walk: " } (marked(&words)) } }
            @if let Some(because) = &finding.accepted { p { "Accepted: " (because) } }
            p.faint { code { (finding.rule) } " at " code { (shown.plan.source.name) ":" (line) } " " button.copy type="button" { "Copy file:line" } }
        },
    )
}

/// An item of a finding. Its level and rule stand there where they are not those of its cause.
fn item(finding: &Finding, cause: &Cause<'_>, shown: Shown<'_>, said: &Markup) -> Markup {
    let boxed = finding.rect.map(|rect| rect.to_array().map(|side| side.to_string()).join(" "));
    let level = (finding.severity != cause.finding.severity).then(|| finding.severity.word());
    let rule = (finding.rule != cause.finding.rule).then_some(finding.rule);
    html! {
        li id={ "finding-" (shown.at) "-" (finding.fingerprint) } data-level=[level] data-rule=[rule]
            data-step=[step_to_show(finding, shown.plan)] data-last=[last_step(finding, shown)] data-box=[boxed] data-known[!finding.is_open()] data-unsure[is_unsure(finding)] {
            a { (place_words(finding)) }
            div { (said) }
        }
    }
}

/// What follows from a cause, by other rules.
fn following(cause: &Cause<'_>, shown: Shown<'_>) -> Markup {
    html! {
        @if !cause.following.is_empty() {
            p { "From the same cause:" }
            ul.following { @for finding in &cause.following {
                (item(finding, cause, shown, &html! { (marked(&stopped(&following_words(finding)))) }))
            } }
        }
    }
}

fn span_of(finding: &Finding, plan: &ReviewedPlan) -> Span {
    let at = plan.findings.iter().position(|other| std::ptr::eq(other, finding)).unwrap_or_default();
    plan.places[at]
}
