//! Searching folders: which links are followed, and the message if a folder cannot be searched.

use std::path::Path;

use super::{allowed_roots::AllowedRoots, locations::shown};
use crate::source::Fault;

/// The fault of a link in a searched folder that leads to a folder outside, or to a file outside with one of the
/// endings: it is not followed.
pub(crate) fn leads_outside(entry: &walkdir::DirEntry, allowed: &AllowedRoots, endings: &[&str]) -> Option<Fault> {
    let name = entry.file_name().to_string_lossy().to_lowercase();
    let has =
        |ending: &&str| name.rsplit_once(ending).is_some_and(|(stem, rest)| stem.ends_with('.') && rest.is_empty());
    let counts = entry.file_type().is_dir() || endings.iter().any(has);
    if entry.depth() == 0 || !entry.path_is_symlink() || !counts {
        return None;
    }
    let outside = allowed.check(entry.path(), &shown(entry.path())).err()?;
    Some(Fault { file: entry.path().display().to_string(), ..outside.into() })
}

pub(crate) fn walk_fault(folder: &Path, error: &walkdir::Error) -> Fault {
    let path = error.path().unwrap_or(folder).display().to_string();
    if let Some(ancestor) = error.loop_ancestor() {
        return Fault::of_file(
            path,
            format!("this link leads in a circle, back to {}", ancestor.display()),
            "remove the link, or name the plans one by one",
        );
    }
    let reason = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
    Fault::of_file(path, format!("cannot be read: {reason}"), "check the path and its rights")
}
