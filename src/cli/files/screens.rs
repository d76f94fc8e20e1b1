//! Screens on the disk: read, drawn for a panel, and kept if they appear again. Does not know when a plan shows them.

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
};

use super::{
    allowed_roots::AllowedRoots,
    decoded_cache::DecodedCache,
    locations::shown,
    reading::{LARGEST_DRAWING, LARGEST_SCREEN, read_bytes},
};
use crate::{
    change::pipeline::ScreenSource,
    display::Ink,
    geometry::Size,
    plan::ScreenId,
    screen::{Faces, Picture, ScreenFault, decode_png, draw_svg},
    trace::{FrameCache, FrameScreens},
};

/// The screen files of a plan.
#[derive(Debug)]
pub(crate) struct LoadedScreens {
    pub(crate) files: Vec<ScreenFile>,
    pub(crate) panel: ForPanel,
    /// Which folders the pictures of drawings may be in.
    pub(crate) allowed: AllowedRoots,
    /// The pictures that drawings referred to.
    pub(crate) linked: Mutex<BTreeSet<PathBuf>>,
    /// What screens are made from, if they are a device's frames.
    pub(crate) frames: Option<Frames>,
    /// Pictures that were drawn before, and a hash of everything that a picture is made from except its file.
    pub(crate) cache: Option<(Arc<DecodedCache>, blake3::Hash)>,
}

/// The frames of a trace.
#[derive(Debug)]
pub(crate) struct Frames {
    pub(crate) screens: FrameScreens,
    pub(crate) cache: FrameCache,
}

#[derive(Debug)]
pub(crate) struct ScreenFile {
    pub(crate) path: PathBuf,
    pub(crate) is_svg: bool,
}

impl LoadedScreens {
    /// The path of a screen as the user knows it.
    pub(crate) fn path(&self, screen: ScreenId) -> String {
        let file = self.frames.as_ref().map_or(screen.0, |frames| frames.screens.file_of(screen));
        shown(&self.files[file].path)
    }
}

impl ScreenSource for LoadedScreens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        if let Some(frames) = &self.frames {
            let read = |file: usize| screen_bytes(&self.files[file].path, false);
            return frames.screens.picture(screen, &self.panel.ink, &read, &frames.cache, buffer);
        }
        let file = &self.files[screen.0];
        let Some((cache, surroundings)) = &self.cache else {
            return read_screen(&file.path, file.is_svg, &self.allowed, &self.panel, buffer);
        };
        let bytes = screen_bytes(&file.path, file.is_svg)?;
        let mut hasher = blake3::Hasher::new();
        hasher.update(surroundings.as_bytes()).update(&[u8::from(file.is_svg)]).update(&bytes);
        let key = *hasher.finalize().as_bytes();
        if let Some(picture) = cache.get(&key) {
            return Ok(picture);
        }
        // A drawing with pictures in other files is made from more than its own file.
        let is_whole = AtomicBool::new(true);
        let see = |picture: &Path| {
            is_whole.store(false, Ordering::Relaxed);
            self.linked.lock().unwrap_or_else(PoisonError::into_inner).insert(picture.to_owned());
        };
        let drawing = Drawing { path: &file.path, is_svg: file.is_svg, allowed: &self.allowed, bytes: &bytes };
        let picture = draw_screen(&drawing, &self.panel, &see, buffer)?;
        if is_whole.load(Ordering::Relaxed) {
            cache.put(key, &picture);
        }
        Ok(picture)
    }
}

/// What a screen is read with: the panel as the reader sees it, and the faces that texts may use.
#[derive(Debug)]
pub(crate) struct ForPanel {
    pub(crate) size: Size,
    /// The panel's ink, turned as the reader sees it.
    pub(crate) ink: Ink,
    pub(crate) faces: Faces,
}

/// A screen's file, and the folders that the pictures in it may be in.
struct Drawing<'a> {
    path: &'a Path,
    is_svg: bool,
    allowed: &'a AllowedRoots,
    bytes: &'a [u8],
}

/// Reads a screen. Pictures that an SVG refers to must be in allowed folders.
pub(crate) fn read_screen(
    path: &Path,
    is_svg: bool,
    allowed: &AllowedRoots,
    panel: &ForPanel,
    buffer: Vec<u8>,
) -> Result<Picture, ScreenFault> {
    let bytes = screen_bytes(path, is_svg)?;
    draw_screen(&Drawing { path, is_svg, allowed, bytes: &bytes }, panel, &|_| {}, buffer)
}

fn screen_bytes(path: &Path, is_svg: bool) -> Result<Vec<u8>, ScreenFault> {
    read_bytes(path, if is_svg { LARGEST_DRAWING } else { LARGEST_SCREEN })
        .map_err(|reason| ScreenFault::new(reason, "check the file and its rights"))
}

/// Draws a screen; `see` is given each picture that it refers to.
fn draw_screen(
    drawing: &Drawing<'_>,
    panel: &ForPanel,
    see: &(dyn Fn(&Path) + Sync),
    buffer: Vec<u8>,
) -> Result<Picture, ScreenFault> {
    if !drawing.is_svg {
        return decode_png(drawing.bytes, panel.size, &panel.ink, buffer);
    }
    let folder = drawing.path.parent().unwrap_or(Path::new("."));
    let find_image = |href: &str| {
        see(&folder.join(href));
        find_image(href, folder, drawing.allowed)
    };
    draw_svg(drawing.bytes, panel.size, &panel.ink, &panel.faces, &find_image, buffer)
}

/// Whether a path is a screen by its name, and if so whether it is an SVG.
pub(crate) fn is_svg(path: &Path) -> Option<bool> {
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    ["png", "svg"].contains(&extension.as_str()).then_some(extension == "svg")
}

/// Reads a picture that an SVG refers to, if it is in an allowed folder.
fn find_image(href: &str, folder: &Path, allowed: &AllowedRoots) -> Result<Vec<u8>, String> {
    if href.contains("://") {
        return Err("nothing is fetched from the network".into());
    }
    let path = folder.join(href);
    let real = path.canonicalize().map_err(|error| format!("it cannot be read: {error}"))?;
    if allowed.check(&real, href).is_err() {
        return Err("it is outside the plan's folder, and `--allow-outside` was not given".into());
    }
    read_bytes(&real, LARGEST_SCREEN)
}
