//! Fonts on the disk: a file, or all files in a folder, each checked before it is used.

use std::{
    fs,
    path::{Path, PathBuf},
};

use super::{
    allowed_roots::AllowedRoots,
    locations::shown,
    missing::{name_help_for, trouble},
    reading::{LARGEST_TEXT, read_bytes},
};
use crate::{plan::Trouble, screen::Faces, source::Fault};

/// The faces of some fonts: for each a folder, and the path relative to it of a font file or of a folder of fonts.
pub(crate) fn read_faces<'p>(fonts: impl Iterator<Item = (&'p Path, &'p str)>) -> Result<Faces, Fault> {
    let mut brought = Vec::new();
    for (folder, path) in fonts {
        let read = read_fonts(folder, path, &AllowedRoots::everywhere());
        brought.extend(read.map_err(|trouble| Fault::of_file("", trouble.message, trouble.help))?);
    }
    Faces::new(brought)
        .map_err(|_| Fault::of_file("", "a font file contains no font", "name TrueType or OpenType fonts"))
}

/// The font file of that path, or the fonts of that folder.
pub(crate) fn read_fonts(folder: &Path, path: &str, allowed: &AllowedRoots) -> Result<Vec<Vec<u8>>, Trouble> {
    let full = folder.join(path);
    let files = if full.is_dir() { fonts_in(&full)? } else { vec![full] };
    if files.is_empty() {
        return Err(trouble(format!("there is no font in `{path}`"), "font files end in .ttf, .otf or .ttc"));
    }
    let read = |file: PathBuf| {
        allowed.check(&file, &shown(&file))?;
        let bytes = read_bytes(&file, LARGEST_TEXT)
            .map_err(|reason| trouble(format!("the font `{}`: {reason}", shown(&file)), name_help_for(folder, path)))?;
        match Faces::new(vec![bytes.clone()]) {
            Ok(_) => Ok(bytes),
            Err(_) => Err(trouble(
                format!("`{}` contains no font that can be read", shown(&file)),
                "name a TrueType or OpenType font",
            )),
        }
    };
    files.into_iter().map(read).collect()
}

/// The fonts in a folder, sorted.
pub(crate) fn fonts_in(folder: &Path) -> Result<Vec<PathBuf>, Trouble> {
    let entries = fs::read_dir(folder)
        .map_err(|error| trouble(format!("`{}` cannot be read: {error}", folder.display()), "check its rights"))?;
    let is_font = |path: &PathBuf| {
        let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        matches!(extension.as_str(), "ttf" | "otf" | "ttc")
    };
    let mut files: Vec<PathBuf> = entries.filter_map(Result::ok).map(|entry| entry.path()).filter(is_font).collect();
    files.sort();
    Ok(files)
}
