//! Files whose names match a pattern, below the folder that the pattern starts from.

use std::{
    io,
    path::{Component, Path, PathBuf},
};

use walkdir::WalkDir;

use super::{allowed_roots::AllowedRoots, missing::trouble, walking::walk_fault};
use crate::{
    plan::Trouble,
    source::{Fault, pattern::Pattern},
};

/// The files below a folder whose path matches a pattern, relative to the folder, with `/` between names.
pub(crate) fn matching_files(folder: &Path, pattern: &str, allowed: &AllowedRoots) -> Result<Vec<String>, Trouble> {
    let relative = Path::new(pattern);
    if relative.components().any(|part| !matches!(part, Component::Normal(_) | Component::CurDir)) {
        return Err(trouble(
            format!("the pattern `{pattern}` leaves the folder of the screens"),
            "write it relative to `screens`",
        ));
    }
    let pattern = pattern.trim_start_matches("./");
    let glob = Pattern::new(pattern).map_err(|reason| {
        trouble(
            format!("the pattern `{pattern}` is wrong: {reason}"),
            "write a name in which `*` stands for any part \
            of it",
        )
    })?;
    // The folder part without wildcards is searched, no deeper than the pattern needs.
    let fixed = fixed_part(pattern);
    let depth = if pattern.contains("**") {
        usize::MAX
    } else {
        Path::new(pattern).components().count() - fixed.components().count()
    };
    let mut names = Vec::new();
    allowed.check(&folder.join(&fixed), &fixed.to_string_lossy())?;
    for entry in WalkDir::new(folder.join(&fixed)).follow_links(true).max_depth(depth) {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) if is_refused(&error) => return Err(walk_trouble(folder, &error)),
            // A file that does not exist matches nothing, and a folder in a circle of links is visited on the way to it.
            Err(_) => continue,
        };
        let Ok(relative) = entry.path().strip_prefix(folder) else { continue };
        if entry.path_is_symlink() && entry.file_type().is_dir() && entry.depth() < depth {
            // It would be searched, whatever it leads to.
            allowed.check(entry.path(), &relative.to_string_lossy())?;
        }
        if !entry.file_type().is_file() {
            continue;
        }
        let parts: Vec<String> =
            relative.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
        let name = parts.join("/");
        if glob.is_match(&name) && shows_dotted(pattern, &parts) {
            // The folder was checked on the way; only a link may lead out of it.
            if entry.path_is_symlink() {
                allowed.check(entry.path(), &name)?;
            }
            names.push(name);
        }
    }
    Ok(names)
}

fn is_refused(error: &walkdir::Error) -> bool {
    error.io_error().is_some_and(|error| error.kind() == io::ErrorKind::PermissionDenied)
}

fn walk_trouble(folder: &Path, error: &walkdir::Error) -> Trouble {
    let Fault { file, message, help, .. } = walk_fault(folder, error);
    trouble(format!("`{file}` {message}"), help.unwrap_or_default())
}

/// The folder part of a pattern that has no wildcards.
pub(crate) fn fixed_part(pattern: &str) -> PathBuf {
    let fixed: PathBuf = Path::new(pattern).components().take_while(|part| !has_wildcard(part)).collect();
    if fixed == Path::new(pattern) { fixed.parent().unwrap_or(Path::new("")).to_owned() } else { fixed }
}

/// Whether every part of a path that begins with a dot matches a part of the pattern that also begins with one.
fn shows_dotted(pattern: &str, parts: &[String]) -> bool {
    let wanted: Vec<&str> = pattern.split('/').collect();
    let same_depth = wanted.len() == parts.len();
    let dotted = parts.iter().enumerate().filter(|(_, part)| part.starts_with('.'));
    dotted.into_iter().all(|(at, _)| same_depth && wanted[at].starts_with('.'))
}

fn has_wildcard(part: &Component<'_>) -> bool {
    part.as_os_str().to_string_lossy().contains(['*', '?', '[', '{'])
}
