//! Displays by their shipped name or their path, with the descriptions that they are based on and the drawing of their
//! segments.

use std::{path::Path, sync::Arc};

use super::{
    allowed_roots::{AllowedRoots, Outside},
    inputs::Inputs,
    locations::folder_of,
    missing::name_help_for,
    reading::{LARGEST_DRAWING, read_bytes, read_text},
};
use crate::{
    display::{Beside, Display, Segments, read_display, shipped},
    screen::draw_segments,
    source::{Fault, Source, did_you_mean},
};

/// At most this many descriptions may be based on each other.
const LONGEST_CHAIN: usize = 8;

/// Reads a display by its shipped name, or its path from the working folder, as the user names it.
pub(crate) fn load_named_display(name: &str, outside: Outside) -> Result<Display, Vec<Fault>> {
    load_display_with_inputs(name, outside, &mut Inputs::default())
}

/// The same, and adds every file that was read.
pub(crate) fn load_display_with_inputs(
    name: &str,
    outside: Outside,
    inputs: &mut Inputs,
) -> Result<Display, Vec<Fault>> {
    let here = Path::new(".");
    if shipped::text_of(name).is_some() {
        return load_display(name, here, 0, inputs, &AllowedRoots::everywhere());
    }
    // The description that it is based on in turn may be in the same folder.
    let allowed = AllowedRoots::of(folder_of(Path::new(name)), &[here.to_owned()], outside);
    read_display_file(name, here, 0, inputs, &allowed)
}

/// Reads a display by its shipped name or its path.
pub(crate) fn load_display(
    name: &str,
    folder: &Path,
    depth: usize,
    inputs: &mut Inputs,
    allowed: &AllowedRoots,
) -> Result<Display, Vec<Fault>> {
    if depth > LONGEST_CHAIN {
        return Err(vec![Fault::of_file(
            "",
            "the chain of descriptions that are based on each other is too long",
            "check whether `based_on` leads in a circle",
        )]);
    }
    if let Some(text) = shipped::text_of(name) {
        let source = Arc::new(Source::new(format!("the shipped display {name}"), text.to_owned()));
        return read_display(&source, &mut DisplayFolder { folder, depth, inputs, allowed });
    }
    allowed.check(&folder.join(name), name).map_err(Fault::from)?;
    read_display_file(name, folder, depth, inputs, allowed)
}

fn read_display_file(
    name: &str,
    folder: &Path,
    depth: usize,
    inputs: &mut Inputs,
    allowed: &AllowedRoots,
) -> Result<Display, Vec<Fault>> {
    let path = folder.join(name);
    if !path.is_file() {
        let help = if Path::new(name).extension().is_some_and(|extension| extension == "json") {
            name_help_for(folder, name)
        } else {
            format!(
                "{}; name a display of your own by its path, relative to this file",
                did_you_mean(name, shipped::names())
            )
        };
        return Err(vec![Fault::of_file("", format!("there is no display `{name}`"), help)]);
    }
    let source = read_text(&path)?;
    inputs.add_file(&path);
    let base_folder = path.parent().unwrap_or(folder);
    read_display(&source, &mut DisplayFolder { folder: base_folder, depth, inputs, allowed })
}

/// Files in the folder of a description, or files that come with the program.
struct DisplayFolder<'f> {
    folder: &'f Path,
    depth: usize,
    inputs: &'f mut Inputs,
    allowed: &'f AllowedRoots,
}

impl Beside for DisplayFolder<'_> {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        load_display(name, self.folder, self.depth + 1, self.inputs, self.allowed)
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        let file = self.folder.join(path);
        self.allowed.check(&file, path)?;
        // A copy of a shipped description finds the drawing that comes with the program, unless its own folder has one.
        let drawn = if let Some(text) = shipped::drawing_of(path).filter(|_| !file.is_file()) {
            draw_segments(text.as_bytes())
        } else if !file.exists() {
            let message = format!("there is no drawing `{path}` in the folder of this description");
            return Err(Fault::of_file("", message, name_help_for(self.folder, path)));
        } else {
            let bytes = read_bytes(&file, LARGEST_DRAWING).map_err(|reason| {
                Fault::of_file("", format!("the drawing `{path}` {reason}"), name_help_for(self.folder, path))
            })?;
            self.inputs.add_file(&file);
            draw_segments(&bytes)
        };
        drawn.map_err(|fault| Fault::of_file("", format!("`{path}`: {}", fault.message), fault.help))
    }
}
