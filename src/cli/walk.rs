//! `stillpage walk`: writes a walk through a user flow as a plan, for every command that takes one.

use std::path::{Path, PathBuf};

use clap::{ArgGroup, Args, ValueHint};
use serde_json::Value;

use super::{
    files::{
        LoadedFlow, Outside, SettingsStore, faults_of_screens, folder_of, is_flow, load_flow, real, way_from,
        working_folder,
    },
    output::{check_ending, check_out, tell_written, write_file},
    telling::status_of,
    threads::cores,
};
use crate::{
    display::shipped,
    flow::Walk,
    flow_review::{
        AskedWalk, DecodedScreens, FlowMap, FlowTask, NoMap, PathsOfPlan, fields_of, review_flow, text_of_walk,
        words_of,
    },
    plan::ScreenId,
    rules::Selection,
    source::{Fault, did_you_mean},
};

/// What `walk` takes.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("which").required(true).args(["to", "finding", "random"])))]
pub(crate) struct WalkArguments {
    /// The user flow
    #[arg(value_hint = ValueHint::FilePath)]
    flow: PathBuf,
    /// Walk to this state with as few moves as possible, and make each move as early as the flow allows
    #[arg(long, value_name = "STATE")]
    to: Option<String>,
    /// Walk to the finding with this fingerprint; the JSON report of `review` gives it
    #[arg(long, value_name = "FINGERPRINT")]
    finding: Option<String>,
    /// Make N moves at random: half of them as early as the flow allows, the others up to 3 s later
    #[arg(long, value_name = "N", requires = "seed", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    random: Option<u32>,
    /// A number that selects the random walk: the same number gives the same walk
    #[arg(long, value_name = "S", conflicts_with_all = ["to", "finding"])]
    seed: Option<u64>,
    /// Write the plan to this file; the paths in it are relative to that file
    #[arg(long, value_name = "FILE.plan.json", value_hint = ValueHint::FilePath)]
    out: PathBuf,
    /// Overwrite the file of `--out` if it exists
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    outside: Outside,
}

/// Runs the command and gives the exit status.
pub(super) fn walk(arguments: &WalkArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &WalkArguments) -> Result<(), Vec<Fault>> {
    check_ending(&arguments.out, ".plan.json", "the names of plans end in `.plan.json`")?;
    check_out(&arguments.out, arguments.force)?;
    if !is_flow(&arguments.flow) {
        let help = "name a user flow (`*.flow.json`)";
        return Err(fault(arguments, "only a user flow has walks", help).into());
    }
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let loaded = load_flow(&arguments.flow, &mut settings, None)?;
    let screens = DecodedScreens::decode(&loaded.flow, &loaded.screens, cores())
        .map_err(|broken| faults_of_screens(&loaded.flow.head.source, &loaded.screens, broken))?;
    let map = FlowMap::new(&loaded.flow, &screens).map_err(|no_map| too_large(arguments, no_map))?;
    let walk = asked_walk(arguments, &loaded, &screens, &map)?;
    let picture_name = |screen: ScreenId| loaded.picture_name(screen);
    let words = words_of(&loaded.flow, &map, &walk, &picture_name);
    let text = text(arguments, &loaded, &screens, &map, &walk, &words);
    write_file(&arguments.out, |file| file.write_all(text.as_bytes()))?;
    tell_written(&arguments.out, &words).map_err(Vec::from)
}

fn asked_walk(
    arguments: &WalkArguments,
    loaded: &LoadedFlow,
    screens: &DecodedScreens,
    map: &FlowMap,
) -> Result<Walk, Fault> {
    let flow = &loaded.flow;
    if let Some(fingerprint) = &arguments.finding {
        return walk_to_finding(arguments, loaded, screens, fingerprint);
    }
    if let (Some(moves), Some(seed)) = (arguments.random, arguments.seed) {
        let asked = AskedWalk::AtRandom(moves as usize, seed);
        return map.walk(flow, screens, asked).ok_or_else(|| fault(arguments, "this flow has no walk", ""));
    }
    let name = arguments.to.as_deref().unwrap_or_default();
    let Some(state) = flow.states.iter().position(|state| state.name == name) else {
        let help = did_you_mean(name, flow.states.iter().map(|state| state.name.as_str()));
        return Err(fault(arguments, format!("there is no state `{name}`"), help));
    };
    let help = "`stillpage review` names the states that no walk reaches";
    let none = || fault(arguments, format!("no walk reaches the state `{name}`"), help);
    map.walk(flow, screens, AskedWalk::To(state)).ok_or_else(none)
}

fn walk_to_finding(
    arguments: &WalkArguments,
    loaded: &LoadedFlow,
    screens: &DecodedScreens,
    fingerprint: &str,
) -> Result<Walk, Fault> {
    let (selection, picture_name) = (Selection::default(), |screen: ScreenId| loaded.picture_name(screen));
    let flow = &loaded.flow;
    let task = FlowTask { flow, screens, selection: &selection, threads: cores(), picture_name: &picture_name };
    let reviewed = review_flow(&task, &mut |_, _| {}).map_err(|no_map| too_large(arguments, no_map))?;
    if let Some(walk) = reviewed.walks.get(fingerprint) {
        return Ok(walk.clone());
    }
    if reviewed.review.findings.iter().any(|finding| finding.fingerprint == fingerprint) {
        let message = format!("the finding {fingerprint} is about the whole flow, so no walk leads to it");
        return Err(fault(arguments, message, "name a finding that has a `walk` in the JSON report"));
    }
    let message = format!("the review of this flow has no finding with the fingerprint `{fingerprint}`");
    Err(fault(arguments, message, "take `fingerprint` from `stillpage review FLOW --format json`"))
}

fn text(
    arguments: &WalkArguments,
    loaded: &LoadedFlow,
    screens: &DecodedScreens,
    map: &FlowMap,
    walk: &Walk,
    words: &str,
) -> String {
    let flow = &loaded.flow;
    let fields = fields_of(flow);
    let (from, folder) = (real(folder_of(&arguments.out)), folder_of(&arguments.flow));
    let way = |name: &str| way_from(&from, &real(&folder.join(name)));
    let display = fields.get("display").and_then(Value::as_str).unwrap_or_default();
    let display = if shipped::text_of(display).is_some() { display.to_owned() } else { way(display) };
    let fonts = fields.get("fonts").and_then(Value::as_array).into_iter().flatten();
    let screens_folder = folder.join(fields.get("screens").and_then(Value::as_str).unwrap_or("."));
    let screen = |screen: ScreenId| way_from(&real(&screens_folder), &real(Path::new(&loaded.screens.path(screen))));
    let paths = PathsOfPlan {
        display,
        fonts: fonts.filter_map(Value::as_str).map(way).collect(),
        screens: way_from(&from, &real(&screens_folder)),
        screen: &screen,
    };
    let title = if flow.head.title.is_empty() { "A walk".into() } else { format!("{}, a walk", flow.head.title) };
    text_of_walk(flow, &walk.plan(flow, &map.graph, screens), &format!("{title}: {words}"), &paths)
}

fn too_large(arguments: &WalkArguments, no_map: NoMap) -> Fault {
    let (message, help) = no_map.words();
    fault(arguments, message, help)
}

fn fault(arguments: &WalkArguments, message: impl Into<String>, help: impl Into<String>) -> Fault {
    Fault::of_file(arguments.flow.display().to_string(), message, help)
}
