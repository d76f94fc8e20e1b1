//! Watching for saved files: which folders are watched, and when a burst of changes is over. Knows no reviews; its caller
//! says which files matter.
//!
//! Folders are watched, not files: many programs save by putting a new file in the old one's place.

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
    sync::mpsc::{Receiver, RecvTimeoutError, channel},
    time::{Duration, Instant},
};

use notify::{
    Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher,
    event::{CreateKind, ModifyKind},
};
use walkdir::WalkDir;

use super::{
    files::{folder_of, real},
    telling::tell,
};
use crate::source::Fault;

/// After the time within which saves belong together, changes are over when nothing has come for so long.
const QUIET: Duration = Duration::from_millis(12);
/// Even if changes keep coming, they are reported after this time.
const LONGEST: Duration = Duration::from_millis(300);
/// In a folder that is put in its place, this many files are looked at.
const MOST_MOVED: usize = 10_000;

/// The folders that are watched.
pub(super) struct Watched {
    watcher: RecommendedWatcher,
    events: Receiver<notify::Result<Event>>,
    known: BTreeSet<PathBuf>,
    /// What was named: folders with all below them, or files.
    named: Vec<PathBuf>,
    /// Saves that follow the first one so soon belong to it: programs save several files at once.
    burst: Duration,
}

impl Watched {
    /// Watches what is named: folders with all below them, and the folders of files. Changes within `burst` are one.
    pub(super) fn new(named: &[PathBuf], burst: Duration) -> Result<Self, Fault> {
        let (sender, events) = channel();
        let watcher = notify::recommended_watcher(sender).map_err(|error| cannot_watch(Path::new("."), &error))?;
        let named: Vec<PathBuf> = named.iter().map(|path| real(path)).collect();
        let mut watched = Self { watcher, events, known: BTreeSet::new(), named, burst };
        watched.follow(BTreeSet::new());
        Ok(watched)
    }

    /// Watches these folders too, those above them up to one that holds something named, and again what was named: any
    /// of them may have been away.
    pub(super) fn follow(&mut self, folders: BTreeSet<PathBuf>) {
        for named in self.named.clone() {
            if named.is_dir() {
                self.watch(named.clone(), RecursiveMode::Recursive);
            }
            self.watch(folder_of(&named).to_owned(), RecursiveMode::NonRecursive);
        }
        for folder in folders {
            for above in folder.ancestors() {
                self.watch(above.to_owned(), RecursiveMode::NonRecursive);
                if self.named.iter().any(|named| named.starts_with(above)) {
                    break;
                }
            }
        }
    }

    fn watch(&mut self, folder: PathBuf, mode: RecursiveMode) {
        let is_inside = || self.named.iter().any(|named| self.known.contains(named) && folder.starts_with(named));
        if self.known.contains(&folder) || !folder.is_dir() || is_inside() {
            return;
        }
        match self.watcher.watch(&folder, mode) {
            Ok(()) => {
                self.known.insert(folder);
            }
            Err(error) => tell(&cannot_watch(&folder, &error)),
        }
    }

    /// Waits for a change that matters; returns everything that mattered and changed with it, and when the first of it did.
    pub(super) fn next(&mut self, matters: &dyn Fn(&Path) -> bool) -> (BTreeSet<PathBuf>, Instant) {
        let mut changed = BTreeSet::new();
        while changed.is_empty() {
            let Ok(event) = self.events.recv() else { return (changed, Instant::now()) };
            changed.extend(self.files_of(event, matters));
        }
        let begun = Instant::now();
        while begun.elapsed() < LONGEST {
            match self.events.recv_timeout(self.burst.saturating_sub(begun.elapsed()).max(QUIET)) {
                Ok(event) => changed.extend(self.files_of(event, matters)),
                Err(RecvTimeoutError::Timeout) if begun.elapsed() < self.burst => {}
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => break,
            }
        }
        (changed, begun)
    }

    /// The files that an event reports as changed, as far as they matter; reading a file is not a change.
    fn files_of(&mut self, event: notify::Result<Event>, matters: &dyn Fn(&Path) -> bool) -> Vec<PathBuf> {
        let Ok(event) = event else { return Vec::new() };
        let is_of_a_folder = match event.kind {
            EventKind::Access(_) | EventKind::Modify(ModifyKind::Metadata(_)) => return Vec::new(),
            EventKind::Create(CreateKind::File)
            | EventKind::Modify(ModifyKind::Data(_))
            | EventKind::Any
            | EventKind::Other => false,
            EventKind::Create(_) | EventKind::Remove(_) | EventKind::Modify(_) => true,
        };
        let mut files = Vec::new();
        for path in event.paths {
            if is_of_a_folder {
                self.forget(&path);
                // A folder that has nothing to do with this is not walked.
                if matters(&path) || self.named.iter().any(|named| path.starts_with(named)) {
                    files.extend(files_in(&path).filter(|file| matters(file)));
                }
            }
            if matters(&path) {
                files.push(path);
            }
        }
        files
    }

    /// A folder that is taken away or put back is watched anew: the system watches the folder and not its name.
    fn forget(&mut self, moved: &Path) {
        let gone: Vec<PathBuf> = self.known.iter().filter(|folder| folder.starts_with(moved)).cloned().collect();
        for folder in gone {
            // Where the folder is gone, the system has forgotten it already.
            let _ = self.watcher.unwatch(&folder);
            self.known.remove(&folder);
        }
    }
}

/// The files in a folder that was put in its place.
fn files_in(path: &Path) -> impl Iterator<Item = PathBuf> {
    let walked = path.is_dir().then(|| WalkDir::new(path).min_depth(1)).into_iter().flatten();
    walked.filter_map(Result::ok).map(walkdir::DirEntry::into_path).take(MOST_MOVED)
}

fn cannot_watch(folder: &Path, error: &notify::Error) -> Fault {
    Fault::of_file(
        folder.display().to_string(),
        format!("cannot be watched: {error}"),
        "review once, without `--watch` or `live`, or raise the number of files that your system lets a program watch",
    )
}
