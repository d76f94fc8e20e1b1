//! Texts, places in them, and the faults that reading finds there.
//!
//! A [`Fault`] always names the place and the fix. Knows the JSON syntax (in [`json`], changed in [`edit`]), not what any
//! field means.

pub mod edit;
pub mod file_kinds;
pub mod json;
pub mod pattern;

use std::sync::{Arc, OnceLock};

/// A text that was read, with the name that the user knows it by.
#[derive(Debug)]
pub struct Source {
    /// The path as the user gave it.
    pub name: String,
    /// The whole text.
    pub text: String,
    /// Where its lines begin, once somebody has asked for one.
    line_starts: OnceLock<Vec<usize>>,
}

/// A range of bytes in a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// The byte after the last one.
    pub end: usize,
}

impl Span {
    /// The same range of a text that begins so many bytes later.
    pub(crate) fn moved(self, by: usize) -> Self {
        Self { start: self.start + by, end: self.end + by }
    }
}

/// A line and a column in a text, both counted from 1, the column in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineColumn {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Source {
    /// A text with its name.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into(), line_starts: OnceLock::new() }
    }

    /// The place of a byte of the text.
    pub fn line_column(&self, byte: usize) -> LineColumn {
        let mut end = byte.min(self.text.len());
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let starts = self.line_starts.get_or_init(|| {
            let ends = self.text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
            std::iter::once(0).chain(ends.map(|(at, _)| at + 1)).collect()
        });
        let line = starts.partition_point(|start| *start <= end);
        LineColumn { line, column: self.text[starts[line - 1]..end].chars().count() + 1 }
    }
}

/// Something that could not be read: what is wrong, where, and how to fix it.
#[derive(Clone, Debug)]
pub struct Fault {
    /// What is wrong, in one sentence.
    pub message: String,
    /// How to fix it.
    pub help: Option<String>,
    /// The file, as the user knows it.
    pub file: String,
    /// The place in the file's text, if the file is a text that could be read.
    pub place: Option<(Arc<Source>, Span)>,
}

impl Fault {
    /// A fault of a whole file, without a place in it.
    pub fn of_file(file: impl Into<String>, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: readable(&message.into()), help: Some(readable(&help.into())), file: file.into(), place: None }
    }

    /// A fault at a place of a text.
    pub fn at(source: &Arc<Source>, span: Span, message: impl Into<String>) -> Self {
        Self {
            message: readable(&message.into()),
            help: None,
            file: source.name.clone(),
            place: Some((source.clone(), span)),
        }
    }

    /// The same fault with a way to fix it.
    #[must_use]
    pub fn with_help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(readable(&help.into()));
        self
    }

    /// Line and column of the place, if there is one.
    pub fn line_column(&self) -> Option<LineColumn> {
        self.place.as_ref().map(|(source, span)| source.line_column(span.start))
    }
}

/// A single fault, where several may be reported.
impl From<Fault> for Vec<Fault> {
    fn from(fault: Fault) -> Self {
        vec![fault]
    }
}

/// The most characters of a message: a word of somebody's file may be as long as the file.
const LONGEST_MESSAGE: usize = 1000;

/// Makes text that may come from a file safe for a terminal and for a reader: without control characters (except line
/// ends), and not endless.
pub fn readable(text: &str) -> String {
    let steers = |character: char| character.is_control() && character != '\n';
    let mut shown: String = text
        .chars()
        .take(LONGEST_MESSAGE)
        .map(|character| if steers(character) { '\u{fffd}' } else { character })
        .collect();
    if text.chars().nth(LONGEST_MESSAGE).is_some() {
        shown.push('…');
    }
    shown
}

/// Decodes the bytes of a text file; a fault names the first byte that is not UTF-8.
///
/// # Errors
/// Where the bytes are not UTF-8.
pub fn text_of_bytes(name: &str, bytes: Vec<u8>) -> Result<String, Fault> {
    String::from_utf8(bytes).map_err(|error| {
        let byte = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..byte].iter().filter(|byte| **byte == b'\n').count() + 1;
        Fault::of_file(
            name,
            format!("the file is not UTF-8: byte {byte}, in line {line}, does not start a character"),
            "save the file as UTF-8",
        )
    })
}

/// The name among `known` that is nearest to what somebody wrote, if one is near enough to be meant.
pub fn nearest_name<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = written.to_lowercase();
    let known: Vec<&str> = known.into_iter().collect();
    let near = known
        .iter()
        .copied()
        .map(|name| (strsim::damerau_levenshtein(&lower, &name.to_lowercase()), name))
        .filter(|(distance, name)| *distance <= 1.max(name.chars().count().max(lower.chars().count()) / 3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name);
    // Somebody may know only the beginning of a name.
    near.or_else(|| {
        known.into_iter().find(|name| lower.chars().count() >= 3 && name.to_lowercase().starts_with(&lower))
    })
}

/// Nobody reads a longer list of names.
const MOST_NAMES: usize = 20;

/// The help for an unknown name: the nearest known one, otherwise the whole list.
pub fn did_you_mean<'a>(written: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
    if let Some(name) = nearest_name(written, known.clone()) {
        return format!("did you mean `{name}`?");
    }
    let names: Vec<String> = known.into_iter().map(|name| format!("`{name}`")).collect();
    match names.len() {
        0 => "there are no names to choose from".into(),
        1 => format!("it can be {}", names[0]),
        2..=MOST_NAMES => format!("it can be {} or {}", names[..names.len() - 1].join(", "), names[names.len() - 1]),
        count => format!("it can be {} and {} more", names[..MOST_NAMES].join(", "), count - MOST_NAMES),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_columns_count_from_one_and_in_characters() {
        let source = Source::new("", "a\näb\n");
        assert_eq!(source.line_column(0), LineColumn { line: 1, column: 1 });
        assert_eq!(source.line_column(4), LineColumn { line: 2, column: 2 });
        assert_eq!(source.line_column(3), LineColumn { line: 2, column: 1 });
        assert_eq!(source.line_column(99), LineColumn { line: 3, column: 1 });
    }

    #[test]
    fn the_nearest_name_is_one_that_can_be_meant() {
        assert_eq!(nearest_name("quik", ["full", "quick"]), Some("quick"));
        assert_eq!(nearest_name("sparkle", ["full", "quick"]), None);
        assert_eq!(nearest_name("left", ["nothing-changes", "left-behind"]), Some("left-behind"));
        assert_eq!(nearest_name("label-2in", ["label-2in1", "label-7in5"]), Some("label-2in1"));
    }
}
