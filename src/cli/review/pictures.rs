//! `review --pictures`: an annotated picture of every step with findings. The plan is played once more for them, so
//! that a review without pictures keeps nothing.

use std::{
    collections::BTreeMap,
    ops::ControlFlow,
    path::{Component, Path, PathBuf},
};

use crate::cli::{
    files::LoadedPlan,
    output::{make_folder, write_file},
};
use crate::{
    finding::Finding,
    panel::PlayedStep,
    report::picture,
    review::{Review, play_until},
    source::Fault,
};

/// Writes the pictures of a plan into a folder; gives the path of each by its step.
pub(super) fn write(
    folder: &Path,
    shown: &str,
    loaded: &LoadedPlan,
    review: &Review,
    threads: usize,
) -> Result<BTreeMap<u64, String>, Fault> {
    let mut by_step: BTreeMap<u64, Vec<&Finding>> = BTreeMap::new();
    for finding in review.findings.iter().filter(|finding| finding.is_of_a_step()) {
        by_step.entry(finding.step).or_default().push(finding);
    }
    make_folder(folder)?;
    let Some(last) = by_step.last_key_value().map(|(step, _)| *step) else { return Ok(BTreeMap::new()) };
    let mut result = Ok(());
    let played = play_until(&loaded.plan, &loaded.screens, threads, &mut |step: &PlayedStep<'_>| {
        if let Some(findings) = by_step.get(&step.planned.index) {
            let path = folder.join(file_name(shown, step.planned.index));
            result = draw(&path, loaded, step, findings);
        }
        if step.planned.index < last && result.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    });
    // The review played the same screens a moment ago; one that broke since then is a fault of its own.
    if let Err(broken) = played {
        let broken = &broken[0];
        return Err(Fault::of_file(
            loaded.screens.path(broken.screen),
            broken.fault.message.clone(),
            broken.fault.help.clone(),
        ));
    }
    let path = |step: u64| folder.join(file_name(shown, step)).display().to_string();
    result.map(|()| by_step.keys().map(|step| (*step, path(*step))).collect())
}

fn draw(path: &Path, loaded: &LoadedPlan, step: &PlayedStep<'_>, findings: &[&Finding]) -> Result<(), Fault> {
    let bytes = picture::draw(&loaded.plan, step, findings).map_err(|reason| {
        Fault::of_file(path.display().to_string(), format!("the picture cannot be drawn: {reason}"), "")
    })?;
    make_folder(path.parent().unwrap_or(Path::new(".")))?;
    write_file(path, |out| out.write_all(&bytes))
}

/// Where a picture goes: a folder for each plan, named as the plan's path is, and in it a file for each step.
fn file_name(shown: &str, step: u64) -> PathBuf {
    let stem = shown.strip_suffix(".plan.json").unwrap_or(shown);
    let parts = Path::new(stem).components().filter_map(|part| match part {
        Component::Normal(name) => Some(name.to_string_lossy().into_owned()),
        // Pictures never leave their folder.
        Component::ParentDir => Some("up".to_owned()),
        Component::Prefix(_) | Component::RootDir | Component::CurDir => None,
    });
    parts.collect::<PathBuf>().join(format!("step-{step:04}.png"))
}
