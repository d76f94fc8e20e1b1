//! The settings of folders: `stillpage.settings.json`, looked for in the folder of a plan and in all folders above it.

use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    sync::Arc,
};

use super::{
    allowed_roots::{AllowedRoots, Outside},
    locations::{real, way_from},
    reading::read_text,
};
use crate::{
    plan::{FolderSettings, KnownRule, RuleSettings, read_folder_settings, with_outer},
    rules::known_rules,
    source::{Fault, Source},
};

/// The name of the file.
pub(crate) const SETTINGS: &str = "stillpage.settings.json";

/// A folder and its settings.
type Said = (PathBuf, Arc<FolderSettings>);

/// The settings of the folders that were visited so far; each file is read once.
#[derive(Debug)]
pub(crate) struct SettingsStore {
    rules: Vec<KnownRule>,
    working_folder: PathBuf,
    /// Folders whose files the plans below them may read: those named on the command line, and the working folder.
    named: Vec<PathBuf>,
    outside: Outside,
    by_folder: BTreeMap<PathBuf, Result<Option<Arc<FolderSettings>>, Vec<Fault>>>,
}

impl SettingsStore {
    /// An empty cache; files are named relative to the working folder. `named` are the paths of the command line.
    pub(crate) fn new(working_folder: &str, named: &[PathBuf], outside: Outside) -> Self {
        let named = named.iter().map(PathBuf::as_path).chain([Path::new(".")]).map(real).collect();
        let working_folder = working_folder.into();
        Self { rules: known_rules(), working_folder, named, outside, by_folder: BTreeMap::new() }
    }

    /// Which files the plans of a folder may read: those in the folder, and in folders above it that are named, that
    /// are the working folder, or that have settings for it.
    pub(crate) fn allowed_for(&mut self, folder: &Path) -> AllowedRoots {
        // Settings that cannot be read are reported when their rules are needed.
        let said = self.chain(folder).unwrap_or_default();
        AllowedRoots::of(folder, self.named.iter().chain(said.iter().map(|(folder, _)| folder)), self.outside)
    }

    /// The settings for the plans of a folder: the nearest folder that sets a value decides.
    pub(crate) fn of_folder(&mut self, folder: &Path) -> Result<RuleSettings, Vec<Fault>> {
        let mut settings = RuleSettings::new();
        for (_, said) in self.chain(folder)? {
            settings = with_outer(settings, &said.rules);
        }
        Ok(settings)
    }

    /// Whether a plan is left out when a folder is searched.
    pub(crate) fn ignores(&mut self, plan: &Path) -> bool {
        let Ok(whole) = fs::canonicalize(plan) else { return false };
        // Settings that cannot be read ignore nothing: the plan is refused, with the reason.
        let chain = whole.parent().map_or(Ok(Vec::new()), |folder| self.chain(folder)).unwrap_or_default();
        chain.iter().any(|(folder, said)| {
            let below = whole.strip_prefix(folder).unwrap_or(&whole);
            let names: Vec<_> = below.components().map(|name| name.as_os_str().to_string_lossy()).collect();
            let below = names.join("/");
            said.ignore.iter().any(|pattern| pattern.is_match(&below))
        })
    }

    /// The files that were found so far.
    pub(crate) fn files(&self) -> impl Iterator<Item = PathBuf> {
        let found = self.by_folder.iter().filter(|(_, said)| !matches!(said, Ok(None)));
        found.map(|(folder, _)| folder.join(SETTINGS))
    }

    /// The settings of the folders above, the nearest first.
    fn chain(&mut self, folder: &Path) -> Result<Vec<Said>, Vec<Fault>> {
        let whole = real(folder);
        let mut chain = Vec::new();
        for folder in whole.ancestors() {
            if let Some(said) = self.said(folder)? {
                let is_outermost = said.is_outermost;
                chain.push((folder.to_owned(), said));
                if is_outermost {
                    break;
                }
            }
        }
        Ok(chain)
    }

    fn said(&mut self, folder: &Path) -> Result<Option<Arc<FolderSettings>>, Vec<Fault>> {
        if let Some(known) = self.by_folder.get(folder) {
            return known.clone();
        }
        let file = folder.join(SETTINGS);
        let said = if file.is_file() { self.read(&file).map(|said| Some(Arc::new(said))) } else { Ok(None) };
        self.by_folder.insert(folder.to_owned(), said.clone());
        said
    }

    fn read(&self, file: &Path) -> Result<FolderSettings, Vec<Fault>> {
        let folder = file.parent().unwrap_or(Path::new("."));
        let allowed = AllowedRoots::of(folder, &self.named, self.outside);
        allowed
            .check(file, SETTINGS)
            .map_err(|outside| Fault { file: file.display().to_string(), ..outside.into() })?;
        let text = read_text(file)?;
        let source = Source::new(way_from(&self.working_folder, file), text.text.clone());
        read_folder_settings(&Arc::new(source), &self.rules)
    }
}
