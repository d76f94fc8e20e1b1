//! `review --against`: a trace is held against the plan that the device should follow.

use std::{collections::BTreeMap, path::Path};

use crate::cli::files::{LoadedPlan, SettingsStore, load_plan, screen_faults};
use crate::{
    against::{Compared, Tolerance, Track, compare, track},
    geometry::Rotation,
    source::{Fault, json::locate},
};

/// Adds to a loaded trace where it departs from a plan.
pub(super) fn hold_against(
    trace: &mut LoadedPlan,
    path: &Path,
    temperature_c: Option<f64>,
    threads: usize,
    settings: &mut SettingsStore,
) -> Result<(), Vec<Fault>> {
    let name = trace.plan.source.name.clone();
    if trace.plan.recorded.is_none() {
        let message = "only a trace of a device can be held against a plan, but this is a plan";
        return Err(Fault::of_file(name, message, "name a trace (`*.trace.jsonl`), or leave out `--against`").into());
    }
    let mut plan = load_plan(path, settings)?;
    if let Some(celsius) = temperature_c {
        plan.plan.hold_temperature(celsius);
    }
    if plan.plan.screen_size() != trace.plan.screen_size() {
        let (is, wanted) = (trace.plan.screen_size(), plan.plan.screen_size());
        let message = format!("the screens of the trace have {is} px, but those of the plan have {wanted} px");
        return Err(Fault::of_file(name, message, "name the plan of the same device and rotation").into());
    }
    let planned = track_of(&plan, threads)?;
    let done = track_of(trace, threads)?;
    let step = trace.plan.display.windows.map_or([1, 1], |grid| grid.step);
    let is_turned = matches!(trace.plan.rotation, Rotation::Quarter | Rotation::ThreeQuarters);
    let window_px = if is_turned { [step[1], step[0]] } else { step };
    let tolerance = Tolerance { window_px, late_ms: trace.plan.limits.done_otherwise.late_ms.value };
    let places = places_of(&plan, &planned);
    let place = |pointer: &str| places.get(pointer).cloned().unwrap_or_default();
    let Compared { departures, as_planned, planned: of } =
        compare(&planned, &done, tolerance, &place).map_err(|_| {
            let message = "the trace and the plan have too many differences to be aligned";
            Fault::of_file(name, message, "name the plan that the device follows, or divide the trace")
        })?;
    if let Some(recorded) = &mut trace.plan.recorded {
        (recorded.departures, recorded.as_planned) = (departures, Some([as_planned, of]));
    }
    Ok(())
}

fn track_of(loaded: &LoadedPlan, threads: usize) -> Result<Track, Vec<Fault>> {
    track(&loaded.plan, &loaded.screens, threads).map_err(|broken| screen_faults(loaded, broken))
}

/// Where the steps and updates of a plan are written, in words.
fn places_of(plan: &LoadedPlan, track: &Track) -> BTreeMap<String, String> {
    let source = &plan.plan.source;
    let pointers: Vec<&str> = track.pointers().collect();
    let spans = locate(source, &pointers);
    let words = |span: crate::source::Span| {
        let at = source.line_column(span.start);
        format!("{}:{}:{}", source.name, at.line, at.column)
    };
    pointers.iter().zip(spans).map(|(pointer, span)| ((*pointer).to_owned(), words(span))).collect()
}
