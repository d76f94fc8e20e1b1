//! Words that several formats share: where a finding stands, counts, sentences.

pub(super) use crate::rules::wording::{counted as count, ms};
use crate::rules::{over_walks, wording::step_name};
use std::collections::{BTreeMap, BTreeSet};

use super::{
    ReviewedPlan, RunReport,
    how_sure::{estimate_note, estimate_words},
};
use crate::{
    finding::{Finding, Summary},
    flow_review::ADay,
    known::KnownFinding,
    rules::wording,
    source::{file_kinds, readable},
};

/// What stands at the end of every report for people.
pub(super) const PREDICTIONS: &str = "These are predictions from the display description: measure your own panel, and \
                                      follow its maker's documents first.";

/// How many plans, flows and traces were reviewed, in words.
pub(super) fn extent_of_run(report: &RunReport) -> String {
    let mut files: [BTreeSet<&str>; 3] = Default::default();
    for of in &report.plans {
        let Some(plan) = of.reviewed() else { continue };
        let kind = if plan.flow.is_some() { 1 } else { 2 * usize::from(of.path.ends_with(file_kinds::TRACE)) };
        files[kind].insert(&of.path);
    }
    let kinds = [("plan", "plans"), ("flow", "flows"), ("trace", "traces")];
    let counted = files.iter().zip(kinds).filter(|(files, _)| !files.is_empty());
    let words: Vec<String> = counted.map(|(files, (one, many))| count(files.len() as u64, one, many)).collect();
    if words.is_empty() { count(0, "plan", "plans") } else { wording::listed(&words, usize::MAX) }
}

/// At how many temperatures they were reviewed, in words that follow the verb; nothing of one.
pub(super) fn at_temperatures(report: &RunReport) -> String {
    let different: BTreeSet<u64> = report.plans.iter().filter_map(|of| of.temperature_c.map(f64::to_bits)).collect();
    if different.len() > 1 { format!(" at {} temperatures", different.len()) } else { String::new() }
}

/// The step of a finding, in words.
pub(super) fn place_words(finding: &Finding) -> String {
    if let Some(walk) = &finding.walk {
        return walk.place();
    }
    if !finding.is_of_a_step() {
        return place_in_a_file(finding);
    }
    if finding.last_step == finding.step {
        return step_name(finding.step, finding.label.as_deref());
    }
    match &finding.label {
        Some(label) => format!("steps {} (\"{label}\") to {}", finding.step, finding.last_step),
        None => format!("steps {} to {}", finding.step, finding.last_step),
    }
}

/// A field of a plan or of a flow that belongs to no step, in words.
fn place_in_a_file(finding: &Finding) -> String {
    let label = finding.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\""));
    if let Some(rest) = finding.pointer.strip_prefix("/moves/") {
        return format!("move {}{label}", rest.split('/').next().unwrap_or_default());
    }
    if finding.rule == over_walks::NOT_PROVED {
        return format!("the limit of `{}`", finding.label.as_deref().unwrap_or_default());
    }
    if finding.pointer.starts_with("/states/") { format!("state{label}") } else { "the plan".into() }
}

/// What was seen, and at which step; a finding of the whole plan names itself what it is about.
pub(super) fn headline(finding: &Finding) -> String {
    let place = if finding.is_of_a_step() { format!("{}: ", place_words(finding)) } else { String::new() };
    one_line(&format!("{place}{}", finding.message))
}

/// The walk that leads to a finding of a flow; nothing of any other, nor of one at the start.
pub(super) fn walk_words(finding: &Finding) -> Option<String> {
    let walk = finding.walk.as_ref().filter(|walk| !walk.moves.is_empty())?;
    Some(one_line(&walk.words))
}

/// How much there is of a plan or a flow, in words.
pub(super) fn extent(plan: &ReviewedPlan) -> String {
    let Some(flow) = &plan.flow else { return count(plan.steps, "step", "steps") };
    let (states, moves) = (flow.size.states as u64, flow.size.moves as u64);
    format!("{} and {}", count(states, "state", "states"), count(moves, "move", "moves"))
}

/// Whether every walk keeps each limit, a line each; nothing of a plan.
pub(super) fn verdict_lines(plan: &ReviewedPlan) -> Vec<String> {
    let Some(flow) = &plan.flow else { return Vec::new() };
    let mut lines: Vec<String> = flow.verdicts.iter().map(|one| one_line(&one.words)).collect();
    lines.extend(flow.a_day.as_ref().map(|day| day_line(day, flow.size.moves)));
    let (cells, unjoined) = (flow.size.cells as u64, flow.size.unjoined_cells as u64);
    if cells > 0 && unjoined > cells {
        lines.push(format!(
            "To save time, the proof treats pixels with similar histories as one ({cells} groups instead of {unjoined}). Its \
             figures are upper limits: no walk is worse, but some of them may be slightly too high"
        ));
    }
    lines
}

/// What a day is expected to take, in a line.
fn day_line(day: &ADay, moves: usize) -> String {
    let mut parts = vec![
        format!("{} updates", whole(day.updates)),
        format!("{} flashes", whole(day.flashes)),
        format!("{} mJ for updates", whole(day.energy_mj)),
    ];
    parts.extend(day.mean_mw.map(|mean_mw| format!("{} on average with standby", mean_power(mean_mw))));
    parts.extend(day.days.map(|days| format!("{days:.0} days per charge")));
    let of = if day.moves == moves {
        String::new()
    } else {
        format!(", of the {} of {moves} moves with `per_day`", day.moves)
    };
    let energy = if day.energy_mj > 0.0 { estimate_note(day.energy_factor) } else { String::new() };
    format!("A day is expected to take {}{energy}{of}", parts.join(", "))
}

/// A figure without digits that say nothing.
fn whole(figure: f64) -> String {
    if figure >= 10.0 { format!("{figure:.0}") } else { format!("{figure:.1}") }
}

/// What was played of a flow, in words; nothing of a plan.
pub(super) fn played_of_flow(plan: &ReviewedPlan) -> Option<String> {
    let flow = plan.flow.as_ref()?;
    let (walks, moves) = (flow.size.walks as u64, flow.size.played_moves as u64);
    let summary = &plan.summary;
    let mut parts = vec![format!(
        "played {} with {} in all, which together make every move that can be made from each state that can be reached",
        count(walks, "walk", "walks"),
        count(moves, "move", "moves")
    )];
    if summary.longest_answer_ms > 0.0 {
        parts.push(slowest_first_change(summary));
    }
    if summary.worst_residue_l > 0.0 {
        parts.push(format!("strongest ghost in any single pixel {:.2} L*", summary.worst_residue_l));
    }
    let played = parts.remove(0);
    Some(if parts.is_empty() {
        played
    } else {
        // Walks that break a limit go on longer than the shortest walk that a finding shows.
        format!("{played}. On these, and on longer walks that were played to test the limits: {}", parts.join("; "))
    })
}

/// A mean power, mW, in words.
pub(super) fn mean_power(mean_mw: f64) -> String {
    if mean_mw > 0.0 && mean_mw < 0.0005 { "less than 0.001 mW".to_owned() } else { format!("{mean_mw:.3} mW") }
}

/// The longest time from an input to the first visible change of its own step, in words.
pub(super) fn slowest_first_change(summary: &Summary) -> String {
    let longest_ms = summary.longest_answer_ms;
    let is_of_the_pen = summary.longest_commit_ms.to_bits() == longest_ms.to_bits();
    // A margin is about answers without those that the controller draws under the pen.
    match summary.margins.answers {
        Some(answers) if is_of_the_pen && answers.reached > 0.0 && answers.reached + 0.5 < longest_ms => {
            format!(
                "slowest first change {:.0} ms after a touch or key, {longest_ms:.0} ms after the pen was lifted",
                answers.reached
            )
        }
        _ => format!("slowest first change {longest_ms:.0} ms after a touch, a key or the pen"),
    }
}

/// What follows from another finding, in a line that stands with that one.
pub(super) fn following_words(finding: &Finding) -> String {
    let estimate = estimate_words(finding).map_or(String::new(), |words| format!("; {words}"));
    format!(
        "`{}` ({}), {}: {}{estimate}",
        finding.rule,
        finding.severity.word(),
        place_words(finding),
        one_line(&finding.message)
    )
}

/// The known findings of a plan, counted by rule; nothing where there is none.
pub(super) fn known_by_rule(plan: &ReviewedPlan) -> Option<String> {
    let mut counts: BTreeMap<&str, u64> = BTreeMap::new();
    for finding in plan.findings.iter().filter(|finding| finding.is_known()) {
        *counts.entry(finding.rule).or_default() += 1;
    }
    let parts: Vec<String> = counts.iter().map(|(rule, number)| format!("{number} {rule}")).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// A known finding that was not found again.
pub(super) fn gone_words(gone: &KnownFinding) -> String {
    let label = gone.label.as_ref().map_or(String::new(), |label| format!(" at \"{label}\""));
    let message = if gone.message.is_empty() { String::new() } else { format!(": {}", gone.message) };
    one_line(&format!("{} ({}){label}{message}", gone.rule, gone.level.word()))
}

/// Counts of errors, warnings and notes in words, those of none left out.
pub(super) fn severities([errors, warnings, notes]: [u64; 3]) -> String {
    let counts = [(errors, "error", "errors"), (warnings, "warning", "warnings"), (notes, "note", "notes")];
    let parts = counts.iter().filter(|(number, _, _)| *number > 0);
    parts.map(|(number, one, many)| count(*number, one, many)).collect::<Vec<_>>().join(", ")
}

/// A time or a stretch of it, in the units that people use.
pub(super) fn clock(ms: f64) -> String {
    let seconds = (ms / 1000.0).round() as u64;
    let (minutes, hours, days) = (seconds / 60, seconds / 3600, seconds / 86_400);
    match seconds {
        _ if ms < 1000.0 => format!("{ms:.0} ms"),
        ..120 => format!("{:.1} s", ms / 1000.0),
        120..7200 => format!("{minutes} min {} s", seconds % 60),
        7200..172_800 => format!("{hours} h {} min", minutes % 60),
        _ => format!("{days} days {} h", hours % 24),
    }
}

/// A text cut at its backticks: whether a piece is a name between two of them, and the piece. A backtick without its
/// second, or with nothing between the two, stays what it is.
pub(super) fn pieces(text: &str) -> Vec<(bool, String)> {
    // Next to each other, backticks would pair in another way than here.
    if text.contains("``") {
        return vec![(false, text.into())];
    }
    let parts: Vec<&str> = text.split('`').collect();
    let piece = |(at, part): (usize, &&str)| {
        let closed = at + 1 < parts.len();
        match at % 2 == 1 {
            true if closed && !part.trim().is_empty() => (true, (*part).to_owned()),
            true => (false, format!("`{part}{}", if closed { "`" } else { "" })),
            false => (false, (*part).to_owned()),
        }
    };
    parts.iter().enumerate().map(piece).collect()
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
pub(crate) fn sentence(text: &str) -> String {
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
