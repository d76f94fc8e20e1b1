//! A plan or a flow from the disk, with the screens that it shows and everything that its review depends on.

use std::{
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

use super::{
    decoded_cache::DecodedCache,
    discover::check_is_one_plan,
    finder::Finder,
    folder_settings::SettingsStore,
    inputs::Inputs,
    locations::{folder_of, is_trace, real},
    reading::{read_recorded_text, read_text},
    screens::{ForPanel, Frames, LoadedScreens},
};
use crate::{
    flow::{Flow, read_flow},
    plan::{Plan, ScreenId, read_plan},
    review::{BrokenScreen, MOST_BROKEN},
    rules::wording::counted,
    screen::Faces,
    source::{Fault, Source, Span, json::locate},
    trace::{FrameCache, read_trace},
};

/// A plan with the screens that it shows.
#[derive(Debug)]
pub(crate) struct LoadedPlan {
    pub(crate) plan: Plan,
    pub(crate) screens: LoadedScreens,
    inputs: Inputs,
    /// All screens by the paths that the plan names.
    named: Vec<PathBuf>,
}

impl LoadedPlan {
    /// Whether its review depends on a file; of the pictures in drawings, only those of drawings that were drawn count.
    pub(crate) fn reads(&self, file: &Path) -> bool {
        self.inputs().reads(&real(file))
    }

    /// What its review depends on; the pictures that its drawings refer to are known after they are drawn.
    pub(crate) fn inputs(&self) -> Inputs {
        with_pictures(&self.inputs, &self.screens, &self.named)
    }
}

/// A flow with the screens of its states.
#[derive(Debug)]
pub(crate) struct LoadedFlow {
    pub(crate) flow: Flow,
    pub(crate) screens: LoadedScreens,
    inputs: Inputs,
    named: Vec<PathBuf>,
}

impl LoadedFlow {
    /// The name of a picture's file.
    pub(crate) fn picture_name(&self, screen: ScreenId) -> String {
        let path = self.screens.path(screen);
        Path::new(&path).file_name().map_or(path.clone(), |name| name.to_string_lossy().into_owned())
    }

    /// What its review depends on, as of a plan.
    pub(crate) fn inputs(&self) -> Inputs {
        with_pictures(&self.inputs, &self.screens, &self.named)
    }
}

fn with_pictures(inputs: &Inputs, screens: &LoadedScreens, named: &[PathBuf]) -> Inputs {
    let mut inputs = inputs.clone();
    let linked = screens.linked.lock().unwrap_or_else(PoisonError::into_inner);
    linked.iter().chain(named).for_each(|file| inputs.add_file(file));
    inputs.whole()
}

/// Reads a flow and finds everything that it names.
pub(crate) fn load_flow(
    path: &Path,
    settings: &mut SettingsStore,
    cache: Option<&Arc<DecodedCache>>,
) -> Result<LoadedFlow, Vec<Fault>> {
    let source = read_text(path)?;
    let mut finder = finder_of(path, settings)?;
    let flow = read_flow(&source, &mut finder)?;
    let (screens, inputs, named) = found(&flow.head, finder, None, path, cache)?;
    Ok(LoadedFlow { flow, screens, inputs, named })
}

/// Reads a plan and finds everything that it names.
pub(crate) fn load_plan(path: &Path, settings: &mut SettingsStore) -> Result<LoadedPlan, Vec<Fault>> {
    check_is_one_plan(path)?;
    load_kept_plan(path, settings, None)
}

/// The same; pictures are kept in a cache if there is one.
pub(crate) fn load_kept_plan(
    path: &Path,
    settings: &mut SettingsStore,
    cache: Option<&Arc<DecodedCache>>,
) -> Result<LoadedPlan, Vec<Fault>> {
    let source = if is_trace(path) { read_recorded_text(path)? } else { read_text(path)? };
    let loaded = load_text(&source, path, settings, cache)?;
    // Where lines were lost, an update may have been among them.
    let is_whole = loaded.plan.recorded.as_ref().is_some_and(|recorded| recorded.broken.is_empty());
    if is_whole && loaded.plan.step_count == 0 {
        let message =
            "this trace has no record `update`: nothing was asked of the panel, so there is nothing to review";
        let help = "check that the device logs what it sends, or that the patterns for its log find it";
        return Err(Fault::of_file(&source.name, message, help).into());
    }
    Ok(loaded)
}

/// The same for a text that is in no file yet, as if it were at that path.
pub(crate) fn load_text(
    source: &Arc<Source>,
    path: &Path,
    settings: &mut SettingsStore,
    cache: Option<&Arc<DecodedCache>>,
) -> Result<LoadedPlan, Vec<Fault>> {
    let mut finder = finder_of(path, settings)?;
    let (plan, frames) = if is_trace(path) {
        let trace = read_trace(source, &mut finder)?;
        (trace.plan, Some(Frames { screens: trace.screens, cache: FrameCache::default() }))
    } else {
        (read_plan(source, &mut finder)?, None)
    };
    let (screens, inputs, named) = found(&plan, finder, frames, path, cache)?;
    Ok(LoadedPlan { plan, screens, inputs, named })
}

fn finder_of(path: &Path, settings: &mut SettingsStore) -> Result<Finder, Vec<Fault>> {
    let folder = folder_of(path).to_owned();
    let allowed = settings.allowed_for(&folder);
    let settings = settings.of_folder(&folder)?;
    Ok(Finder::new(folder, settings, allowed))
}

/// The screens that were found, what they depend on, and their paths.
fn found(
    plan: &Plan,
    finder: Finder,
    frames: Option<Frames>,
    path: &Path,
    cache: Option<&Arc<DecodedCache>>,
) -> Result<(LoadedScreens, Inputs, Vec<PathBuf>), Vec<Fault>> {
    let cache = cache.map(|cache| (cache.clone(), surroundings(plan, &finder.fonts)));
    let faces = Faces::new(finder.fonts).map_err(|_| {
        vec![Fault::of_file(
            &plan.source.name,
            "a font file of this plan contains no font",
            "name TrueType or OpenType fonts in `fonts`",
        )]
    })?;
    let ink = plan.display.ink.turned(plan.rotation);
    let mut inputs = finder.inputs;
    inputs.add_file(path);
    let panel = ForPanel { size: plan.screen_size(), ink, faces };
    let screens =
        LoadedScreens { files: finder.files, panel, allowed: finder.allowed, linked: Mutex::default(), frames, cache };
    Ok((screens, inputs, finder.by_path.into_keys().collect()))
}

/// A hash of everything that a picture is made from, except its file.
fn surroundings(plan: &Plan, fonts: &[Vec<u8>]) -> blake3::Hash {
    let mut hasher = blake3::Hasher::new();
    hasher.update(format!("{:?} {:?} {:?}", plan.screen_size(), plan.rotation, plan.display.ink).as_bytes());
    for font in fonts {
        hasher.update(blake3::hash(font).as_bytes());
    }
    hasher.finalize()
}

/// The broken screens as faults at the fields of the plan that show them.
pub(crate) fn screen_faults(loaded: &LoadedPlan, broken: Vec<BrokenScreen>) -> Vec<Fault> {
    faults_of_screens(&loaded.plan.source, &loaded.screens, broken)
}

/// The same of screens that a text names. A device stores all its frames in one way, so that one thing may be wrong with all
/// of them: a fault that frames share is reported once, with their number.
pub(crate) fn faults_of_screens(
    source: &Arc<Source>,
    screens: &LoadedScreens,
    broken: Vec<BrokenScreen>,
) -> Vec<Fault> {
    let is_all = broken.len() < MOST_BROKEN;
    let mut faulty: Vec<(BrokenScreen, u64)> = Vec::new();
    for broken in broken {
        let is_same = |(first, _): &&mut (BrokenScreen, u64)| {
            let [first, other] = [first, &broken].map(|broken| (&broken.fault.message, &broken.fault.help));
            screens.frames.is_some() && first == other
        };
        match faulty.iter_mut().find(is_same) {
            Some((_, others)) => *others += 1,
            None => faulty.push((broken, 0)),
        }
    }
    let pointers: Vec<&str> = faulty.iter().map(|(broken, _)| broken.pointer.as_str()).collect();
    let spans = locate(source, &pointers);
    let fault = |((broken, others), span): ((BrokenScreen, u64), Span)| {
        let at_least = if is_all { "" } else { "at least " };
        let others = match others {
            0 => String::new(),
            others => format!("; {at_least}{} the same fault", counted(others, "other frame has", "other frames have")),
        };
        let path = screens.path(broken.screen);
        Fault::at(source, span, format!("{path}: {}{others}", broken.fault.message)).with_help(broken.fault.help)
    };
    faulty.into_iter().zip(spans).map(fault).collect()
}
