//! Times and steps in words. Knows no story.

use crate::{
    geometry::Window,
    plan::Plan,
    rules::wording::{listed, on_its_side, step_name, window},
    source::json::line_of,
};

/// A stretch of time as a person says it.
pub fn lasting(ms: f64) -> String {
    let seconds = ms / 1000.0;
    let parts = |whole: u64, unit: &str, rest: u64, rest_unit: &str| match rest {
        0 => format!("{whole} {unit}"),
        rest => format!("{whole} {unit} {rest} {rest_unit}"),
    };
    match seconds.round() as u64 {
        _ if ms < 999.5 => format!("{ms:.0} ms"),
        _ if seconds < 59.95 => format!("{seconds:.1} s").replace(".0 s", " s"),
        whole @ ..3600 => parts(whole / 60, "min", whole % 60, "s"),
        whole @ 3600..86_400 => parts(whole / 3600, "h", whole / 60 % 60, "min"),
        whole => parts(whole / 86_400, if whole < 172_800 { "day" } else { "days" }, whole / 3600 % 24, "h"),
    }
}

/// A difference beside its limit, L*, with so many digits that it lies on the same side of it in words.
pub fn beside(value: f64, limit: f64) -> String {
    let finer = (1..6).map(|digits| format!("{value:.digits$}"));
    on_its_side(value, limit, finer).unwrap_or_else(|| format!("{value:.1}"))
}

/// How often, in words: "once", "twice", "4 times".
pub fn times_words(count: u64) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        count => format!("{count} times"),
    }
}

/// The time that a story covers, as it is spoken of: "these 10 s".
pub fn these(before_ms: f64) -> String {
    if before_ms > 0.0 { format!("these {}", lasting(before_ms)) } else { "this step".to_owned() }
}

/// A step of a plan by its number and label, also one of a later turn of a plan that loops; the label is left out if it says
/// the time alone. A step of a trace is named with its line, and with the time on the device's own clock.
pub fn name_of_step(step: u64, plan: &Plan) -> String {
    named(step, plan, true)
}

/// The same where the time of the step is said beside it.
pub fn name_beside_time(step: u64, plan: &Plan) -> String {
    named(step, plan, false)
}

fn named(step: u64, plan: &Plan, with_time: bool) -> String {
    let Some(planned) = plan.step_at(step % plan.step_count.max(1)) else { return step_name(step, None) };
    let label = planned.label.as_deref();
    let time_alone = label.filter(|label| is_time_alone(label, plan));
    let name = step_name(step, label.filter(|_| time_alone.is_none()));
    let Some(recorded) = &planned.recorded else { return name };
    let has_time_of_day = plan.recorded.as_ref().is_some_and(|recorded| recorded.begins_at_ms.is_some());
    let clock = if has_time_of_day {
        // A label that says more than the time begins with it.
        time_alone.filter(|_| with_time).map(str::to_owned)
    } else {
        recorded.updates.first().map(|update| format!("count {}", update.at_count))
    };
    let line = line_of(&planned.pointer).map(|line| format!("line {line}"));
    let place: Vec<String> = line.into_iter().chain(clock).collect();
    if place.is_empty() { name } else { format!("{name} ({})", place.join(", ")) }
}

/// Updates of certain windows in words: "`quick` goes to [0, 48, 32, 64]".
pub fn windows_words(windows: &[(usize, Vec<Window>)], plan: &Plan) -> String {
    let of_mode = |(mode, boxes): &(usize, Vec<Window>)| {
        let boxes: Vec<String> = boxes.iter().map(|asked| window(*asked)).collect();
        format!("`{}` goes to {}", plan.display.modes[*mode].name, listed(&boxes, 4))
    };
    listed(&windows.iter().map(of_mode).collect::<Vec<_>>(), 4)
}

/// What so many pixels do, up to the verb.
pub fn pixels_show(count: u64) -> String {
    if count == 1 { "one pixel shows".to_owned() } else { format!("{count} pixels show") }
}

/// Whether a label says the time alone, as those of the steps of a trace do.
fn is_time_alone(label: &str, plan: &Plan) -> bool {
    let is_of_a_time = |letter: char| letter.is_ascii_digit() || [':', '.'].contains(&letter);
    plan.recorded.is_some() && label.chars().all(is_of_a_time)
}
