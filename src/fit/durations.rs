//! How long updates really took, by mode and temperature, from what a device recorded; as a display description that
//! changes another one. Knows recorded plans and the description's format, no files.

use std::{collections::BTreeMap, fmt::Write as _};

use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::{
    display::Mode,
    plan::{Plan, RecordedUpdate, Updates, median},
    rules::wording::counted,
};

/// How long updates of a mode took at one temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredDuration {
    /// Index of the display's mode.
    pub mode: usize,
    /// The recorded temperature, whole degrees C.
    pub celsius: i64,
    /// How many updates were measured.
    pub count: usize,
    /// The middle of their durations, ms.
    pub median_ms: f64,
    /// The shortest and the longest, ms.
    pub range_ms: [f64; 2],
}

/// What a device recorded of its durations, by mode and rising temperature; empty if no update has a start and an end.
pub fn measured_durations(plan: &Plan) -> Vec<MeasuredDuration> {
    let mut found: BTreeMap<(usize, i64), Vec<f64>> = BTreeMap::new();
    for planned in plan.steps() {
        let Updates::Listed(updates) = &planned.step.updates else { continue };
        for (index, update) in updates.iter().enumerate() {
            let recorded = planned.step.recorded_update(index).and_then(RecordedUpdate::duration_ms);
            if let Some(ms) = recorded.filter(|ms| *ms > 0.0) {
                found.entry((update.mode, planned.temperature_c.round() as i64)).or_default().push(ms);
            }
        }
    }
    found.into_iter().filter_map(|((mode, celsius), durations)| measured(mode, celsius, durations)).collect()
}

fn measured(mode: usize, celsius: i64, mut durations: Vec<f64>) -> Option<MeasuredDuration> {
    durations.sort_by(f64::total_cmp);
    let count = durations.len();
    let (least, most) = (*durations.first()?, *durations.last()?);
    let median_ms = median(&durations)?;
    Some(MeasuredDuration { mode, celsius, count, median_ms, range_ms: [least, most] })
}

/// The description's text. `based_on` is what it calls the one that it changes, `trace` the name of the file that was
/// measured.
pub fn durations_fragment(plan: &Plan, measured: &[MeasuredDuration], based_on: &str, trace: &str) -> String {
    let display = &plan.display;
    let of_mode = |mode: usize| measured.iter().filter(move |of| of.mode == mode);
    let mut text = format!("// Durations of {} as {trace} recorded them.\n", display.name);
    for of in measured {
        let _ = writeln!(text, "//   {}", words(of, &display.modes[of.mode].name));
    }
    let keeps = |mode: usize| !kept(&display.modes[mode], &of_mode(mode).collect::<Vec<_>>()).is_empty();
    let below = if (0..display.modes.len()).any(keeps) {
        "the durations of the description that this one changes stay, where it has a table"
    } else {
        "its duration is used"
    };
    let _ =
        writeln!(text, "// Waveforms are longer in the cold: below the lowest temperature that was measured, {below}.");
    text.push_str(
        "// Predictions depend on these figures: measure your own panel at each temperature that it will meet.\n",
    );
    let modes = (0..display.modes.len()).filter(|mode| of_mode(*mode).next().is_some());
    let modes = modes.map(|mode| {
        let of = of_mode(mode).collect::<Vec<_>>();
        json!({ "name": display.modes[mode].name, "duration_ms": durations(&of, kept(&display.modes[mode], &of)) })
    });
    let own = measured.iter().map(|of| words(of, &display.modes[of.mode].name)).collect::<Vec<_>>().join("; ");
    let own = format!("durations: measured, medians of what {trace} recorded ({own})");
    let description = Description {
        format: "display/1",
        name: format!("{}-measured", display.name),
        based_on,
        modes: modes.collect(),
        sources: std::iter::once(own.as_str()).chain(display.sources.iter().map(String::as_str)).collect(),
    };
    // Plain texts and finite numbers: they can always be written.
    text.push_str(&serde_json::to_string_pretty(&description).unwrap_or_default());
    text.push('\n');
    text
}

/// The field `duration_ms`: one figure, or a table by temperature, which begins with what is kept.
fn durations(measured: &[&MeasuredDuration], kept: &[(f64, f64)]) -> Value {
    if let ([only], []) = (measured, kept) {
        return json!(tenths(only.median_ms));
    }
    let kept = kept.iter().map(|(celsius, ms)| (celsius.to_string(), json!(ms)));
    let entries = measured.iter().map(|of| (of.celsius.to_string(), json!(tenths(of.median_ms))));
    Value::Object(kept.chain(entries).collect::<Map<String, Value>>())
}

/// The entries of a described table that are for colder panels than any that was measured: none of a single duration.
fn kept<'m>(mode: &'m Mode, measured: &[&MeasuredDuration]) -> &'m [(f64, f64)] {
    let coldest = measured.iter().map(|of| of.celsius as f64).fold(f64::INFINITY, f64::min);
    match &mode.duration_ms[..] {
        [_] => &[],
        // Of a mode that was not measured, nothing is written.
        _ if measured.is_empty() => &[],
        table => &table[..table.partition_point(|(from, _)| *from < coldest)],
    }
}

fn words(of: &MeasuredDuration, name: &str) -> String {
    let [least, most] = of.range_ms.map(tenths);
    let updates = counted(of.count as u64, "update", "updates");
    format!("{name} at {} C: {} ms, {least} to {most} ms in {updates}", of.celsius, tenths(of.median_ms))
}

fn tenths(ms: f64) -> f64 {
    (ms * 10.0).round() / 10.0
}

#[derive(Serialize)]
struct Description<'a> {
    format: &'a str,
    name: String,
    based_on: &'a str,
    modes: Vec<Value>,
    sources: Vec<&'a str>,
}
