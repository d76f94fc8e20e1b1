//! Times in words, and labels that are nothing else. Knows no story.

use crate::plan::Plan;

/// A stretch of time as a person says it.
pub fn lasting(ms: f64) -> String {
    let seconds = ms / 1000.0;
    let parts = |whole: u64, unit: &str, rest: u64, rest_unit: &str| match rest {
        0 => format!("{whole} {unit}"),
        rest => format!("{whole} {unit} {rest} {rest_unit}"),
    };
    match seconds.round() as u64 {
        _ if ms < 999.5 => format!("{ms:.0} ms"),
        ..60 => format!("{seconds:.1} s").replace(".0 s", " s"),
        whole @ 60..3600 => parts(whole / 60, "min", whole % 60, "s"),
        whole @ 3600..86_400 => parts(whole / 3600, "h", whole / 60 % 60, "min"),
        whole => parts(whole / 86_400, if whole < 172_800 { "day" } else { "days" }, whole / 3600 % 24, "h"),
    }
}

/// Whether a label says the time alone, as those of the steps of a trace do.
pub fn is_time_alone(label: &str, plan: &Plan) -> bool {
    let is_of_a_time = |letter: char| letter.is_ascii_digit() || [':', '.'].contains(&letter);
    plan.recorded.is_some() && label.chars().all(is_of_a_time)
}
