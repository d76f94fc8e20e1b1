//! The message for a file or folder that does not exist: the nearest name next to it, or where it was looked for.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

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

/// Help for the name of a frame that does not exist: logs often leave out how the names of files end.
pub(crate) fn frame_help_for(folder: &Path, name: &str) -> String {
    let wanted = folder.join(name);
    let entries = fs::read_dir(folder_of(&wanted)).into_iter().flatten().filter_map(Result::ok);
    let files =
        entries.map(|file| PathBuf::from(file.file_name())).filter(|file| file.file_stem() == wanted.file_stem());
    let Some(file) = files.min() else {
        let help = name_help_for(folder, name);
        let more = "`folder` in the header's `frames` says in which folder the frames are";
        return if help.starts_with("looked in") { format!("{help}; {more}") } else { help };
    };
    let fix = match (wanted.extension(), file.extension()) {
        (None, Some(ending)) => {
            let ending = ending.to_string_lossy();
            format!(
                "write the whole name, or, for a log, `\"file_ending\": \".{ending}\"` into the description of its lines"
            )
        }
        (Some(_), None) => {
            "leave out the ending, which `file_ending` in a description of log lines may have added".to_owned()
        }
        _ => "correct the ending, which may come from `file_ending` in a description of log lines".to_owned(),
    };
    format!("there is `{}`: {fix}", file.display())
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
