//! Finding what one plan names: its display, screens, fonts and settings. Knows paths and files, not what a plan does with
//! them.

use std::{collections::HashMap, fs, path::PathBuf};

use super::{
    allowed_roots::AllowedRoots,
    displays::load_display,
    fonts::read_fonts,
    inputs::Inputs,
    locations::{natural_order, shown, shown_folder},
    missing::{frame_help_for, name_help_for, trouble},
    patterns::{fixed_part, matching_files},
    reading::{LARGEST_SCREEN, read_bytes},
    screens::{ScreenFile, is_svg},
};
use crate::{
    display::Display,
    plan::{KnownRule, RuleSettings, ScreenId, Surroundings, Trouble},
    rules::known_rules,
    source::Fault,
    trace::FrameFiles,
};

/// Screens with fewer bytes are not compared with files under other names.
const SMALL_SCREEN: u64 = 4096;

/// Finds what one plan names.
pub(crate) struct Finder {
    folder: PathBuf,
    pub(crate) allowed: AllowedRoots,
    screens: PathBuf,
    pub(crate) files: Vec<ScreenFile>,
    pub(crate) by_path: HashMap<PathBuf, ScreenId>,
    /// Screens by the size of their files, to find those with the same content.
    by_length: HashMap<u64, Vec<ScreenId>>,
    hashes: HashMap<ScreenId, blake3::Hash>,
    pub(crate) fonts: Vec<Vec<u8>>,
    rules: Vec<KnownRule>,
    settings: RuleSettings,
    pub(crate) inputs: Inputs,
}

impl Finder {
    pub(crate) fn new(folder: PathBuf, settings: RuleSettings, allowed: AllowedRoots) -> Self {
        Self {
            allowed,
            screens: folder.clone(),
            folder,
            files: Vec::new(),
            by_path: HashMap::new(),
            by_length: HashMap::new(),
            hashes: HashMap::new(),
            fonts: Vec::new(),
            rules: known_rules(),
            settings,
            inputs: Inputs::default(),
        }
    }

    /// The number of a screen file; files with the same content share one.
    fn add(&mut self, path: PathBuf) -> Result<ScreenId, Trouble> {
        if let Some(known) = self.by_path.get(&path) {
            return Ok(*known);
        }
        let Some(is_svg) = is_svg(&path) else {
            return Err(trouble(
                format!("the name `{}` ends neither in `.png` nor in `.svg`", shown(&path)),
                "export the screen as `.png` or `.svg`",
            ));
        };
        let found = fs::metadata(&path)
            .map_err(|error| trouble(format!("`{}` cannot be read: {error}", shown(&path)), "check its rights"))?;
        let id = ScreenId(self.files.len());
        self.files.push(ScreenFile { path: path.clone(), is_svg });
        let same = self.same_content(id, found.len());
        let id = same.unwrap_or(id);
        if same.is_some() {
            self.files.pop();
        } else {
            self.by_length.entry(found.len()).or_default().push(id);
        }
        self.by_path.insert(path, id);
        Ok(id)
    }

    /// The number of a frame's file, whatever it contains; the bytes of a part say nothing of the screen.
    fn add_frame(&mut self, path: PathBuf) -> ScreenId {
        if let Some(known) = self.by_path.get(&path) {
            return *known;
        }
        let id = ScreenId(self.files.len());
        self.files.push(ScreenFile { path: path.clone(), is_svg: false });
        self.by_path.insert(path, id);
        id
    }

    /// A screen that was added before and has the same bytes and kind. Only files of the same length are read for this,
    /// and no small ones, because opening a file takes as long as decoding it.
    fn same_content(&mut self, id: ScreenId, length: u64) -> Option<ScreenId> {
        if length < SMALL_SCREEN {
            return None;
        }
        let others = self.by_length.get(&length)?.clone();
        let mine = self.hash(id)?;
        let kind = self.files[id.0].is_svg;
        let found =
            others.into_iter().find(|other| self.files[other.0].is_svg == kind && self.hash(*other) == Some(mine));
        self.hashes.remove(&id);
        if found.is_none() {
            self.hashes.insert(id, mine);
        }
        // An SVG may refer to pictures in its folder, so only in the same folder is it the same drawing.
        found.filter(|other| !kind || self.files[other.0].path.parent() == self.files[id.0].path.parent())
    }

    fn hash(&mut self, id: ScreenId) -> Option<blake3::Hash> {
        if let Some(known) = self.hashes.get(&id) {
            return Some(*known);
        }
        let bytes = read_bytes(&self.files[id.0].path, LARGEST_SCREEN).ok()?;
        let hash = blake3::hash(&bytes);
        self.hashes.insert(id, hash);
        Some(hash)
    }
}

impl Surroundings for Finder {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        load_display(name, &self.folder, 0, &mut self.inputs, &self.allowed)
    }

    fn screens_folder(&mut self, path: &str) -> Result<(), Trouble> {
        let folder = self.folder.join(path);
        self.allowed.check(&folder, path)?;
        if !folder.is_dir() {
            return Err(trouble(
                format!("there is no folder `{path}` next to the plan"),
                name_help_for(&self.folder, path),
            ));
        }
        self.screens = folder;
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        let full = self.screens.join(path);
        self.allowed.check(&full, path)?;
        if !full.is_file() {
            let what = if full.is_dir() { "is a folder, not a screen" } else { "is not there" };
            return Err(trouble(format!("the screen `{path}` {what}"), name_help_for(&self.screens, path)));
        }
        self.add(full)
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        self.inputs.add_folder(self.screens.join(fixed_part(pattern)));
        let mut matches = matching_files(&self.screens, pattern, &self.allowed)?;
        if matches.is_empty() {
            return Err(trouble(
                format!("no screen matches `{pattern}`"),
                format!("looked in {}; `*` does not match `/`", shown_folder(&self.screens)),
            ));
        }
        matches.sort_by(|one, other| natural_order(one, other));
        matches.into_iter().map(|name| self.add(self.screens.join(name))).collect()
    }

    fn font(&mut self, path: &str) -> Result<(), Trouble> {
        let full = self.folder.join(path);
        self.allowed.check(&full, path)?;
        if full.is_dir() {
            self.inputs.add_folder(full);
        } else {
            self.inputs.add_file(full);
        }
        self.fonts.extend(read_fonts(&self.folder, path, &self.allowed)?);
        Ok(())
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }

    fn settings(&self) -> RuleSettings {
        self.settings.clone()
    }
}

impl FrameFiles for Finder {
    fn frames_folder(&mut self, path: &str) -> Result<(), Trouble> {
        let folder = self.folder.join(path);
        self.allowed.check(&folder, path)?;
        if !folder.is_dir() {
            let message = format!("there is no folder `{path}` for the frames in the folder of the trace");
            let help = format!(
                "copy the frames of the device there, or correct `folder`: {}",
                name_help_for(&self.folder, path)
            );
            return Err(trouble(message, help));
        }
        self.screens = folder;
        Ok(())
    }

    fn frame(&mut self, path: &str) -> Result<usize, Trouble> {
        let full = self.screens.join(path);
        self.allowed.check(&full, path)?;
        if full.is_dir() {
            let help = "name a file, from the folder of the frames, such as `0001.raw`";
            return Err(trouble(format!("the frame `{path}` is a folder, not a file"), help));
        }
        if full.exists() && !full.is_file() {
            let help = "copy what it gives into a file";
            return Err(trouble(format!("the frame `{path}` is a pipe or a device, not a file"), help));
        }
        if !full.exists() {
            return Err(trouble(format!("the frame `{path}` is not there"), frame_help_for(&self.screens, path)));
        }
        Ok(self.add_frame(full).0)
    }
}
