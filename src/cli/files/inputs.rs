//! What a review of a plan depends on: the files that it read, and the folders whose content it listed.

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
};

use super::{
    folder_settings::SETTINGS,
    locations::{folder_of, real},
};

/// What a review of a plan depends on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Inputs {
    files: BTreeSet<PathBuf>,
    /// Folders in which screens were looked for by a pattern: a new one matters too.
    folders: BTreeSet<PathBuf>,
    /// Whether something was missing, so that any change may supply it.
    is_incomplete: bool,
}

impl Inputs {
    /// The inputs of a plan that could not be read.
    pub(crate) fn of_refused(plan: &Path) -> Self {
        Self { files: BTreeSet::from([plan.to_owned()]), is_incomplete: true, ..Self::default() }
    }

    /// Adds a file.
    pub(crate) fn add_file(&mut self, file: impl Into<PathBuf>) {
        self.files.insert(file.into());
    }

    /// Adds a folder whose content was listed.
    pub(crate) fn add_folder(&mut self, folder: PathBuf) {
        self.folders.insert(folder);
    }

    /// The same with absolute paths: each file under its own path, and under the target of a link.
    pub(crate) fn whole(&self) -> Self {
        let way = |file: &PathBuf| file.file_name().map(|name| real(folder_of(file)).join(name));
        Self {
            files: self.files.iter().flat_map(|file| way(file).into_iter().chain([real(file)])).collect(),
            folders: self.folders.iter().map(|folder| real(folder)).collect(),
            is_incomplete: self.is_incomplete,
        }
    }

    /// Whether a file is among them; all paths must be absolute.
    pub(crate) fn reads(&self, file: &Path) -> bool {
        self.files.contains(file)
    }

    /// The folders in which a relevant change may happen.
    pub(crate) fn places(&self) -> BTreeSet<PathBuf> {
        let of_files = self.files.iter().map(|file| folder_of(file).to_owned());
        of_files.chain(self.folders.iter().cloned()).collect()
    }

    /// Whether a change of a file may change the review; all paths must be absolute.
    pub(crate) fn is_touched_by(&self, changed: &Path) -> bool {
        if self.is_incomplete || self.files.contains(changed) {
            return true;
        }
        // Settings apply to all plans below them, even if there were none before.
        let is_settings = changed.file_name().is_some_and(|name| name == SETTINGS);
        is_settings && self.files.iter().any(|file| file.starts_with(folder_of(changed)))
            || is_listed(changed) && self.folders.iter().any(|folder| changed.starts_with(folder))
    }
}

/// Whether a listing of screens or fonts may contain a file of that name. A file that is being written, also by this
/// program, has another name until it is complete.
fn is_listed(file: &Path) -> bool {
    let name = file.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    !name.starts_with('.') && matches!(ending, "png" | "svg" | "ttf" | "otf" | "ttc")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_was_read_or_listed_counts() {
        let mut inputs = Inputs::default();
        inputs.add_file("/quay/tide/a.plan.json");
        inputs.add_folder("/quay/tide/minutes".into());
        for (changed, counts) in [
            ("/quay/tide/a.plan.json", true),
            ("/quay/tide/b.plan.json", false),
            ("/quay/tide/minutes/new.png", true),
            ("/quay/tide/minutes/page.html", false),
            ("/quay/tide/minutes/.new.png", false),
            ("/quay/tide/minutes-of-old/new.png", false),
            ("/quay/stillpage.settings.json", true),
            ("/pier/stillpage.settings.json", false),
        ] {
            assert_eq!(inputs.is_touched_by(Path::new(changed)), counts, "{changed}");
        }
        assert!(Inputs::of_refused(Path::new("/quay/tide/a.plan.json")).is_touched_by(Path::new("/pier/x")));
    }
}
