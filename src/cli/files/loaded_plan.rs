//! A plan from the disk, with the screens that it shows and everything that its review depends on.

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
    reading::read_text,
    screens::{ForPanel, Frames, LoadedScreens},
};
use crate::{
    plan::{Plan, read_plan},
    review::BrokenScreen,
    screen::Faces,
    source::{Fault, Source, json::locate},
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
        let mut inputs = self.inputs.clone();
        let linked = self.screens.linked.lock().unwrap_or_else(PoisonError::into_inner);
        linked.iter().chain(&self.named).for_each(|file| inputs.add_file(file));
        inputs.whole()
    }
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
    let source = read_text(path)?;
    load_text(&source, path, settings, cache)
}

/// The same for a text that is in no file yet, as if it were at that path.
pub(crate) fn load_text(
    source: &Arc<Source>,
    path: &Path,
    settings: &mut SettingsStore,
    cache: Option<&Arc<DecodedCache>>,
) -> Result<LoadedPlan, Vec<Fault>> {
    let folder = folder_of(path).to_owned();
    let allowed = settings.allowed_for(&folder);
    let settings = settings.of_folder(&folder)?;
    let mut finder = Finder::new(folder, settings, allowed);
    let (plan, frames) = if is_trace(path) {
        let trace = read_trace(source, &mut finder)?;
        (trace.plan, Some(Frames { screens: trace.screens, cache: FrameCache::default() }))
    } else {
        (read_plan(source, &mut finder)?, None)
    };
    let cache = cache.map(|cache| (cache.clone(), surroundings(&plan, &finder.fonts)));
    let faces = Faces::new(finder.fonts).map_err(|_| {
        vec![Fault::of_file(
            &source.name,
            "a font file of this plan contains no font face",
            "name TrueType or OpenType fonts in `fonts`",
        )]
    })?;
    let ink = plan.display.ink.turned(plan.rotation);
    let mut inputs = finder.inputs;
    inputs.add_file(path);
    let panel = ForPanel { size: plan.screen_size(), ink, faces };
    let screens =
        LoadedScreens { files: finder.files, panel, allowed: finder.allowed, linked: Mutex::default(), frames, cache };
    Ok(LoadedPlan { plan, screens, inputs, named: finder.by_path.into_keys().collect() })
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
    let source = &loaded.plan.source;
    let pointers: Vec<&str> = broken.iter().map(|broken| broken.pointer.as_str()).collect();
    let spans = locate(source, &pointers);
    broken
        .into_iter()
        .zip(spans)
        .map(|(broken, span)| {
            let path = loaded.screens.path(broken.screen);
            Fault::at(source, span, format!("{path}: {}", broken.fault.message)).with_help(broken.fault.help)
        })
        .collect()
}
