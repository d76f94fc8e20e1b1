//! The list of the pictures that `review --pictures` wrote into a folder. A later run takes away those that no longer hold:
//! only what stands in the list, and only while the file is still the one that was written.

use std::{
    collections::BTreeMap,
    fs,
    path::{Component, Path, PathBuf},
};

use serde::{Deserialize, Serialize};

use crate::cli::output::write_file;
use crate::source::Fault;

/// The name of the list in the folder.
pub(super) const LIST: &str = "pictures.json";
const FORMAT: &str = "drawn-pictures/1";

/// The list of a folder.
#[derive(Debug)]
pub(super) struct PictureList {
    folder: PathBuf,
    list: List,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    format: String,
    /// Of each plan the pictures, by their path in the folder, and the hash of what was written.
    plans: BTreeMap<String, BTreeMap<String, String>>,
}

impl PictureList {
    /// Reads the list of a folder; an empty one if there is none yet.
    pub(super) fn read(folder: &Path) -> Result<Self, Fault> {
        let file = folder.join(LIST);
        let list = match fs::read(&file) {
            Err(_) if !file.exists() => List { format: FORMAT.to_owned(), plans: BTreeMap::new() },
            Err(error) => return Err(unread(&file, &error.to_string())),
            Ok(bytes) => serde_json::from_slice(&bytes).map_err(|error| unread(&file, &error.to_string()))?,
        };
        if list.format != FORMAT {
            return Err(unread(&file, &format!("its format is not `{FORMAT}`")));
        }
        Ok(Self { folder: folder.to_owned(), list })
    }

    /// Sets the pictures of a plan to those that were just written, takes away the others that an earlier run wrote for
    /// it, and writes the list.
    pub(super) fn replace(mut self, plan: &str, written: &[PathBuf]) -> Result<(), Fault> {
        let names = written.iter().filter_map(|path| Some((path.to_str()?.to_owned(), self.hash(path)?)));
        let now: BTreeMap<String, String> = names.collect();
        let before = self.list.plans.remove(plan).unwrap_or_default();
        let gone = before.iter().filter(|(name, _)| !now.contains_key(*name));
        for (name, hash) in gone {
            let path = Path::new(name);
            if is_inside(path) && self.hash(path).as_ref() == Some(hash) {
                let file = self.folder.join(path);
                fs::remove_file(&file).map_err(|error| kept(&file, &error.to_string()))?;
            }
        }
        if !now.is_empty() {
            self.list.plans.insert(plan.to_owned(), now);
        } else if before.is_empty() {
            // Nothing was written, now or before.
            return Ok(());
        }
        write_file(&self.folder.join(LIST), |out| {
            serde_json::to_writer_pretty(&mut *out, &self.list)?;
            writeln!(out)
        })
    }

    /// The hash of a file in the folder; `None` if there is no such file.
    fn hash(&self, path: &Path) -> Option<String> {
        let file = self.folder.join(path);
        let is_file = fs::symlink_metadata(&file).is_ok_and(|found| found.is_file());
        let bytes = if is_file { fs::read(&file).ok()? } else { return None };
        Some(blake3::hash(&bytes).to_hex().to_string())
    }
}

/// Whether a path of a list leads to a place below its folder.
fn is_inside(path: &Path) -> bool {
    path.components().all(|part| matches!(part, Component::Normal(_)))
}

fn unread(file: &Path, reason: &str) -> Fault {
    let message = format!("the list of the pictures of an earlier run cannot be read: {reason}");
    let help = "remove this file; the pictures of earlier runs then stay until you remove them";
    Fault::of_file(file.display().to_string(), message, help)
}

fn kept(file: &Path, reason: &str) -> Fault {
    let message = format!("this picture of an earlier run no longer holds, but cannot be removed: {reason}");
    Fault::of_file(file.display().to_string(), message, "check its rights, or remove it yourself")
}
