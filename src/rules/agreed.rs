//! Findings that ask for more or less of the same agree: one step gets one time, one place gets one box.
//!
//! Knows what helps ask for, and not why.

use std::collections::BTreeMap;

use crate::{
    finding::{Asks, ChangeOf, Cleaning, Finding, Later},
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
        (&one.mode, one.after_step) == (&other.mode, other.after_step) && one.window.zip(other.window).is_some_and(overlap)
    };
    let mut places: Vec<Cleaning> = Vec::new();
    for cleaning in findings.iter().filter(|finding| finding.is_open()).filter_map(cleaning_of) {
        let mut place = cleaning.clone();
        // A larger box may overlap others that the smaller one did not.
        while let Some(at) = places.iter().position(|known| is_one(known, &place)) {
            let known = places.swap_remove(at);
            place.window = place.window.zip(known.window).map(|(one, other)| one.around(other));
        }
        places.push(place);
    }
    for finding in findings {
        let Some(place) = cleaning_of(finding).and_then(|own| places.iter().find(|place| is_one(place, own))) else {
            continue;
        };
        ask_instead(finding, Asks::Cleaning(place.clone()));
    }
}

/// How many cleanings the findings ask for that flash: those of one place and pause are one.
pub(super) fn cleanings<'f>(findings: &'f [Finding]) -> Vec<&'f Cleaning> {
    let mut all: Vec<&'f Cleaning> = Vec::new();
    for cleaning in findings.iter().filter(|finding| finding.is_open()).filter_map(cleaning_of) {
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
}
