//! `review --against`: a trace is held against the plan, or the user flow, that the device should follow.

use std::{collections::BTreeMap, path::Path, sync::Arc};

use crate::cli::files::{
    LoadedFlow, LoadedPlan, SettingsStore, faults_of_screens, is_flow, load_flow, load_plan, screen_faults,
};
use crate::{
    against::{Compared, MeantFlow, Tolerance, TooDifferent, Track, compare, compare_with_flow, places_in_flow, track},
    flow_review::{DecodedScreens, FlowMap},
    geometry::{Rotation, Size},
    plan::{Origin, Plan},
    rules::rule_of_departure,
    source::{Fault, Source, json::locate},
};

/// What a trace is held against, and how.
#[derive(Clone, Copy, Debug)]
pub(super) struct Against<'a> {
    /// The plan or the flow.
    pub(super) path: &'a Path,
    /// The temperature instead of its own, degrees C.
    pub(super) temperature_c: Option<f64>,
    pub(super) threads: usize,
}

/// Adds to a loaded trace where it departs from a plan or a flow.
pub(super) fn hold_against(
    trace: &mut LoadedPlan,
    against: Against<'_>,
    settings: &mut SettingsStore,
) -> Result<(), Vec<Fault>> {
    let name = trace.plan.source.name.clone();
    if trace.plan.recorded.is_none() {
        let message = "only a trace of a device can be held against a plan or a user flow, but this is a plan";
        return Err(Fault::of_file(name, message, "name a trace (`*.trace.jsonl`), or leave out `--against`").into());
    }
    let compared =
        if is_flow(against.path) { with_flow(trace, against, settings)? } else { with_plan(trace, against, settings)? };
    let Compared { departures, as_planned, planned: of } = compared;
    if let Some(recorded) = &mut trace.plan.recorded {
        (recorded.departures, recorded.as_planned) = (departures, Some([as_planned, of]));
    }
    Ok(())
}

fn with_plan(trace: &LoadedPlan, against: Against<'_>, settings: &mut SettingsStore) -> Result<Compared, Vec<Fault>> {
    let mut plan = load_plan(against.path, settings)?;
    if let Some(celsius) = against.temperature_c {
        plan.plan.hold_temperature(celsius);
    }
    check_size(trace, plan.plan.screen_size(), "plan")?;
    let planned = track_of(&plan, against.threads)?;
    let done = track_of(trace, against.threads)?;
    let pointers = planned.pointers().map(|pointer| (pointer.to_owned(), String::new()));
    let places = places_of(&plan.plan.source, &pointers.collect::<Vec<_>>());
    let place = |pointer: &str| places.get(pointer).cloned().unwrap_or_default();
    let compared = compare(&planned, &done, tolerance_of(trace, &plan.plan), &place);
    compared
        .map(|compared| without_switched_off(compared, &plan.plan))
        .map_err(|fault| too_different(trace, fault, "plan"))
}

fn with_flow(trace: &LoadedPlan, against: Against<'_>, settings: &mut SettingsStore) -> Result<Compared, Vec<Fault>> {
    let mut loaded = load_flow(against.path, settings, None)?;
    if let Some(celsius) = against.temperature_c {
        loaded.flow.head.hold_temperature(celsius);
    }
    check_size(trace, loaded.flow.head.screen_size(), "flow")?;
    let LoadedFlow { flow, screens: files, .. } = &loaded;
    let source = &flow.head.source;
    let screens = DecodedScreens::decode(flow, files, against.threads)
        .map_err(|broken| faults_of_screens(source, files, broken))?;
    let map = FlowMap::new(flow, &screens).map_err(|no_map| {
        let (message, help) = no_map.words();
        Fault::of_file(source.name.clone(), message, help)
    })?;
    let done = track_of(trace, against.threads)?;
    let places = places_of(source, &places_in_flow(flow));
    let place = |pointer: &str| places.get(pointer).cloned().unwrap_or_default();
    let meant = MeantFlow { flow, map: &map, screens: &screens };
    let compared = compare_with_flow(meant, &done, tolerance_of(trace, &flow.head), &place);
    compared
        .map(|compared| without_switched_off(compared, &flow.head))
        .map_err(|fault| too_different(trace, fault, "flow"))
}

fn check_size(trace: &LoadedPlan, wanted: Size, what: &str) -> Result<(), Fault> {
    let is = trace.plan.screen_size();
    if is == wanted {
        return Ok(());
    }
    let message = format!("the screens of the trace have {is} px, but those of the {what} have {wanted} px");
    let help = format!("name the {what} of the same device and rotation");
    Err(Fault::of_file(trace.plan.source.name.clone(), message, help))
}

/// What was meant may switch a kind of departure off, as the trace may.
fn without_switched_off(compared: Compared, meant: &Plan) -> Compared {
    let mut departures = compared.departures;
    departures.retain(|departure| !meant.switches_off(rule_of_departure(departure.kind)));
    Compared { departures, ..compared }
}

/// Windows may differ by the grid of the panel, which is turned with it; how late something may come is said by the trace,
/// otherwise by what was meant.
fn tolerance_of(trace: &LoadedPlan, meant: &Plan) -> Tolerance {
    let step = trace.plan.display.windows.map_or([1, 1], |grid| grid.step);
    let is_turned = matches!(trace.plan.rotation, Rotation::Quarter | Rotation::ThreeQuarters);
    let window_px = if is_turned { [step[1], step[0]] } else { step };
    let late_ms = [&trace.plan, meant].map(|plan| plan.limits.done_otherwise.late_ms);
    let own = late_ms.into_iter().find(|limit| limit.origin == Origin::Plan);
    Tolerance { window_px, late_ms: own.unwrap_or(late_ms[0]).value }
}

fn too_different(trace: &LoadedPlan, _: TooDifferent, what: &str) -> Vec<Fault> {
    let message = format!("the trace and the {what} have too many differences to be aligned");
    let help = format!("name the {what} that the device follows, or divide the trace");
    Fault::of_file(trace.plan.source.name.clone(), message, help).into()
}

fn track_of(loaded: &LoadedPlan, threads: usize) -> Result<Track, Vec<Fault>> {
    track(&loaded.plan, &loaded.screens, threads).map_err(|broken| screen_faults(loaded, broken))
}

/// Where pointers into a text lead, in words; those that are given come first.
fn places_of(source: &Arc<Source>, named: &[(String, String)]) -> BTreeMap<String, String> {
    let pointers: Vec<&str> = named.iter().map(|(pointer, _)| pointer.as_str()).collect();
    let spans = locate(source, &pointers);
    let place = |((pointer, name), span): (&(String, String), crate::source::Span)| {
        let at = source.line_column(span.start);
        let comma = if name.is_empty() { "" } else { ", " };
        (pointer.clone(), format!("{name}{comma}{}:{}:{}", source.name, at.line, at.column))
    };
    named.iter().zip(spans).map(place).collect()
}
