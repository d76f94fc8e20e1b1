//! Leaves nothing behind if the program is stopped in the middle: incomplete files are removed, then the program ends
//! as if it had no handler.
//!
//! Only on unix; elsewhere, and if the program is killed, an unfinished file may remain under its hidden name.

use std::{
    collections::BTreeSet,
    fs, io,
    path::{Path, PathBuf},
    sync::{Mutex, MutexGuard, Once, PoisonError},
};

use tempfile::NamedTempFile;

/// The files that are being written, by the names that they have until they are complete.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file that is removed with the program as long as it is not finished.
#[derive(Debug)]
pub(super) struct Unfinished {
    path: PathBuf,
}

impl Unfinished {
    /// Begins a file under a hidden name in a folder.
    pub(super) fn begin(folder: &Path) -> io::Result<(NamedTempFile, Self)> {
        static LISTEN: Once = Once::new();
        LISTEN.call_once(listen);
        // The lock is held until the file is noted, so that it cannot be missed.
        let mut unfinished = unfinished();
        let file = NamedTempFile::new_in(folder)?;
        let path = file.path().to_owned();
        unfinished.insert(path.clone());
        Ok((file, Self { path }))
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        unfinished().remove(&self.path);
    }
}

/// From now on the usual way to end the program is a success: for a command that runs until somebody ends it, and that
/// writes no file.
#[cfg(unix)]
pub(super) fn end_in_peace() {
    use signal_hook::{
        consts::{SIGINT, SIGTERM},
        iterator::Signals,
    };
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    let wait = move || {
        if signals.forever().next().is_some() {
            std::process::exit(0);
        }
    };
    let _ = std::thread::Builder::new().name("signals".into()).spawn(wait);
}

#[cfg(not(unix))]
pub(super) fn end_in_peace() {}

/// Waits for a signal on a thread of its own.
#[cfg(unix)]
fn listen() {
    use signal_hook::{
        consts::{SIGINT, SIGTERM},
        iterator::Signals,
        low_level::emulate_default_handler,
    };
    // If no handler can be installed, everything works as without one.
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    let wait = move || {
        for signal in &mut signals {
            // The lock is held to the end, so that no more files are begun.
            let unfinished = unfinished();
            for file in &*unfinished {
                let _ = fs::remove_file(file);
            }
            let _ = emulate_default_handler(signal);
        }
    };
    let _ = std::thread::Builder::new().name("signals".into()).spawn(wait);
}

#[cfg(not(unix))]
fn listen() {}
