//! Words that several rules use for the same figures.

use crate::{
    change::Mask,
    display::{Display, Ink, Level, LevelSet, ink::InkKind},
    geometry::{Rect, Window},
    panel::{PlayedStep, WaitsFor},
    plan::{LimitValue, Origin, Plan, PlanKind, RuleLimits},
};

/// An area in words: pixels and square millimetres.
pub(super) fn area(pixels: u64, display: &Display) -> String {
    format!("{pixels} px ({} mm2)", figure(display.area_mm2(pixels)))
}

/// A figure with two or three digits that matter.
pub(crate) fn figure(value: f64) -> String {
    if value >= 100.0 {
        format!("{value:.0}")
    } else if value >= 10.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.2}")
    }
}

/// A figure and its limit, with so many digits that they differ in words where they differ.
pub(super) fn figures_apart(value: f64, limit: f64) -> [String; 2] {
    let usual = [figure(value), figure(limit)];
    if usual[0] != usual[1] || value.to_bits() == limit.to_bits() {
        return usual;
    }
    let exact = |digits: usize| [value, limit].map(|value| format!("{value:.digits$}"));
    // Beyond that, only rounding is left: every digit, as short as possible.
    (3..9)
        .map(exact)
        .find(|[value, limit]| value != limit)
        .unwrap_or_else(|| [value, limit].map(|value| value.to_string()))
}

/// That a figure is an estimate, and how good; nothing if the display does not say how sure it is, or is quite sure.
pub(crate) fn estimate(factor: Option<f64>) -> Option<String> {
    factor.filter(|factor| *factor > 1.0).map(|factor| format!("an estimate, good to a factor of {factor}"))
}

/// Milliseconds: whole ones from ten on, otherwise tenths where there are any.
pub(crate) fn ms(value: f64) -> String {
    let tenths = (value * 10.0).round();
    if tenths >= 100.0 || tenths % 10.0 == 0.0 { format!("{:.0}", value.abs()) } else { format!("{value:.1}") }
}

/// As many steps, or runs of steps, are named.
const MOST_STEPS: usize = 8;

/// Steps by their numbers, which rise, in words: runs of them as one.
pub(super) fn steps(steps: &[u64]) -> String {
    let mut runs: Vec<[u64; 2]> = Vec::new();
    for step in steps {
        match runs.last_mut() {
            Some([_, last]) if *step <= *last + 1 => *last = *step,
            _ => runs.push([*step, *step]),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .flat_map(|[first, last]| match last - first {
            0 => vec![first.to_string()],
            1 => vec![first.to_string(), last.to_string()],
            _ => vec![format!("{first} to {last}")],
        })
        .collect();
    let noun = if steps.len() == 1 { "step" } else { "steps" };
    format!("{noun} {}", listed(&words, MOST_STEPS))
}

/// A span of time in the unit that people use for it.
pub(crate) fn span(ms: f64) -> String {
    let seconds = ms / 1000.0;
    if seconds < 1.0 {
        format!("{} ms", self::ms(ms))
    } else if seconds < 120.0 {
        format!("{} s", figure(seconds))
    } else if seconds < 2.0 * 3600.0 {
        format!("{} min", figure(seconds / 60.0))
    } else {
        format!("{} h", figure(seconds / 3600.0))
    }
}

/// Milliseconds as they stand in a plan, with what a long time is for people.
pub(super) fn long_ms(ms: f64) -> String {
    let whole_minutes = ms % 60_000.0 == 0.0 && ms < 7_200_000.0;
    match () {
        () if ms < 60_000.0 => format!("{} ms", self::ms(ms)),
        () if whole_minutes => format!("{} ms ({:.0} min)", self::ms(ms), ms / 60_000.0),
        () => format!("{} ms ({})", self::ms(ms), span(ms)),
    }
}

/// A span of time that is below a limit, said so that the two differ.
pub(super) fn span_below(ms: f64, limit_ms: f64) -> String {
    let words = span(ms);
    if words == span(limit_ms) { format!("{words} minus {} ms", self::ms(limit_ms - ms)) } else { words }
}

/// That a limit is passed, and whose it is: what a display wants is said in words of its own.
pub(super) fn passed(limit: LimitValue, figure: &str, display_wants: &str) -> String {
    match limit.origin {
        Origin::Display => format!("{display_wants} {figure}"),
        _ => format!("this exceeds {}", limit.words(figure)),
    }
}

/// A level as the subject of a sentence.
pub(super) fn quoted_level(level: Level, ink: &Ink) -> String {
    match ink.kind() {
        InkKind::Segments(_) => format!("the state `{}`", ink.name(level)),
        InkKind::Grey | InkKind::Palette(_) => format!("the {}", ink.name(level)),
    }
}

/// How far two levels look apart, in the unit of their ink.
pub(super) fn apart(distance: f64, ink: &Ink) -> String {
    let unit = if ink.colours().is_some() { "in CIEDE2000" } else { "L*" };
    format!("{} {unit}", figure(distance))
}

/// The names of the segments that some pixels belong to, in the order of the drawing, and those pixels that do.
pub(super) fn segments_of(pixels: &Mask, step: &PlayedStep<'_>, plan: &Plan) -> (Vec<String>, Mask) {
    let InkKind::Segments(segments) = plan.display.ink.kind() else { return (Vec::new(), Mask::new()) };
    let screen = plan.screen_size();
    let mut found = vec![false; segments.names().len()];
    let mut inside = Vec::new();
    pixels.for_each_pixel(step.grid(), |x, y| {
        let pixel = Window { x: i64::from(x), y: i64::from(y), width: 1, height: 1 };
        let on_panel = plan.rotation.to_panel(pixel, screen);
        if let Some(segment) = segments.at(on_panel.x as u32, on_panel.y as u32) {
            found[segment] = true;
            inside.push(step.grid().locate(x, y));
        }
    });
    let named = segments.names().iter().zip(found).filter(|(_, found)| *found);
    (named.map(|(name, _)| format!("`{name}`")).collect(), Mask::from_unsorted(inside))
}

/// A step by its number and label.
pub(crate) fn step_name(step: u64, label: Option<&str>) -> String {
    label.map_or_else(|| format!("step {step}"), |label| format!("step {step} \"{label}\""))
}

/// A window as it stands in a plan.
pub(crate) fn window(window: Window) -> String {
    format!("[{}, {}, {}, {}]", window.x, window.y, window.width, window.height)
}

/// A box as it stands in a plan.
pub(crate) fn rect(rect: Rect) -> String {
    window(rect.to_window())
}

/// Levels in words, at most four of them.
pub(crate) fn levels(levels: LevelSet, display: &Display) -> String {
    let ink = &display.ink;
    if !matches!(ink.kind(), InkKind::Grey) {
        let names: Vec<String> = levels.iter().map(|level| ink.name(level)).collect();
        return listed(&names, 4);
    }
    let ends = [ink.black(), ink.white()];
    let greys: Vec<String> =
        levels.iter().filter(|level| !ends.contains(level)).map(|level| level.to_string()).collect();
    let mut names: Vec<String> =
        ends.into_iter().filter(|end| levels.contains(*end)).map(|end| ink.name(end)).collect();
    let which = match greys.len() {
        0 => None,
        1 => Some(format!("level {}", greys[0])),
        2..=4 => Some(format!("levels {}", listed(&greys, 4))),
        many => Some(format!("levels {} to {}", greys[0], greys[many - 1])),
    };
    names.extend(which.map(|which| format!("grey {which} (0 is black, {} white)", ink.white())));
    listed(&names, 4)
}

/// Names in a sentence, at most `most` of them.
pub(crate) fn listed(names: &[String], most: usize) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        _ if names.len() > most => format!("{} and {} more", names[..most].join(", "), names.len() - most),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

/// Names to choose one from.
pub(crate) fn one_of(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [all @ .., last] => format!("{} or {last}", all.join(", ")),
    }
}

/// The names of the modes whose reach holds all of some levels.
pub(super) fn modes_reaching(levels: LevelSet, display: &Display) -> Vec<String> {
    let reaches = |to: LevelSet| to.0 & levels.0 == levels.0;
    display.modes.iter().filter(|mode| reaches(mode.to)).map(|mode| format!("`{}`", mode.name)).collect()
}

/// Words for the fields of a plan, or for what a firmware does whose trace is read: a trace has no such fields.
pub(super) fn by_kind<'w>(plan: &Plan, of_plan: &'w str, of_trace: &'w str) -> &'w str {
    if plan.kind() == PlanKind::Trace { of_trace } else { of_plan }
}

/// The first of some words for a figure that reads as above, below or equal to a limit like the figure itself.
pub(crate) fn on_its_side(value: f64, limit: f64, mut words: impl Iterator<Item = String>) -> Option<String> {
    let side = |figure: f64| figure.partial_cmp(&limit);
    words.find(|words| words.parse().is_ok_and(|read| side(read) == side(value)))
}

/// The window around what changes, and where that is: a fixed box would be too small where the next picture changes elsewhere.
pub(super) fn changed_window(plan: &Plan, window: Rect) -> String {
    format!("{} {}", by_kind(plan, "the window \"changed\", here", "the window"), rect(window))
}

/// The names of the modes that clean.
pub(crate) fn cleaning_modes(display: &Display) -> Vec<String> {
    display.modes.iter().filter(|mode| mode.cleans).map(|mode| format!("`{}`", mode.name)).collect()
}

/// What makes a cleaning due, in words that follow "when": a limit, where there is one, or a ghost.
pub(crate) fn cleaning_is_due(limits: &RuleLimits) -> String {
    let updates = limits.too_many_since_cleaning.updates;
    let updates = updates.map(|limit| limit.words(&counted(limit.value as u64, "update", "updates")));
    let hours = limits.cleaning_overdue.hours.map(|limit| limit.words(&format!("{} hours", limit.value)));
    let limit = updates.or(hours).map_or(String::new(), |limit| format!("{limit} or "));
    format!("{limit}a visible ghost requires it")
}

/// What to do by cleaning: `advice` makes a sentence of the names of the modes that do.
pub(super) fn cleaning_help(display: &Display, advice: impl FnOnce(&str) -> String) -> String {
    match cleaning_modes(display).as_slice() {
        [] => "this display description has no cleaning mode: add the one that the panel has".to_owned(),
        modes => advice(&one_of(modes)),
    }
}

/// What a flash costs where the plan has a budget for flashes, in words that follow an update.
pub(super) fn price_of_flash(plan: &Plan) -> String {
    let budget = plan.budgets.get("flashing_updates");
    budget.map_or(String::new(), |most| {
        format!(" (each such update is one of the {most} flashing updates that the plan's budget allows)")
    })
}

/// Where a flow says when its firmware cleans, in words that follow the advice to clean after a step of a walk.
pub(super) fn cleanings_of_flow(plan: &Plan) -> &'static str {
    match plan.kind() {
        PlanKind::Walk => {
            ". In the flow, an entry under `cleanings` does this; its `at` must name a state that the walk has visited by that step"
        }
        PlanKind::Plan | PlanKind::Trace => "",
    }
}

/// How a flow says that nobody's input waits for the panel, in words that follow other advice against waiting.
pub(super) fn input_of_flow(plan: &Plan) -> &'static str {
    match plan.kind() {
        PlanKind::Walk => {
            ". If the firmware takes no input until the panel is free, say so in the flow: `\"input\": \"when_free\"`"
        }
        PlanKind::Plan | PlanKind::Trace => "",
    }
}

/// That an answer in one of these modes takes longer than it may, in words that follow the advice to use them; nothing where
/// one of them is quick enough, or nobody waits for the step.
pub(super) fn slow_in(modes: &[usize], step: &PlayedStep<'_>, plan: &Plan) -> String {
    let (limits, now_c) = (&plan.limits.slow_answer, step.planned.temperature_c);
    let modes = modes.iter().map(|mode| &plan.display.modes[*mode]);
    let times = modes.map(|mode| (mode.first_visible_at(now_c), mode.duration_at(now_c)));
    let quickest = times.min_by(|one, other| one.0.total_cmp(&other.0));
    let is_slow =
        |(first_ms, whole_ms): &(f64, f64)| *first_ms > limits.first_ms.value || *whole_ms > limits.whole_ms.value;
    let slow = quickest.filter(|times| step.planned.step.cause.is_person() && is_slow(times));
    slow.map_or(String::new(), |(first_ms, whole_ms)| {
        format!(
            "; `slow-answer` then reports this step, because the answer appears only after {} ms or more and is complete after {} \
             ms or more",
            ms(first_ms),
            ms(whole_ms)
        )
    })
}

/// How a help begins that knows of no mode which is sooner.
pub(crate) const NO_MODE_CAN: &str = "no mode of this display can";
/// What stands in such a help before what has to be allowed. It does not ask whether the old picture could be sent along.
pub(crate) const IF_ACCEPTABLE: &str = ": if the delay is acceptable, ";

/// What an update waits for, in words that follow "waits".
pub(crate) fn waits_for(waits_for: WaitsFor, display: &Display) -> String {
    match waits_for {
        WaitsFor::Nothing => {
            "although nothing that is known keeps it waiting: the device itself began so late".to_owned()
        }
        WaitsFor::Overlap => "for an earlier update that still runs over the same place".to_owned(),
        WaitsFor::Place => format!(
            "for a free place: the controller drives only {} at the same time",
            counted(display.parallel_updates as u64, "update", "updates")
        ),
        WaitsFor::Link if display.link.waits_for_panel => {
            "for the controller, which takes nothing until the update before it has ended".to_owned()
        }
        WaitsFor::Link => "for the link, which still carries an earlier picture".to_owned(),
    }
}

/// One, or many, of something.
pub(crate) fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_below_its_limit_reads_so() {
        assert_eq!(figures_apart(1.07, 1.2), ["1.07", "1.20"]);
        assert_eq!(figures_apart(1.1999, 1.2), ["1.1999", "1.2000"]);
        assert_eq!(figures_apart(119.6, 120.0), ["119.600", "120.000"]);
        assert_eq!(figures_apart(2.0, 2.0), ["2.00", "2.00"]);
        assert_eq!(figures_apart(0.1 + 0.2, 0.3), ["0.30000000000000004", "0.3"]);
    }
}
