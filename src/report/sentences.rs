//! Words that several formats share: where a finding stands, counts, sentences.

pub(super) use crate::rules::wording::{counted as count, ms};
use crate::rules::{
    over_walks,
    wording::{self, step_name},
};
use std::collections::BTreeMap;

use super::ReviewedPlan;
use crate::{
    finding::{Figure, Finding, Holds, PlanMargin, Summary},
    flow_review::ADay,
    known::KnownFinding,
    plan::Origin,
    source::readable,
};

/// What stands at the end of every report for people.
pub(super) const PREDICTIONS: &str = "These are predictions from the display description: measure your own panel, and \
                                      follow its maker's documents first.";

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
        Some(label) => format!("step {} \"{label}\" to step {}", finding.step, finding.last_step),
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

/// That a finding turns within the factor by which the figure that it rests on may be off, and where; nothing of any other.
pub(super) fn estimate_words(finding: &Finding) -> Option<String> {
    let margin = finding.margin.filter(|margin| margin.sure() == Some(false))?;
    let part = match margin.turns_at() {
        // Down, so that what is said holds; not where a last bit is missing.
        part if part < 1.0 => format!("only {} times as large", (part * 100.0 + 1e-6).floor() / 100.0),
        // And up for the same reason, where too little is reported.
        part if part > 1.0 => format!("{} times as large", (part * 100.0 - 1e-6).ceil() / 100.0),
        _ => "a little smaller".into(),
    };
    Some(format!("the {} is an estimate: if it were {part}, this would not be reported", figure_words(margin.figure)))
}

/// How sure a finding is, where no line of margins stands near it; nothing of one that rests on no figure of the display.
pub(super) fn certainty_words(finding: &Finding) -> Option<String> {
    let margin = finding.margin?;
    let figure = figure_words(margin.figure);
    estimate_words(finding).or_else(|| match margin.factor {
        None => Some(format!("the display does not say how far the {figure} may be off")),
        Some(factor) if factor > 1.0 => {
            Some(format!("the {figure} is an estimate, but this holds even if it is off by its factor of {factor}"))
        }
        Some(_) => None,
    })
}

fn figure_words(figure: Figure) -> &'static str {
    match figure {
        Figure::Residue => "residue",
        Figure::Durations => "time",
        Figure::FirstVisible => "time to the answer",
        Figure::Flashes => "number of flashes",
        Figure::Energy => "energy",
    }
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
            "The proof joined {unjoined} kinds of pixels into {cells}: what it says holds for all of them, but may be more \
             than any walk reaches"
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
    parts.extend(day.mean_mw.map(|mean_mw| format!("{mean_mw:.3} mW on average with standby")));
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
        "{} with {} played, so that every move is made from each of its states",
        count(walks, "walk", "walks"),
        count(moves, "move", "moves")
    )];
    if summary.longest_answer_ms > 0.0 {
        parts.push(longest_answer(summary));
    }
    if summary.worst_residue_l > 0.0 {
        parts.push(format!("strongest pixel of a ghost {:.2} L*", summary.worst_residue_l));
    }
    Some(parts.join(", "))
}

/// The longest time from an input to the first change, in words.
pub(super) fn longest_answer(summary: &Summary) -> String {
    let ms = summary.longest_answer_ms;
    let is_of_the_pen = summary.margins.answers.is_none_or(|margin| margin.reached < ms);
    format!("longest answer {ms:.0} ms{}", if is_of_the_pen { " (after a pen stroke)" } else { "" })
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

/// That a figure is an estimate, and how good, in brackets; nothing if the display does not say that, or is sure.
pub(super) fn estimate_note(factor: Option<f64>) -> String {
    wording::estimate(factor).map_or(String::new(), |words| format!(" ({words})"))
}

/// How near a plan came to each limit that rests on an estimated figure, where the display says how sure that is: worst
/// first.
pub(super) fn margin_lines(summary: &Summary) -> Vec<String> {
    let known = summary.margins.named().into_iter().filter_map(|(name, margin)| Some((name, margin?, margin?.factor?)));
    let mut lines: Vec<_> =
        known.map(|(name, margin, factor)| (margin.holds(), margin_line(name, margin, factor))).collect();
    lines.sort_by_key(|(holds, _)| *holds);
    lines.into_iter().map(|(_, line)| line).collect()
}

fn margin_line(name: &str, margin: PlanMargin, factor: f64) -> String {
    let (what, unit, usual) = match name {
        "residue" => ("the strongest ghost of a noticeable size has", " L*", "that most readers notice"),
        "answers" => ("the slowest first change after a touch or key takes", " ms", "that still feel immediate"),
        "flashes" => ("flashes on a large area reach", "", "that are allowed within a second"),
        _ => ("updates take", " mJ", "of the plan's budget"),
    };
    let (reached, limit) = (short(margin.reached), short(margin.limit.value));
    let of = match margin.limit.origin {
        Origin::Plan if name == "energy" => format!("the {limit}{unit} {usual}"),
        Origin::RulePage => format!("the {limit}{unit} {usual}"),
        origin => format!("{} limit of {limit}{unit}", origin.whose()),
    };
    let holds = margin.holds();
    let within = if holds == Holds::Broken { "above" } else { "within" };
    let sure = match holds {
        Holds::Kept if factor <= 1.0 => "the limit is kept".to_owned(),
        Holds::Kept => format!("the limit is kept, even if the estimate is off by a factor of {factor}"),
        Holds::Open => {
            format!("the estimate may be off by a factor of {factor}, so it is open whether the limit is kept")
        }
        Holds::Broken if factor <= 1.0 => "the limit is broken".to_owned(),
        Holds::Broken => format!("the limit is broken (the estimate may be off by a factor of {factor})"),
    };
    format!("{what} {reached}{unit}, {within} {of}: {sure}")
}

/// A figure with the digits that matter, and no noughts behind them.
fn short(value: f64) -> String {
    let step: f64 = if value >= 100.0 { 1.0 } else { 100.0 };
    format!("{}", (value * step).round() / step)
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
