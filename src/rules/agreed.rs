//! Findings that ask for more or less of the same agree: one step gets one time, one place gets one box.
//!
//! Knows what helps ask for, and not why.

use std::collections::BTreeMap;

use crate::{
    finding::{Asks, ChangeOf, Cleaning, Finding, Later, Prevention},
    geometry::Rect,
};

/// Lets every help say what is enough for all findings.
pub(crate) fn agree(findings: &mut [Finding]) {
    agree_on_times(findings);
    agree_on_places(findings);
}

fn later_of(finding: &Finding) -> Option<&Later> {
    match &finding.asks {
        Some(Asks::Later(later)) => Some(later),
        _ => None,
    }
}

/// The longest time that any finding asks for a step is right for all.
fn agree_on_times(findings: &mut [Finding]) {
    let mut longest: BTreeMap<String, (u64, &'static str)> = BTreeMap::new();
    for finding in findings.iter().filter(|finding| finding.is_open()) {
        let Some(later) = later_of(finding) else { continue };
        let known = longest.entry(later.step.clone()).or_insert((later.own_ms, finding.rule));
        if later.own_ms > known.0 {
            *known = (later.own_ms, finding.rule);
        }
    }
    for finding in findings {
        let Some(later) = later_of(finding).cloned() else { continue };
        let Some(most) = longest.get(&later.step).filter(|(ms, _)| *ms > later.own_ms) else { continue };
        ask_instead(finding, Asks::Later(Later { most: Some(*most), ..later }));
        let times = finding.corrections.iter_mut().flat_map(|correction| &mut correction.changes);
        for change in times {
            if let ChangeOf::AfterMs { ms } = &mut change.what {
                *ms = most.0;
            }
        }
    }
}

fn cleaning_of(finding: &Finding) -> Option<&Cleaning> {
    match &finding.asks {
        Some(Asks::Cleaning(cleaning)) => Some(cleaning),
        _ => None,
    }
}

/// Boxes that are to be cleaned in one pause are one box where they overlap.
fn agree_on_places(findings: &mut [Finding]) {
    let is_one = |one: &Cleaning, other: &Cleaning| {
        let overlap = |(one, other): (Rect, Rect)| one.overlaps(other);
        (one.after_step, &one.mode) == (other.after_step, &other.mode)
            && one.window.zip(other.window).is_some_and(overlap)
    };
    let mut places: Vec<Cleaning> = Vec::new();
    for cleaning in findings.iter().filter(|finding| finding.is_open()).filter_map(cleaning_of) {
        let mut place = cleaning.clone();
        // A larger box may overlap others that the smaller one did not.
        while let Some(at) = places.iter().position(|known| is_one(known, &place)) {
            let known = places.swap_remove(at);
            place.window = place.window.zip(known.window).map(|(one, other)| one.around(other));
            place.prevention = both(place.prevention, known.prevention);
        }
        places.push(place);
    }
    for finding in findings {
        let Some(own) = cleaning_of(finding) else { continue };
        let Some(place) = places.iter().find(|place| is_one(place, own)) else { continue };
        let prevention = both(own.prevention, place.prevention).filter(|_| own.prevention.is_some());
        let is_seen_until = own.is_seen_until;
        ask_instead(finding, Asks::Cleaning(Cleaning { prevention, is_seen_until, ..place.clone() }));
    }
}

/// What is often enough for two places that are cleaned as one.
fn both(one: Option<Prevention>, other: Option<Prevention>) -> Option<Prevention> {
    let (Some(one), Some(other)) = (one, other) else { return one.or(other) };
    Some(Prevention {
        kind: one.kind,
        updates: one.updates.min(other.updates),
        latest_step: one.latest_step.min(other.latest_step),
        quiet_ms: one.quiet_ms.max(other.quiet_ms),
    })
}

/// The cleanings that the causes among the findings ask for: those of one mode and pause are one.
pub(super) fn cleanings(findings: &[Finding]) -> Vec<&Cleaning> {
    let mut all: Vec<&Cleaning> = Vec::new();
    let causes = findings.iter().filter(|finding| finding.is_open() && finding.cause.is_none());
    for cleaning in causes.filter_map(cleaning_of) {
        // Boxes of one pause may go in one update.
        if all.iter().all(|known| (&known.mode, known.after_step) != (&cleaning.mode, cleaning.after_step)) {
            all.push(cleaning);
        }
    }
    all
}

/// Puts other words for what a finding asks into its help.
fn ask_instead(finding: &mut Finding, asks: Asks) {
    let Some(before) = finding.asks.replace(asks) else { return };
    let now = finding.asks.as_ref().map_or(String::new(), Asks::words);
    finding.help = finding.help.replacen(&before.words(), &now, 1);
    let prevention = |asks: &Asks| match asks {
        Asks::Cleaning(cleaning) => cleaning.prevention,
        _ => None,
    };
    if let Some((before, now)) = prevention(&before).zip(finding.asks.as_ref().and_then(prevention)) {
        finding.help = finding.help.replacen(&before.words(), &now.words(), 1);
    }
}
