//! Paths as they are written and as they really are: without links, relative to a folder, in natural order. Reads no
//! file.

use std::path::{Path, PathBuf};

use crate::source::file_kinds::{FLOW, TRACE};

/// A path without links, as far as it exists.
pub(crate) fn real(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_owned())
}

/// The folder that a file lies in.
pub(crate) fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// The relative path from a folder to a file or folder, as plans write it; both without links.
pub(crate) fn way_from(folder: &Path, to: &Path) -> String {
    let way = pathdiff::diff_paths(to, folder).unwrap_or_else(|| to.to_owned());
    let way = way.to_string_lossy();
    let way = if cfg!(windows) { way.replace('\\', "/") } else { way.into_owned() };
    if way.is_empty() { ".".into() } else { way }
}

/// A path as people write it.
pub(crate) fn shown(path: &Path) -> String {
    path.strip_prefix("./").unwrap_or(path).display().to_string()
}

/// A folder as people call it.
pub(crate) fn shown_folder(folder: &Path) -> String {
    if folder == Path::new(".") { "the current folder".into() } else { shown(folder) }
}

/// A path below the current folder as people write it.
pub(crate) fn without_dot(path: PathBuf) -> PathBuf {
    path.strip_prefix("./").map(Path::to_owned).unwrap_or(path)
}

/// The absolute path of the folder in which the program runs; `None` if the system does not give it.
#[expect(clippy::disallowed_methods, reason = "this is the part that may read the environment")]
pub(crate) fn working_folder() -> String {
    std::env::current_dir().map(|folder| folder.display().to_string()).unwrap_or_default()
}

/// Whether a path is a trace of a device by its name.
pub(crate) fn is_trace(path: &Path) -> bool {
    is_named(path, TRACE)
}

/// Whether a path is a user flow by its name.
pub(crate) fn is_flow(path: &Path) -> bool {
    is_named(path, FLOW)
}

/// Whether the name of a file ends so.
pub(crate) fn is_named(path: &Path, ending: &str) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().ends_with(ending))
}

/// Natural order: runs of digits compare as numbers; names that are equal in this way compare by bytes.
pub(crate) fn natural_order(one: &str, other: &str) -> std::cmp::Ordering {
    let (mut left, mut right) = (one.as_bytes(), other.as_bytes());
    while let (Some(a), Some(b)) = (left.first(), right.first()) {
        if a.is_ascii_digit() && b.is_ascii_digit() {
            let (number, rest) = split_number(left);
            let (other_number, other_rest) = split_number(right);
            let order = (number.len(), number).cmp(&(other_number.len(), other_number));
            if order.is_ne() {
                return order;
            }
            (left, right) = (rest, other_rest);
        } else if a == b {
            (left, right) = (&left[1..], &right[1..]);
        } else {
            return a.cmp(b);
        }
    }
    left.len().cmp(&right.len()).then_with(|| one.cmp(other))
}

/// The digits at the beginning without leading zeros, and what follows them.
fn split_number(bytes: &[u8]) -> (&[u8], &[u8]) {
    let end = bytes.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(bytes.len());
    let (digits, rest) = bytes.split_at(end);
    let zeros = digits.iter().position(|digit| *digit != b'0').unwrap_or(digits.len());
    (&digits[zeros..], rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn natural_order_counts_numbers() {
        let mut names = vec!["m/10.png", "m/2.png", "m/02.png", "m/1.png", "m/a.png", "l/9.png", "m/1b.png"];
        names.sort_by(|one, other| natural_order(one, other));
        assert_eq!(names, ["l/9.png", "m/1.png", "m/1b.png", "m/02.png", "m/2.png", "m/10.png", "m/a.png"]);
    }
}
