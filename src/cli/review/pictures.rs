//! `review --pictures`: an annotated picture of the steps with findings, the worst and newest first where there are too
//! many. The plan is played once more for them, so that a review without pictures keeps nothing. They are compressed and
//! written while the plan is played.

use std::{
    cmp::Reverse,
    collections::BTreeMap,
    ops::ControlFlow,
    path::{Component, Path, PathBuf},
    sync::{Arc, Mutex, PoisonError, mpsc},
    thread,
};

use super::picture_list::PictureList;
use crate::cli::{
    files::LoadedPlan,
    output::{make_folder, write_file},
};
use crate::{
    finding::Finding,
    panel::PlayedStep,
    report::picture::{self, Drawn},
    review::{Review, play_without_ghosts_until},
    source::{Fault, file_kinds::output_name},
};

/// At most this many threads compress pictures, in addition to the one that plays and draws: compressing takes about as
/// long as drawing.
const MOST_PACKERS: usize = 4;

/// Where the pictures of a plan go, and how many there may be.
pub(super) struct Asked<'a> {
    pub(super) folder: &'a Path,
    /// The name of the plan in the folder.
    pub(super) name: &'a str,
    pub(super) limit: usize,
}

/// The pictures of a plan.
pub(super) struct Pictures {
    /// The path of each by its step.
    pub(super) paths: BTreeMap<u64, String>,
    /// What was left out, in words.
    pub(super) left_out: Option<String>,
}

/// Writes the pictures of a plan into a folder, and takes away those of an earlier run that no longer hold.
pub(super) fn write(
    asked: &Asked<'_>,
    loaded: &LoadedPlan,
    review: &Review,
    threads: usize,
) -> Result<Pictures, Fault> {
    let mut by_step: BTreeMap<u64, Vec<&Finding>> = BTreeMap::new();
    for finding in review.findings.iter().filter(|finding| finding.is_of_a_step()) {
        by_step.entry(finding.step_to_look_at()).or_default().push(finding);
    }
    let steps = by_step.len();
    keep_the_worst(&mut by_step, asked.limit);
    make_folder(asked.folder)?;
    // A broken list is reported before anything is drawn.
    let list = PictureList::read(asked.folder)?;
    draw(asked, loaded, &by_step, threads)?;
    let names: Vec<PathBuf> = by_step.keys().map(|step| file_name(asked.name, *step)).collect();
    list.replace(asked.name, &names)?;
    let path = |name: &PathBuf| asked.folder.join(name).display().to_string();
    let left_out = (steps > by_step.len()).then(|| {
        format!(
            "pictures of {} of the {steps} steps with findings: `--pictures-limit {steps}` draws them all",
            steps - by_step.len()
        )
    });
    Ok(Pictures { paths: by_step.keys().copied().zip(names.iter().map(path)).collect(), left_out })
}

/// Keeps so many steps: those with new findings, and of these the ones with the worst, then the earliest.
fn keep_the_worst(by_step: &mut BTreeMap<u64, Vec<&Finding>>, limit: usize) {
    let rank = |findings: &[&Finding]| findings.iter().map(|finding| (finding.is_open(), finding.severity)).max();
    let mut ranked: Vec<_> = by_step.iter().map(|(step, findings)| (Reverse(rank(findings)), *step)).collect();
    ranked.sort_unstable();
    for (_, step) in ranked.into_iter().skip(limit) {
        by_step.remove(&step);
    }
}

/// Draws some steps with their findings.
fn draw(
    asked: &Asked<'_>,
    loaded: &LoadedPlan,
    by_step: &BTreeMap<u64, Vec<&Finding>>,
    threads: usize,
) -> Result<(), Fault> {
    let Some(last) = by_step.last_key_value().map(|(step, _)| *step) else { return Ok(()) };
    let (played, result) = with_packers(threads, |pack| {
        let mut result = Ok(());
        let played = play_without_ghosts_until(&loaded.plan, &loaded.screens, threads, &mut |step: &PlayedStep<'_>| {
            if let Some(findings) = by_step.get(&step.planned.index) {
                let path = asked.folder.join(file_name(asked.name, step.planned.index));
                result = picture::draw(&loaded.plan, step, findings)
                    .map_err(|reason| undrawn(&path, &reason))
                    .and_then(|drawn| pack(path, drawn));
            }
            if step.planned.index < last && result.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        });
        (played, result)
    });
    // The review played the same screens a moment ago; a screen that broke since then is a separate fault.
    if let Err(broken) = played {
        let broken = &broken[0];
        return Err(Fault::of_file(
            loaded.screens.path(broken.screen),
            broken.fault.message.clone(),
            broken.fault.help.clone(),
        ));
    }
    result
}

/// Delivers a drawn picture.
type Pack<'p> = dyn FnMut(PathBuf, Drawn) -> Result<(), Fault> + 'p;

/// Plays and draws, while other threads compress and write the pictures. Each has one picture at a time, and none is
/// queued, so memory is bounded by their number.
fn with_packers<P>(
    threads: usize,
    play: impl FnOnce(&mut Pack<'_>) -> (P, Result<(), Fault>),
) -> (P, Result<(), Fault>) {
    let (send, receive) = mpsc::sync_channel::<(PathBuf, Drawn)>(0);
    let receive = Arc::new(Mutex::new(receive));
    thread::scope(|scope| {
        let spawn = |_| {
            let receive = Arc::clone(&receive);
            thread::Builder::new().spawn_scoped(scope, move || packer(&receive)).ok()
        };
        let packers: Vec<_> = (1..threads.min(MOST_PACKERS + 1)).filter_map(spawn).collect();
        // When the last packer ends, so does the channel, and nobody waits for one that failed.
        drop(receive);
        let (played, mut result) = if packers.is_empty() {
            // If no thread can be started, or none is wanted, the player compresses.
            play(&mut |path, drawn| pack(&path, drawn))
        } else {
            play(&mut |path, drawn| {
                // If no packer is left, all have failed: this is reported when they are joined.
                let _ = send.send((path, drawn));
                Ok(())
            })
        };
        drop(send);
        for packer in packers {
            // A thread that failed is a bug in the program, and no picture may be missing silently.
            let packed = packer.join().unwrap_or_else(|cause| std::panic::resume_unwind(cause));
            result = result.and(packed);
        }
        (played, result)
    })
}

/// Packs pictures for as long as some are sent.
fn packer(receive: &Mutex<mpsc::Receiver<(PathBuf, Drawn)>>) -> Result<(), Fault> {
    let next = || receive.lock().unwrap_or_else(PoisonError::into_inner).recv();
    let mut result = Ok(());
    while let Ok((path, drawn)) = next() {
        result = result.and_then(|()| pack(&path, drawn));
    }
    result
}

fn pack(path: &Path, drawn: Drawn) -> Result<(), Fault> {
    let bytes = drawn.pack().map_err(|reason| undrawn(path, &reason))?;
    make_folder(path.parent().unwrap_or(Path::new(".")))?;
    write_file(path, |out| out.write_all(&bytes))
}

fn undrawn(path: &Path, reason: &str) -> Fault {
    Fault::of_file(path.display().to_string(), format!("the picture cannot be drawn: {reason}"), "")
}

/// Where a picture goes: a folder for each plan, named as the plan's path is, and in it a file for each step.
fn file_name(shown: &str, step: u64) -> PathBuf {
    let stem = output_name(shown);
    let parts = Path::new(&stem).components().filter_map(|part| match part {
        Component::Normal(name) => Some(name.to_string_lossy().into_owned()),
        // Pictures never leave their folder.
        Component::ParentDir => Some("up".to_owned()),
        Component::Prefix(_) | Component::RootDir | Component::CurDir => None,
    });
    parts.collect::<PathBuf>().join(format!("step-{step:04}.png"))
}
