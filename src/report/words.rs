//! Words that several formats share: where a finding stands, counts, sentences.

use crate::{finding::Finding, source::readable};

/// What stands at the end of every report for people.
pub(super) const PREDICTIONS: &str = "These are predictions from the display description; measure your own panel, and follow its maker's documents first.";

/// The step of a finding, in words.
pub(super) fn place_words(finding: &Finding) -> String {
    if !finding.is_of_a_step() {
        return "the plan".into();
    }
    let label = finding.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\""));
    if finding.last_step == finding.step {
        return format!("step {}{label}", finding.step);
    }
    format!("steps {} to {}{label}", finding.step, finding.last_step)
}

/// What was seen, and at which step; a finding of the whole plan names itself what it is about.
pub(super) fn headline(finding: &Finding) -> String {
    let place = if finding.is_of_a_step() { format!("{}: ", place_words(finding)) } else { String::new() };
    one_line(&format!("{place}{}", finding.message))
}

/// A number with its noun.
pub(super) fn count(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// The temperature at which a plan was reviewed instead of its own, to be put behind its name.
pub(super) fn at_temperature(celsius: Option<f64>) -> String {
    celsius.map_or(String::new(), |celsius| format!(" at {celsius} C"))
}

/// Words on one line, fit for a reader.
pub(super) fn one_line(text: &str) -> String {
    readable(text).replace('\n', " ")
}

/// Words with a capital letter at the beginning and a full stop at the end.
pub(super) fn sentence(text: &str) -> String {
    let text = stopped(text);
    let mut characters = text.chars();
    let first = characters.next().map_or(String::new(), |first| first.to_uppercase().collect());
    format!("{first}{}", characters.as_str())
}

/// Words with a full stop at the end, where they have none.
pub(super) fn stopped(text: &str) -> String {
    let text = text.trim();
    let stop = if text.ends_with(['.', '?', '!', '…']) { "" } else { "." };
    format!("{text}{stop}")
}
