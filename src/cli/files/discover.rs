//! Finding plans, traces and flows: searches the files and folders that a command names for those that no settings ignore.

use std::{
    collections::HashSet,
    fs,
    path::{Path, PathBuf},
};

use walkdir::WalkDir;

use super::{
    folder_settings::SettingsStore,
    locations::{is_flow, is_named, is_trace, natural_order, real, without_dot},
    missing::no_such,
    walking::{leads_outside, walk_fault},
};
use crate::source::{Fault, file_kinds::REVIEWED};

/// The plans that some paths name, and the faults on the way. They are sorted by name, whatever the order of the paths,
/// so that the same plans give the same bytes.
pub(crate) fn find_plans(paths: &[PathBuf], settings: &mut SettingsStore) -> (Vec<PathBuf>, Vec<Fault>) {
    let (mut plans, mut faults) = (Vec::new(), Vec::new());
    for path in paths {
        match fs::metadata(path) {
            Err(error) => faults.push(no_such(path, &error)),
            Ok(found) if found.is_dir() => walk(path, settings, &mut plans, &mut faults),
            Ok(_) => plans.push(path.clone()),
        }
    }
    let name = |path: &Path| without_dot(path.to_owned()).to_string_lossy().into_owned();
    let in_order = |one: &PathBuf, other: &PathBuf| natural_order(&name(one), &name(other));
    let shorter = |one: &PathBuf, other: &PathBuf| one.as_os_str().len().cmp(&other.as_os_str().len());
    plans.sort_by(|one, other| in_order(one, other).then(shorter(one, other)).then(one.cmp(other)));
    // A plan that is named twice, or by its folder too, is reviewed once.
    let mut known = HashSet::new();
    plans.retain(|path| known.insert(real(path)));
    (plans, faults)
}

const NAME_A_PLAN: &str = "name a plan (`*.plan.json`)";

/// Checks that a path is one plan, for a command that takes one: not a folder of plans, a trace or a flow.
pub(crate) fn check_is_one_plan(path: &Path) -> Result<(), Fault> {
    let found = fs::metadata(path).map_err(|error| no_such(path, &error))?;
    if found.is_dir() {
        let message = "this is a folder, but this command takes one plan";
        return Err(Fault::of_file(path.display().to_string(), message, NAME_A_PLAN));
    }
    if is_trace(path) {
        let message = "this is a trace of a device, but this command takes a plan";
        return Err(Fault::of_file(path.display().to_string(), message, NAME_A_PLAN));
    }
    if is_flow(path) {
        let help = "name a plan (`*.plan.json`); `stillpage walk` writes a walk through a flow as a plan";
        return Err(Fault::of_file(
            path.display().to_string(),
            "this is a user flow, but this command takes a plan",
            help,
        ));
    }
    Ok(())
}

fn walk(folder: &Path, settings: &mut SettingsStore, plans: &mut Vec<PathBuf>, faults: &mut Vec<Fault>) {
    let before = (plans.len(), faults.len());
    let mut ignored = 0;
    let allowed = settings.allowed_for(folder);
    let hidden = |entry: &walkdir::DirEntry| entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.');
    let mut entries =
        WalkDir::new(folder).follow_links(true).sort_by_file_name().into_iter().filter_entry(|entry| !hidden(entry));
    while let Some(entry) = entries.next() {
        let endings = REVIEWED.map(|ending| ending.trim_start_matches('.'));
        let outside = entry.as_ref().ok().and_then(|entry| leads_outside(entry, &allowed, &endings));
        match entry {
            Ok(entry) if outside.is_some() => {
                faults.extend(outside);
                if entry.file_type().is_dir() {
                    entries.skip_current_dir();
                }
            }
            Ok(entry) if entry.file_type().is_file() && is_reviewed(entry.path()) => {
                if settings.ignores(entry.path()) {
                    ignored += 1;
                } else {
                    plans.push(without_dot(entry.into_path()));
                }
            }
            Ok(_) => {}
            Err(error) => faults.push(walk_fault(folder, &error)),
        }
    }
    if (plans.len(), faults.len()) == before {
        let (message, help) = if ignored == 0 {
            (
                "there is no plan in this folder".to_owned(),
                "plans are named `*.plan.json`, traces `*.trace.jsonl`, user flows `*.flow.json`; name one, or a folder that contains one",
            )
        } else {
            let message = format!("settings make every plan in this folder ignored: {ignored}");
            (message, "name the plan itself, or change `ignore` in the `stillpage.settings.json` above it")
        };
        faults.push(Fault::of_file(folder.display().to_string(), message, help));
    }
}

/// Whether a file in a folder is a plan, a trace or a flow, by its name.
pub(crate) fn is_reviewed(path: &Path) -> bool {
    REVIEWED.iter().any(|ending| is_named(path, ending))
}
