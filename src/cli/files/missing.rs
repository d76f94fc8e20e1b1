//! The message for a file or folder that does not exist: the nearest name next to it, or where it was looked for.

use std::{fs, io, path::Path};

use super::locations::{folder_of, shown_folder};
use crate::{
    plan::Trouble,
    source::{Fault, nearest_name},
};

pub(crate) fn no_such(path: &Path, error: &io::Error) -> Fault {
    let name = path.display().to_string();
    if error.kind() == io::ErrorKind::NotFound {
        let folder = folder_of(path);
        let wanted = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        return Fault::of_file(name, "there is no such file or folder", name_help(folder, &wanted));
    }
    Fault::of_file(name, format!("cannot be read: {error}"), "check the path and its rights")
}

pub(crate) fn trouble(message: impl Into<String>, help: impl Into<String>) -> Trouble {
    Trouble { message: message.into(), help: help.into() }
}

pub(crate) fn name_help_for(folder: &Path, name: &str) -> String {
    let path = folder.join(name);
    let folder = path.parent().unwrap_or(folder);
    name_help(folder, &path.file_name().unwrap_or_default().to_string_lossy())
}

/// The nearest names in a folder, as help for a name that does not exist.
pub(crate) fn name_help(folder: &Path, wanted: &str) -> String {
    let mut names: Vec<String> = match fs::read_dir(folder) {
        Ok(entries) => {
            entries.filter_map(Result::ok).map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
        }
        Err(_) => return format!("there is no folder {}", folder.display()),
    };
    names.sort();
    match nearest_name(wanted, names.iter().map(String::as_str)) {
        Some(name) => format!("did you mean `{name}`?"),
        None => format!("looked in {}", shown_folder(folder)),
    }
}
