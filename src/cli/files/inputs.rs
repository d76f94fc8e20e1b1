//! What a review of a plan depends on: the files that it read, and the folders whose content it listed.

use std::{
    collections::BTreeSet,
    ops::Bound,
    path::{Path, PathBuf},
};

use super::{
    folder_settings::SETTINGS,
    locations::{folder_of, real},
};
use crate::source::{Fault, file_kinds};

/// What a review of a plan depends on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Inputs {
    files: BTreeSet<PathBuf>,
    /// Folders in which screens were looked for by a pattern: a new one matters too.
    folders: BTreeSet<PathBuf>,
    /// If something was missing: the folders in which any file that a plan can name may supply it.
    homes: BTreeSet<PathBuf>,
}

impl Inputs {
    /// The inputs of a plan that could not be read, because of these faults. What is missing is expected beside the plan, or
    /// in the folder in which the program runs, if that holds the plan.
    pub(crate) fn of_refused(plan: &Path, faults: &[Fault]) -> Self {
        let named = faults.iter().map(|fault| PathBuf::from(&fault.file));
        let files = named.filter(|file| !file.as_os_str().is_empty()).chain([plan.to_owned()]).collect();
        let (own, working) = (real(folder_of(plan)), real(Path::new(".")));
        let homes = [Some(working).filter(|working| own.starts_with(working)), Some(own)];
        Self { files, homes: homes.into_iter().flatten().collect(), ..Self::default() }.whole()
    }

    /// The same, and what a review depended on that could be made before.
    pub(crate) fn and_of(mut self, before: &Self) -> Self {
        self.files.extend(before.files.iter().cloned());
        self.folders.extend(before.folders.iter().cloned());
        self
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
            homes: self.homes.clone(),
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

    /// Whether a change of a file may change the review, or a folder that is moved; all paths must be absolute.
    pub(crate) fn is_touched_by(&self, changed: &Path) -> bool {
        let is_or_holds = |paths: &BTreeSet<PathBuf>| {
            // What lies below a path follows it.
            paths
                .range::<Path, _>((Bound::Included(changed), Bound::Unbounded))
                .next()
                .is_some_and(|path| path.starts_with(changed))
        };
        if is_or_holds(&self.files) || is_or_holds(&self.folders) || self.may_be_supplied_by(changed) {
            return true;
        }
        // Settings apply to all plans below them, even if there were none before.
        let is_settings = changed.file_name().is_some_and(|name| name == SETTINGS);
        is_settings && self.files.iter().any(|file| file.starts_with(folder_of(changed)))
            || is_listed(changed) && self.folders.iter().any(|folder| changed.starts_with(folder))
    }

    /// Whether a file, or a folder that is put in its place, may bring what is missing. What this program writes is no such
    /// file: a review must not wake itself.
    fn may_be_supplied_by(&self, changed: &Path) -> bool {
        let name = changed.file_name().unwrap_or_default().to_string_lossy();
        let is_near = || self.homes.iter().any(|home| changed.starts_with(home));
        !name.starts_with('.') && is_near() && (file_kinds::is_input(&name) || changed.is_dir())
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
            // Folders that are moved.
            ("/quay/tide/minutes", true),
            ("/quay", true),
            ("/quay/tid", false),
            ("/quay/tide/minutes-of-old", false),
        ] {
            assert_eq!(inputs.is_touched_by(Path::new(changed)), counts, "{changed}");
        }
        let broken = Fault::of_file("/moor/panel.json", "a fault", "");
        let refused = Inputs::of_refused(Path::new("/quay/tide/a.plan.json"), &[broken]);
        for (changed, counts) in [
            ("/quay/tide/x.png", true),
            ("/quay/tide/screens/x.display.json", true),
            ("/moor/panel.json", true),
            ("/pier/x.png", false),
            ("/quay/tide/page.html", false),
            ("/quay/tide/found.json", false),
            ("/quay/tide/.x.png", false),
        ] {
            assert_eq!(refused.is_touched_by(Path::new(changed)), counts, "{changed}");
        }
    }
}
