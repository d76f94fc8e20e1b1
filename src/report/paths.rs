//! Paths as reports write them: with `/`, from the working folder wherever they lie below it, and as URIs.
//!
//! Works on the words of a path alone; whether a file is there, or a folder is a link, is not known here.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

/// What a path of a URI may hold as it is (RFC 3986, 3.3). Brackets are left out, though allowed: they end a link in
/// Markdown; so is the colon, which would make a scheme of what stands before it.
const ENCODED: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~').remove(b'/');

/// A path from the working folder where it lies below it; else as it was given, without detours.
pub fn from_folder(path: &str, working_folder: &str) -> String {
    let (path, folder) = (with_slashes(path), with_slashes(working_folder));
    let whole = if is_absolute(&path) { without_detours(&path) } else { without_detours(&format!("{folder}/{path}")) };
    let folder = without_detours(&folder);
    // The root's own slash is no part of what is taken away, and a machine may not tell the folder at all.
    let below = whole.strip_prefix(folder.trim_end_matches('/')).and_then(|rest| rest.strip_prefix('/'));
    below.filter(|_| !folder.is_empty()).map_or_else(|| without_detours(&path), str::to_owned)
}

/// A path as a URI: relative below the working folder, and absolute where it was given so.
pub(super) fn uri(path: &str, working_folder: &str) -> String {
    let path = from_folder(path, working_folder);
    let encoded = utf8_percent_encode(&path, ENCODED);
    match path.strip_prefix('/') {
        Some(_) => format!("file://{encoded}"),
        // A drive's letter keeps its colon.
        None if is_absolute(&path) => format!("file:///{}:{}", &path[..1], utf8_percent_encode(&path[2..], ENCODED)),
        None => encoded.to_string(),
    }
}

/// A link from a file in some folder to a path, where both lie below the working folder; else the path's URI.
pub(super) fn link(path: &str, from: &str, working_folder: &str) -> String {
    let from = from_folder(from, working_folder);
    let target = uri(path, working_folder);
    if is_absolute(&from) || from.split('/').any(|part| part == "..") || target.starts_with("file:") {
        return target;
    }
    let encoded = utf8_percent_encode(&from, ENCODED).to_string();
    let folders: Vec<&str> = encoded.split('/').filter(|part| !part.is_empty()).collect();
    let parts: Vec<&str> = target.split('/').collect();
    let shared = folders.iter().zip(&parts).take_while(|(folder, part)| folder == part).count();
    let up = std::iter::repeat_n("..", folders.len() - shared);
    up.chain(parts[shared..].iter().copied()).collect::<Vec<_>>().join("/")
}

/// Words in which no path below the working folder names that folder.
pub(super) fn without_folder(text: &str, working_folder: &str) -> String {
    if working_folder.len() < 2 {
        return text.to_owned();
    }
    text.replace(&format!("{}{}", working_folder, std::path::MAIN_SEPARATOR), "")
}

fn with_slashes(path: &str) -> String {
    if cfg!(windows) { path.replace('\\', "/") } else { path.to_owned() }
}

fn is_absolute(path: &str) -> bool {
    path.starts_with('/') || (cfg!(windows) && path.as_bytes().get(1) == Some(&b':'))
}

fn without_detours(path: &str) -> String {
    let mut parts: Vec<&str> = Vec::new();
    for part in path.split('/').filter(|part| !part.is_empty() && *part != ".") {
        if part == ".." && parts.last().is_some_and(|last| *last != "..") {
            parts.pop();
        } else {
            parts.push(part);
        }
    }
    format!("{}{}", if path.starts_with('/') { "/" } else { "" }, parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_below_the_working_folder_is_written_from_there() {
        for path in
            ["a/b.plan.json", "./a/b.plan.json", "a/c/../b.plan.json", "/quay/a/b.plan.json", "../quay/a/b.plan.json"]
        {
            assert_eq!(from_folder(path, "/quay"), "a/b.plan.json", "{path}");
        }
        assert_eq!(from_folder("/quays/b.plan.json", "/quay"), "/quays/b.plan.json");
        assert_eq!(from_folder("../pier/b.plan.json", "/quay"), "../pier/b.plan.json");
        assert_eq!(from_folder("/quay/b.plan.json", "/"), "quay/b.plan.json");
        assert_eq!(from_folder("b.plan.json", ""), "b.plan.json", "a machine that does not tell its folder");
    }

    #[test]
    fn uris_hold_nothing_that_a_uri_must_not_hold() {
        assert_eq!(uri("Kai 4/grün (1).plan.json", "/quay"), "Kai%204/gr%C3%BCn%20%281%29.plan.json");
        assert_eq!(uri("/pier/b:c.plan.json", "/quay"), "file:///pier/b%3Ac.plan.json");
        assert_eq!(uri("a:b.plan.json", "/quay"), "a%3Ab.plan.json");
    }

    #[test]
    fn links_lead_from_the_folder_of_the_report() {
        assert_eq!(link("out/pictures/a/1.png", "out", "/quay"), "pictures/a/1.png");
        assert_eq!(link("pictures/1.png", "out/today", "/quay"), "../../pictures/1.png");
        assert_eq!(link("pictures/1.png", "", "/quay"), "pictures/1.png");
        assert_eq!(link("pictures/1.png", "/quay/pictures", "/quay"), "1.png");
        assert_eq!(link("pictures/1.png", "/pier", "/quay"), "pictures/1.png");
    }
}
