//! Which files a plan may read: the files that it names, and those that they name in turn, must be inside a few folders
//! after all links are followed. So a plan from a stranger cannot make the program read files that did not come with
//! it.
//!
//! Knows folders, not their content. A file that the user names is never checked here.

use std::path::{Path, PathBuf};

use clap::Args;

use super::locations::real;
use crate::{plan::Trouble, source::Fault};

/// How to fix a refusal.
const HELP: &str = "move it inside; or run the command in a folder above both, or name that folder on the command line; or, only if you \
                    trust these files, add `--allow-outside`";

/// The option of every command that reads plans or descriptions.
#[derive(Clone, Copy, Debug, Default, Args)]
pub(crate) struct Outside {
    /// Let plans and displays name files outside their own folder; use this only for files that you trust
    #[arg(long)]
    pub(crate) allow_outside: bool,
}

/// The folders that a plan may reach into.
#[derive(Clone, Debug)]
pub(crate) struct AllowedRoots {
    /// Without links; `None` if everything is allowed.
    folders: Option<Vec<PathBuf>>,
}

/// The message about a file that is outside.
#[derive(Debug)]
pub(crate) struct IsOutside {
    message: String,
}

impl AllowedRoots {
    /// Every file.
    pub(crate) fn everywhere() -> Self {
        Self { folders: None }
    }

    /// A folder, and those of the `wider` folders that contain it.
    pub(crate) fn of<'w>(folder: &Path, wider: impl IntoIterator<Item = &'w PathBuf>, outside: Outside) -> Self {
        if outside.allow_outside {
            return Self::everywhere();
        }
        let own = real(folder);
        // The root of the file system never counts as a project, even if the program runs there.
        let holds = |wider: &PathBuf| own.starts_with(wider) && wider.parent().is_some();
        let wider: Vec<PathBuf> = wider.into_iter().map(|wider| real(wider)).filter(holds).collect();
        Self { folders: Some(std::iter::once(own).chain(wider).collect()) }
    }

    /// Whether a file or folder may be read. Whether it exists is for the caller to check.
    pub(crate) fn check(&self, path: &Path, named: &str) -> Result<(), IsOutside> {
        let Some(folders) = &self.folders else { return Ok(()) };
        // For a path that does not exist, the nearest folder above it that does.
        let there = path.ancestors().find_map(|path| Some((path, path.canonicalize().ok()?)));
        let Some((path, place)) = there else { return Ok(()) };
        if folders.iter().any(|folder| place.starts_with(folder)) {
            return Ok(());
        }
        // The outermost folder is enough, because it contains the others.
        let widest = folders.iter().min_by_key(|folder| folder.as_os_str().len());
        let widest = widest.map(|folder| folder.display().to_string()).unwrap_or_default();
        let in_full = if path.components().collect::<PathBuf>() == place {
            String::new()
        } else {
            format!(" ({})", place.display())
        };
        Err(IsOutside {
            message: format!("`{named}`{in_full} is outside the folder {widest}, and only files inside it are read"),
        })
    }
}

impl From<IsOutside> for Trouble {
    fn from(outside: IsOutside) -> Self {
        Self { message: outside.message, help: HELP.into() }
    }
}

impl From<IsOutside> for Fault {
    fn from(outside: IsOutside) -> Self {
        Self::of_file("", outside.message, HELP)
    }
}
