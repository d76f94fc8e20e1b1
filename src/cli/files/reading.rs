//! Reading whole files, up to a size. Knows bytes and texts, not what they mean.

use std::{fs, io::Read, path::Path, sync::Arc};

use crate::source::{Fault, Source, text_of_bytes};

/// The largest text file that is read, bytes.
pub(crate) const LARGEST_TEXT: u64 = 64 << 20;

/// The largest PNG, bytes.
pub(crate) const LARGEST_SCREEN: u64 = 256 << 20;

/// The largest SVG, bytes: drawing it takes many times as much memory.
pub(crate) const LARGEST_DRAWING: u64 = 16 << 20;

pub(crate) fn read_text(path: &Path) -> Result<Arc<Source>, Fault> {
    let bytes = bytes_of_text(path)?;
    Ok(source_of(path, text_of_bytes(&path.display().to_string(), bytes)?))
}

/// What a device wrote line by line: its last line may be anything if it lost its power, so that bytes which are no text
/// stand as replacement characters in it.
pub(crate) fn read_recorded_text(path: &Path) -> Result<Arc<Source>, Fault> {
    let bytes = bytes_of_text(path)?;
    let text = String::from_utf8(bytes).unwrap_or_else(|error| String::from_utf8_lossy(error.as_bytes()).into_owned());
    Ok(source_of(path, text))
}

fn bytes_of_text(path: &Path) -> Result<Vec<u8>, Fault> {
    let fault = |reason| Fault::of_file(path.display().to_string(), reason, "check the file and its rights");
    read_bytes(path, LARGEST_TEXT).map_err(fault)
}

fn source_of(path: &Path, text: String) -> Arc<Source> {
    // A byte order mark is no part of the text.
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    Arc::new(Source::new(path.display().to_string(), text))
}

/// Whether a file begins with a byte order mark, which [`read_text`] leaves out.
pub(crate) fn has_mark(path: &Path) -> bool {
    let mut first = [0; "\u{feff}".len()];
    let read = fs::File::open(path).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && first == "\u{feff}".as_bytes()
}

pub(crate) fn read_bytes(path: &Path, largest: u64) -> Result<Vec<u8>, String> {
    let found = fs::metadata(path).map_err(|error| format!("cannot be read: {error}"))?;
    if !found.is_file() {
        return Err("this is not a file".into());
    }
    let too_large = |size: u64| Err(format!("the file has {} MB, more than {} MB", size >> 20, largest >> 20));
    if found.len() > largest {
        return too_large(found.len());
    }
    let mut bytes = Vec::with_capacity(found.len() as usize);
    // It may grow while it is read, and some system files do not report their size.
    let read = fs::File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes));
    match read {
        Err(error) => Err(format!("cannot be read: {error}")),
        Ok(size) if size as u64 > largest => too_large(size as u64),
        Ok(_) => Ok(bytes),
    }
}
