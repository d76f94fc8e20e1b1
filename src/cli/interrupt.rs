//! What is left behind where the program is stopped in the middle: nothing. Files that are not whole yet are taken away,
//! then the program ends as if it had never listened.
//!
//! On unix only; elsewhere, and where the program is killed outright, an unfinished file may stay under its hidden name.

use std::{
    collections::BTreeSet,
    fs, io,
    path::{Path, PathBuf},
    sync::{Mutex, MutexGuard, Once, PoisonError},
};

use tempfile::NamedTempFile;

/// The files that are being written, by the names that they have until they are whole.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file that goes away with the program as long as it is not finished.
#[derive(Debug)]
pub(super) struct Unfinished {
    path: PathBuf,
}

impl Unfinished {
    /// Begins a file under a hidden name in a folder.
    pub(super) fn begin(folder: &Path) -> io::Result<(NamedTempFile, Self)> {
        static LISTEN: Once = Once::new();
        LISTEN.call_once(listen);
        // Held until the file is noted: it must not be missed in between.
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

/// Waits for a signal on a thread of its own.
#[cfg(unix)]
fn listen() {
    use signal_hook::{
        consts::{SIGINT, SIGTERM},
        iterator::Signals,
        low_level::emulate_default_handler,
    };
    // Where nothing can be listened to, all is as before.
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    let wait = move || {
        for signal in &mut signals {
            // Held to the end: nothing more may begin.
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
