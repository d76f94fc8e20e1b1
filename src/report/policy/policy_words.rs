//! A rule for the firmware in whole sentences.

use super::reported::PolicyReport;
use crate::{
    plan::Plan,
    planner::{Ask, Asker, AtStep, Cleaning, Extent, Kind, Levels, When},
    rules::wording::{counted, span},
};

/// What must be said wherever a rule is shown.
pub const LIMITS_OF_THE_MODEL: &str = "The figures are predictions from a display description: look at the panel itself \
with this rule. A rule that flashes less may still flash too much for somebody with photosensitive epilepsy. The panel \
maker's documents on charge balance and voltage come first. Do not base a safety indicator on this model alone: local \
safety regulations and a licensed engineer decide.";

/// The rule, one paragraph an item.
pub fn words(report: PolicyReport<'_>) -> Vec<String> {
    let policy = &report.found.policy;
    let mut found = vec![format!(
        "At the first screen after power-up, and whenever the controller has forgotten what it shows, ask for {}.",
        asks_in_words(&policy.start, report.plan)
    )];
    if let Some(permille) = policy.large_from_permille {
        found.push(format!(
            "Draw the box around all pixels that a change alters. The change is large if this box covers {} % of the panel \
             or more, otherwise it is small.",
            percent(permille)
        ));
    }
    found.extend(answers(report));
    match policy.cleanings.as_slice() {
        [] => found.push("This rule needs no cleaning beside these updates.".into()),
        cleanings => {
            found.push(
                "Count the changes that were shown since the last cleaning by this rule or the first screen, the change at \
                 hand included."
                    .into(),
            );
            found.extend(cleanings.iter().map(|cleaning| cleaning_in_words(cleaning, report)));
        }
    }
    found
}

fn answers(report: PolicyReport<'_>) -> Vec<String> {
    let policy = &report.found.policy;
    let changes = report.found.changes();
    let mut found = Vec::new();
    for kind in Kind::all().filter(|kind| changes[kind.place()] > 0) {
        found.push(format!(
            "{}: ask for {} ({} in this plan).",
            kind_in_words(kind, policy.large_from_permille.is_some(), report.plan),
            asks_in_words(policy.answer(kind), report.plan),
            counted(changes[kind.place()], "change", "changes"),
        ));
    }
    found
}

/// Thousandths as a percentage.
fn percent(permille: u32) -> String {
    if permille.is_multiple_of(10) {
        format!("{}", permille / 10)
    } else {
        format!("{}.{}", permille / 10, permille % 10)
    }
}

/// A kind of change in words.
pub(super) fn kind_in_words(kind: Kind, sizes_matter: bool, plan: &Plan) -> String {
    let other = if plan.display.ink.colours().is_some() { "another colour" } else { "a grey" };
    let levels = match kind.levels {
        Levels::TwoLevel => "whose pixels are black or white before and after".to_owned(),
        Levels::ToTwoLevel => format!("in which {other} becomes black or white, and nothing becomes {other}"),
        Levels::Any => format!("in which something becomes {other}"),
    };
    let size = match (sizes_matter, kind.extent) {
        (false, _) => "A change",
        (true, Extent::Small) => "A small change",
        (true, Extent::Large) => "A large change",
    };
    let asker = match kind.asker {
        Asker::Person => "after a touch, a pen or a key",
        Asker::Device => "that no person asked for",
    };
    format!("{size} {asker}, {levels}")
}

/// Updates in words.
pub(super) fn asks_in_words(asks: &[Ask], plan: &Plan) -> String {
    let one = |ask: &Ask| {
        let place = if ask.whole { "the whole panel" } else { "the box around what changes" };
        format!("`{}` on {place}", plan.display.modes[ask.mode].name)
    };
    if asks.is_empty() { "no update".into() } else { asks.iter().map(one).collect::<Vec<_>>().join(", then ") }
}

fn cleaning_in_words(cleaning: &Cleaning, report: PolicyReport<'_>) -> String {
    let count = cleaning.after_updates;
    let ask = asks_in_words(&[cleaning.ask], report.plan);
    match &cleaning.when {
        When::Pause { ms } => format!(
            "From a count of {count} on, clean with {ask} as soon as nothing has been asked for during {}; not while the panel \
             is switched off or asleep.",
            span(*ms)
        ),
        When::Step(at) => {
            let place = place_in_words(at, report);
            let what = if cleaning.behind_answer {
                format!("clean with {ask} behind the update that shows the change")
            } else {
                format!("ask for {ask} instead: it cleans and shows the change at once")
            };
            let quiet = quiet_in_words(at, report.found.policy.quiet_ms);
            format!("From a count of {count} on, at the next {place}, {what}{quiet}.")
        }
    }
}

fn quiet_in_words(at: &AtStep, quiet_ms: f64) -> String {
    let quiet = span(quiet_ms);
    match at.asker {
        Some(Asker::Person) => format!("; not within {quiet} after a pen: then wait for the next such step"),
        Some(Asker::Device) => {
            format!("; not within {quiet} after a touch, a pen or a key: then wait for the next such step")
        }
        None => format!(
            "; not within {quiet} after a pen, and where no person asked for the step, not within {quiet} after a touch or a \
             key: then wait for the next such step"
        ),
    }
}

fn place_in_words(at: &AtStep, report: PolicyReport<'_>) -> String {
    let size = if at.only_large { "large change" } else { "step" };
    let asker = match at.asker {
        Some(Asker::Person) => " after a touch, a pen or a key",
        Some(Asker::Device) => " that no person asked for",
        None => "",
    };
    let screens: Vec<String> = at.screens.iter().map(|screen| format!("`{}`", (report.screen_name)(*screen))).collect();
    let screens = if screens.is_empty() { String::new() } else { format!(" that shows {}", screens.join(" or ")) };
    format!("{size}{asker}{screens}")
}
