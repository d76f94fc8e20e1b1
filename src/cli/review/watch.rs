//! `review --watch`: keeps running, and reviews again what a changed file affects.
//!
//! Folders are watched, not files: many programs save by putting a new file in the old one's place.

use std::{
    collections::BTreeSet,
    io::{self, IsTerminal, Write},
    path::{Path, PathBuf},
    sync::mpsc::{Receiver, RecvTimeoutError, channel},
    time::{Duration, Instant},
};

use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher, event::ModifyKind};

use super::{
    arguments::{Format, ReviewArguments},
    review_run::{Before, ReviewRun, Task},
    writing::{write_files, write_report},
};
use crate::cli::{
    files::{is_reviewed, real},
    output::write_out,
    telling::{output_style, tell},
};
use crate::{report::text, rules::wording::counted as count, source::Fault};

/// A save may come in several events; it is over when nothing has come for so long.
const QUIET: Duration = Duration::from_millis(12);
/// Even if changes keep coming, a new review begins after this time.
const LONGEST: Duration = Duration::from_millis(300);

/// Reviews again after every change, without end.
pub(super) fn watch(task: &Task<'_>) -> Result<u8, Vec<Fault>> {
    let mut watched = Watched::new().map_err(|error| vec![cannot_watch(Path::new("."), &error)])?;
    // Changes during the first round are noticed too.
    watched.add_walked(&task.arguments.paths);
    let mut run = task.run(None)?;
    report(task, &mut run, None)?;
    watched.add(&run);
    say(&format!("watching {}: change a plan, a screen or a display; Ctrl-C ends", plans(run.report.plans.len())));
    loop {
        let changed = watched.next(&run, task.arguments);
        let begun = Instant::now();
        let before = Before { run, changed: &changed };
        run = match task.run(Some(before)) {
            Ok(run) => run,
            Err(faults) => {
                faults.iter().for_each(tell);
                say("waiting for a change that fixes it");
                watched.wait_for_any();
                task.run(None)?
            }
        };
        watched.add(&run);
        report(task, &mut run, Some((&changed, begun)))?;
    }
}

fn plans(number: usize) -> String {
    count(number as u64, "plan", "plans")
}

/// Prints what is new, and writes the files whole.
fn report(
    task: &Task<'_>,
    run: &mut ReviewRun,
    again: Option<(&BTreeSet<PathBuf>, Instant)>,
) -> Result<(), Vec<Fault>> {
    let arguments = task.arguments;
    let is_shown = |at: usize| again.is_none() || run.is_new(at);
    let style = text::TextStyle { detail: arguments.detail(), ..output_style() };
    let print = |out: &mut dyn Write| match arguments.format {
        Format::Text => text::write_some(&run.report, &is_shown, style, out),
        format => write_report(&run.report, format, Path::new(""), style, out),
    };
    let printed = if arguments.out.is_none() { write_out(print) } else { Ok(()) };
    printed?;
    if let Some((changed, begun)) = again {
        let reviewed = (0..run.report.plans.len()).filter(|at| run.is_new(*at)).count();
        let of = plans(run.report.plans.len());
        say(&format!("{}: {reviewed} of {of} reviewed again in {} ms", names(changed), begun.elapsed().as_millis()));
    }
    write_files(arguments, run).map_err(Vec::from)
}

/// The names of some files, in few words.
fn names(changed: &BTreeSet<PathBuf>) -> String {
    let mut names = changed.iter().filter_map(|file| file.file_name()).map(|name| name.to_string_lossy());
    let first = names.next().unwrap_or_default();
    match names.count() {
        0 => format!("{first} changed"),
        more => format!("{first} and {} changed", count(more as u64, "more file", "more files")),
    }
}

fn say(words: &str) {
    let mark = if io::stderr().is_terminal() { "-- " } else { "" };
    let _ = writeln!(io::stderr(), "{mark}{words}");
}

/// The folders that are watched.
struct Watched {
    watcher: RecommendedWatcher,
    events: Receiver<notify::Result<Event>>,
    known: BTreeSet<PathBuf>,
}

impl Watched {
    fn new() -> notify::Result<Self> {
        let (sender, events) = channel();
        Ok(Self { watcher: notify::recommended_watcher(sender)?, events, known: BTreeSet::new() })
    }

    /// Watches the folders that are walked for plans, with all below them, and those of named plans.
    fn add_walked(&mut self, paths: &[PathBuf]) {
        for path in paths {
            if path.is_dir() {
                self.add_folder(real(path), RecursiveMode::Recursive);
            } else if let Some(folder) = real(path).parent() {
                self.add_folder(folder.to_owned(), RecursiveMode::NonRecursive);
            }
        }
    }

    /// Watches what a round depends on.
    fn add(&mut self, run: &ReviewRun) {
        for folder in run.places() {
            self.add_folder(folder, RecursiveMode::NonRecursive);
        }
    }

    fn add_folder(&mut self, folder: PathBuf, mode: RecursiveMode) {
        if !folder.is_dir() || self.known.contains(&folder) {
            return;
        }
        match self.watcher.watch(&folder, mode) {
            Ok(()) => {
                self.known.insert(folder);
            }
            Err(error) => tell(&cannot_watch(&folder, &error)),
        }
    }

    /// Waits for a relevant change; returns everything that changed with it.
    fn next(&self, run: &ReviewRun, arguments: &ReviewArguments) -> BTreeSet<PathBuf> {
        loop {
            let changed = self.changes();
            let matters =
                |file: &PathBuf| !is_output(file, arguments) && (run.is_touched_by(file) || is_reviewed(file));
            let changed: BTreeSet<PathBuf> = changed.into_iter().filter(matters).collect();
            if !changed.is_empty() {
                return changed;
            }
        }
    }

    fn wait_for_any(&self) {
        while self.changes().is_empty() {}
    }

    /// Waits for a change, and collects those that follow it.
    fn changes(&self) -> BTreeSet<PathBuf> {
        let mut changed = BTreeSet::new();
        let Ok(event) = self.events.recv() else { return changed };
        let begun = Instant::now();
        changed.extend(files_of(event));
        while begun.elapsed() < LONGEST {
            match self.events.recv_timeout(QUIET) {
                Ok(event) => changed.extend(files_of(event)),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => break,
            }
        }
        changed
    }
}

/// The files that an event reports as changed; reading a file is not a change.
fn files_of(event: notify::Result<Event>) -> Vec<PathBuf> {
    let Ok(event) = event else { return Vec::new() };
    match event.kind {
        EventKind::Access(_) | EventKind::Modify(ModifyKind::Metadata(_)) => Vec::new(),
        _ => event.paths,
    }
}

/// Whether this program writes the file: its own reports must not start a new round.
fn is_output(file: &Path, arguments: &ReviewArguments) -> bool {
    let also = arguments.also.iter().map(|(_, file)| file);
    let outputs = arguments.out.iter().chain(&arguments.html).chain(&arguments.write_known).chain(also);
    outputs.into_iter().any(|output| real(output) == file)
        || arguments.pictures.iter().any(|folder| file.starts_with(real(folder)))
}

fn cannot_watch(folder: &Path, error: &notify::Error) -> Fault {
    Fault::of_file(
        folder.display().to_string(),
        format!("cannot be watched: {error}"),
        "review without `--watch`, or raise the number of files that your system lets a program watch",
    )
}
