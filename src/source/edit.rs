//! Changing values of a JSON text and keeping everything else byte for byte: comments, spaces, trailing commas.
//!
//! All changes of one [`Edits`] refer to the text before any of them, and may not overlap. Inserted text follows the
//! style of the object or list that it goes into. Knows the syntax, not what any field means.

use std::{
    collections::{BTreeMap, BTreeSet},
    fmt,
    sync::Arc,
};

use jsonc_parser::{ast::Value, common::Ranged};

use super::{
    Source, Span,
    json::{parse, property_name, span_of, value_at},
};

/// Changes of one text, to be made together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Edits {
    changes: Vec<Change>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Change {
    Replace { pointer: String, text: String },
    SetField { object: String, name: String, text: String, before: Option<String> },
    RemoveField { object: String, name: String },
    InsertElement { list: String, index: usize, text: String },
    RemoveElement { list: String, index: usize },
}

/// Why changes were not made; the text is as it was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EditFault {
    /// The text that was to be changed is not JSON.
    NotJson,
    /// There is nothing at this pointer, or no such element.
    NotThere(String),
    /// The value at this pointer cannot have fields or elements.
    WrongKind(String),
    /// The text to insert is not one JSON value.
    NotAValue(String),
    /// Two changes affect the same piece of text, the second of them at this pointer.
    Overlap(String),
}

impl fmt::Display for EditFault {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotJson => write!(to, "the text is not JSON"),
            Self::NotThere(pointer) => write!(to, "there is nothing at `{pointer}`"),
            Self::WrongKind(pointer) => write!(to, "the value at `{pointer}` cannot be changed in this way"),
            Self::NotAValue(text) => write!(to, "`{text}` is not a JSON value"),
            Self::Overlap(pointer) => write!(to, "`{pointer}` is changed twice at once"),
        }
    }
}

impl std::error::Error for EditFault {}

impl Edits {
    /// No change yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether there is nothing to change.
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty()
    }

    /// Replaces an existing value.
    pub fn replace(&mut self, pointer: impl Into<String>, text: impl Into<String>) -> &mut Self {
        self.add(Change::Replace { pointer: pointer.into(), text: text.into() })
    }

    /// Gives a field another value; if the object lacks the field, it is added after the others.
    pub fn set_field(&mut self, object: impl Into<String>, name: &str, text: impl Into<String>) -> &mut Self {
        self.add(Change::SetField { object: object.into(), name: name.into(), text: text.into(), before: None })
    }

    /// The same; a new field is inserted before another one, if the object has that.
    pub fn set_field_before(
        &mut self,
        object: impl Into<String>,
        before: &str,
        name: &str,
        text: impl Into<String>,
    ) -> &mut Self {
        let before = Some(before.to_owned());
        self.add(Change::SetField { object: object.into(), name: name.into(), text: text.into(), before })
    }

    /// Removes a field.
    pub fn remove_field(&mut self, object: impl Into<String>, name: &str) -> &mut Self {
        self.add(Change::RemoveField { object: object.into(), name: name.into() })
    }

    /// Inserts an element before the one that has this index now, or after all if the index is their count.
    pub fn insert_element(&mut self, list: impl Into<String>, index: usize, text: impl Into<String>) -> &mut Self {
        self.add(Change::InsertElement { list: list.into(), index, text: text.into() })
    }

    /// Removes an element.
    pub fn remove_element(&mut self, list: impl Into<String>, index: usize) -> &mut Self {
        self.add(Change::RemoveElement { list: list.into(), index })
    }

    fn add(&mut self, change: Change) -> &mut Self {
        self.changes.push(change);
        self
    }

    /// The text with all changes made.
    ///
    /// # Errors
    /// Where one of the changes cannot be made, or two of them overlap.
    pub fn apply(&self, source: &Arc<Source>) -> Result<String, EditFault> {
        let root = parse(source).map_err(|_| EditFault::NotJson)?;
        let mut draft = Draft { root: &root, replaced: Vec::new(), containers: BTreeMap::new(), touched: Vec::new() };
        self.changes.iter().try_for_each(|change| draft.take(change))?;
        draft.refuse_overlaps()?;
        Ok(with_pieces(&source.text, draft.pieces(&source.text)))
    }
}

/// A range of the text and its replacement.
#[derive(Debug)]
struct Piece {
    span: Span,
    text: String,
}

impl Piece {
    fn insertion(at: usize, text: String) -> Self {
        Self { span: Span { start: at, end: at }, text }
    }

    fn deletion(start: usize, end: usize) -> Self {
        Self { span: Span { start, end }, text: String::new() }
    }
}

/// Applies the pieces to the text. Deletions may share spaces; if something is inserted and something else removed at
/// the same place, the new text comes first.
fn with_pieces(text: &str, mut pieces: Vec<Piece>) -> String {
    pieces.sort_by_key(|piece| (piece.span.start, piece.span.end));
    let (mut result, mut done) = (String::with_capacity(text.len()), 0);
    for piece in pieces {
        if piece.span.start > done {
            result.push_str(&text[done..piece.span.start]);
        }
        result.push_str(&piece.text);
        done = done.max(piece.span.end);
    }
    result.push_str(&text[done..]);
    result
}

/// The changes, found in the parsed text.
struct Draft<'v, 'a> {
    root: &'v Value<'a>,
    replaced: Vec<Piece>,
    /// By the pointer to the object or list.
    containers: BTreeMap<String, Container<'v, 'a>>,
    /// What is replaced or taken away, and by which pointer.
    touched: Vec<(Span, String)>,
}

struct Container<'v, 'a> {
    value: &'v Value<'a>,
    removed: BTreeSet<usize>,
    /// By the index of the child before which they are inserted.
    inserted: BTreeMap<usize, Vec<String>>,
    new_names: BTreeSet<String>,
}

impl<'v, 'a> Draft<'v, 'a> {
    fn take(&mut self, change: &Change) -> Result<(), EditFault> {
        match change {
            Change::Replace { pointer, text } => self.replace(pointer, text),
            Change::SetField { object, name, text, before } => self.set_field(object, name, text, before.as_deref()),
            Change::RemoveField { object, name } => {
                let at = self.field(object, name)?.ok_or_else(|| EditFault::NotThere(format!("{object}/{name}")))?;
                self.remove(object, at)
            }
            Change::InsertElement { list, index, text } => {
                self.elements(list, *index)?;
                check_value(text)?;
                self.container(list)?.inserted.entry(*index).or_default().push(text.clone());
                Ok(())
            }
            Change::RemoveElement { list, index } => {
                self.elements(list, *index + 1)?;
                self.remove(list, *index)
            }
        }
    }

    fn replace(&mut self, pointer: &str, text: &str) -> Result<(), EditFault> {
        check_value(text)?;
        let value = value_at(self.root, pointer).ok_or_else(|| EditFault::NotThere(pointer.into()))?;
        self.touched.push((span_of(value), pointer.into()));
        self.replaced.push(Piece { span: span_of(value), text: text.into() });
        Ok(())
    }

    fn set_field(&mut self, object: &str, name: &str, text: &str, before: Option<&str>) -> Result<(), EditFault> {
        check_value(text)?;
        if self.field(object, name)?.is_some() {
            return self.replace(&super::json::pointer_to(object, name), text);
        }
        let in_front_of = before.map(|before| self.field(object, before)).transpose()?.flatten();
        let container = self.container(object)?;
        if !container.new_names.insert(name.into()) {
            return Err(EditFault::Overlap(format!("{object}/{name}")));
        }
        let count = children(container.value).len();
        let quoted = serde_json::Value::from(name).to_string();
        container.inserted.entry(in_front_of.unwrap_or(count)).or_default().push(format!("{quoted}{COLON}{text}"));
        Ok(())
    }

    fn remove(&mut self, pointer: &str, child: usize) -> Result<(), EditFault> {
        let container = self.container(pointer)?;
        container.removed.insert(child);
        let span = children(container.value)[child];
        self.touched.push((span, format!("{pointer}/{child}")));
        Ok(())
    }

    /// Which field of an object has that name.
    fn field(&self, object: &str, name: &str) -> Result<Option<usize>, EditFault> {
        let value = value_at(self.root, object).ok_or_else(|| EditFault::NotThere(object.into()))?;
        let object = value.as_object().ok_or_else(|| EditFault::WrongKind(object.into()))?;
        Ok(object.properties.iter().position(|property| property_name(&property.name) == name))
    }

    /// Makes sure that there is a list of at least this many elements.
    fn elements(&self, list: &str, at_least: usize) -> Result<(), EditFault> {
        let value = value_at(self.root, list).ok_or_else(|| EditFault::NotThere(list.into()))?;
        let array = value.as_array().ok_or_else(|| EditFault::WrongKind(list.into()))?;
        if array.elements.len() < at_least {
            return Err(EditFault::NotThere(format!("{list}/{}", at_least - 1)));
        }
        Ok(())
    }

    fn container(&mut self, pointer: &str) -> Result<&mut Container<'v, 'a>, EditFault> {
        let value = value_at(self.root, pointer).ok_or_else(|| EditFault::NotThere(pointer.into()))?;
        Ok(self.containers.entry(pointer.into()).or_insert_with(|| Container {
            value,
            removed: BTreeSet::new(),
            inserted: BTreeMap::new(),
            new_names: BTreeSet::new(),
        }))
    }

    fn refuse_overlaps(&mut self) -> Result<(), EditFault> {
        self.touched.sort_by_key(|(span, _)| (span.start, span.end));
        for pair in self.touched.windows(2) {
            if pair[1].0.start < pair[0].0.end {
                return Err(EditFault::Overlap(pair[1].1.clone()));
            }
        }
        for (pointer, container) in &self.containers {
            let inner = span_of(container.value);
            if self.touched.iter().any(|(span, _)| span.start <= inner.start && inner.end <= span.end) {
                return Err(EditFault::Overlap(pointer.clone()));
            }
        }
        Ok(())
    }

    fn pieces(self, text: &str) -> Vec<Piece> {
        let mut pieces = self.replaced;
        for container in self.containers.into_values() {
            let layout = Layout::new(text, container.value);
            layout.remove(&container.removed, container.inserted.is_empty(), &mut pieces);
            layout.insert(&container, &mut pieces);
        }
        pieces
    }
}

/// Stands between name and value of a new field, until it is known how the object writes it.
const COLON: char = '\u{1}';

/// A text that can be inserted: one value, with nothing before or after it.
fn check_value(text: &str) -> Result<(), EditFault> {
    let source = Arc::new(Source::new("", text));
    let is_value = parse(&source).is_ok_and(|value| span_of(&value) == Span { start: 0, end: text.len() });
    if is_value { Ok(()) } else { Err(EditFault::NotAValue(text.into())) }
}

/// Where the fields or elements are.
fn children(value: &Value<'_>) -> Vec<Span> {
    let span = |range: jsonc_parser::common::Range| Span { start: range.start, end: range.end };
    match value {
        Value::Object(object) => object.properties.iter().map(|property| span(property.range())).collect(),
        Value::Array(array) => array.elements.iter().map(span_of).collect(),
        _ => Vec::new(),
    }
}

/// How an object or a list is written.
struct Layout<'t> {
    text: &'t str,
    outer: Span,
    children: Vec<Span>,
    /// The comma after each child, if there is one.
    commas: Vec<Option<usize>>,
    is_object: bool,
    colon: &'t str,
}

impl<'t> Layout<'t> {
    fn new(text: &'t str, value: &Value<'_>) -> Self {
        let children = children(value);
        let comma = |child: &Span| {
            let next = next_significant(text, child.end);
            text[next..].starts_with(',').then_some(next)
        };
        let colon = value.as_object().and_then(|object| object.properties.first()).map_or(": ", |property| {
            let between = &text[property.name.range().end..property.value.range().start];
            if between.trim() == ":" && !between.contains(['\n', '\r']) { between } else { ": " }
        });
        Self {
            text,
            outer: span_of(value),
            commas: children.iter().map(comma).collect(),
            children,
            is_object: value.as_object().is_some(),
            colon,
        }
    }

    /// The spaces before a child if nothing else comes before it in its line.
    fn indent(&self, child: usize) -> Option<&'t str> {
        let start = self.children[child].start;
        let line = &self.text[line_start(self.text, start)..start];
        (line.len() < start && line.bytes().all(is_space)).then_some(line)
    }

    fn remove(&self, removed: &BTreeSet<usize>, nothing_comes: bool, pieces: &mut Vec<Piece>) {
        let kept = (0..self.children.len()).rev().find(|child| !removed.contains(child));
        for child in removed {
            let is_of_the_end = nothing_comes && kept.is_none_or(|kept| kept < *child);
            self.remove_child(*child, is_of_the_end, pieces);
        }
        let last = self.children.len().wrapping_sub(1);
        let was_without = self.commas.last().is_some_and(Option::is_none);
        // A list without a comma at its end gets none by losing its last element.
        if let (true, true, Some(kept)) = (was_without, nothing_comes, kept)
            && kept != last
            && let Some(comma) = self.commas[kept]
        {
            pieces.push(Piece::deletion(comma, comma + 1));
        }
    }

    fn remove_child(&self, child: usize, is_of_the_end: bool, pieces: &mut Vec<Piece>) {
        let Span { start, end } = self.children[child];
        let stop = match self.commas[child] {
            Some(comma) if self.text[end..comma].bytes().all(is_space) => comma + 1,
            Some(comma) => {
                pieces.push(Piece::deletion(start, end));
                pieces.push(Piece::deletion(comma, comma + 1));
                return;
            }
            None => end,
        };
        let before = start - trailing_spaces(&self.text[..start]);
        let behind = stop + leading_spaces(&self.text[stop..]);
        let rest = &self.text[behind..];
        let line_end = rest.find('\n').filter(|at| rest[..*at].bytes().all(|byte| byte == b'\r'));
        pieces.push(match (line_end, self.indent(child)) {
            (Some(at), Some(_)) => Piece::deletion(before, behind + at + 1),
            (Some(_), None) => Piece::deletion(before, stop),
            (None, None) if is_of_the_end && !rest.starts_with('/') => Piece::deletion(before, stop),
            (None, _) if rest.starts_with([']', '}']) => Piece::deletion(before, stop),
            (None, _) => Piece::deletion(start, behind),
        });
    }

    fn insert(&self, container: &Container<'_, '_>, pieces: &mut Vec<Piece>) {
        let kept: Vec<usize> = (0..self.children.len()).filter(|child| !container.removed.contains(child)).collect();
        // New ones come after the nearest remaining child before them, otherwise after the opening bracket.
        let mut behind: BTreeMap<Option<usize>, Vec<String>> = BTreeMap::new();
        for (index, texts) in &container.inserted {
            let anchor = kept.iter().rev().find(|child| *child < index).copied();
            let texts = texts.iter().map(|text| text.replacen(COLON, self.colon, 1));
            behind.entry(anchor).or_default().extend(texts);
        }
        for (anchor, texts) in behind {
            match (anchor, kept.first()) {
                (Some(child), _) => self.insert_behind(child, Some(&child) == kept.last(), &texts, pieces),
                (None, Some(first)) => self.insert_in_front(*first, &texts, pieces),
                (None, None) => self.fill(&texts, pieces),
            }
        }
    }

    /// A line end and the indent of a child that has a line of its own, or the space between two in the same line.
    fn separator(&self, child: usize) -> String {
        match self.indent(child) {
            Some(indent) => format!("{}{indent}", line_end_of(self.text)),
            None if self.is_tight() => String::new(),
            None => " ".into(),
        }
    }

    /// Whether there are no spaces after commas.
    fn is_tight(&self) -> bool {
        let comma = self.commas.first().copied().flatten().filter(|_| self.children.len() > 1);
        comma.map_or(self.is_object && self.colon == ":", |comma| self.children[1].start == comma + 1)
    }

    fn insert_behind(&self, child: usize, is_last: bool, texts: &[String], pieces: &mut Vec<Piece>) {
        let separator = self.separator(child);
        let end = self.children[child].end;
        let comma = self.commas[child];
        if comma.is_none() {
            pieces.push(Piece::insertion(end, ",".into()));
        }
        let had_comma_at_end = self.commas.last().is_some_and(Option::is_some);
        let mut new = String::new();
        for (at, text) in texts.iter().enumerate() {
            let ends = if at + 1 == texts.len() && is_last && !had_comma_at_end { "" } else { "," };
            new.extend([separator.as_str(), text, ends]);
        }
        let stop = comma.map_or(end, |comma| comma + 1);
        let at = if self.indent(child).is_some() { behind_comments(self.text, stop) } else { stop };
        pieces.push(Piece::insertion(at, new));
    }

    fn insert_in_front(&self, first: usize, texts: &[String], pieces: &mut Vec<Piece>) {
        let separator = self.separator(first);
        if self.indent(first).is_some() {
            let at = behind_comments(self.text, self.outer.start + 1);
            if self.text[at..].starts_with(['\r', '\n']) {
                let new = texts.iter().flat_map(|text| [separator.as_str(), text, ","]).collect();
                return pieces.push(Piece::insertion(at, new));
            }
        }
        let new = texts.iter().flat_map(|text| [text, ",", &separator]).collect();
        pieces.push(Piece::insertion(self.children[first].start, new));
    }

    /// Inserts the first ones.
    fn fill(&self, texts: &[String], pieces: &mut Vec<Piece>) {
        let inner = &self.text[self.outer.start + 1..self.outer.end - 1];
        let at = self.outer.start + 1;
        if inner.contains('\n') {
            let outer_line = &self.text[line_start(self.text, self.outer.start)..];
            let outer_indent = &outer_line[..leading_spaces(outer_line)];
            let known = (!self.children.is_empty()).then(|| self.indent(0)).flatten();
            let deeper = if outer_indent.starts_with('\t') { "\t" } else { "  " };
            let indent = known.map_or_else(|| format!("{outer_indent}{deeper}"), str::to_owned);
            let lines = texts.iter().map(|text| format!("{}{indent}{text}", line_end_of(self.text)));
            let new = lines.collect::<Vec<_>>().join(",");
            return pieces.push(Piece::insertion(behind_comments(self.text, at), new));
        }
        let joined = texts.join(if self.is_object && self.colon == ":" { "," } else { ", " });
        let new = match (inner.is_empty(), self.is_object) {
            (true, true) => format!(" {joined} "),
            (true, false) => joined,
            (false, _) => format!(" {joined}"),
        };
        pieces.push(Piece::insertion(at, new));
    }
}

fn is_space(byte: u8) -> bool {
    byte == b' ' || byte == b'\t'
}

fn leading_spaces(text: &str) -> usize {
    text.bytes().take_while(|byte| is_space(*byte)).count()
}

fn trailing_spaces(text: &str) -> usize {
    text.bytes().rev().take_while(|byte| is_space(*byte)).count()
}

fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |line_end| line_end + 1)
}

fn line_end_of(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// Where a comment ends that begins here; its line end is not a part of a comment to the end of the line.
fn comment_end(text: &str, at: usize) -> Option<usize> {
    let rest = &text[at..];
    if rest.starts_with("//") {
        return Some(at + rest.find(['\r', '\n']).unwrap_or(rest.len()));
    }
    rest.starts_with("/*").then(|| at + rest.find("*/").map_or(rest.len(), |end| end + 2))
}

/// The first place from here on that is neither space nor comment.
fn next_significant(text: &str, mut at: usize) -> usize {
    loop {
        at += text[at..].len() - text[at..].trim_start().len();
        match comment_end(text, at) {
            Some(end) => at = end,
            None => return at,
        }
    }
}

/// The end of the comments in the same line that belong to what comes before; the same place if more follows.
fn behind_comments(text: &str, from: usize) -> usize {
    let mut at = from;
    loop {
        let next = at + leading_spaces(&text[at..]);
        match comment_end(text, next) {
            Some(end) => at = end,
            None if next == text.len() || text[next..].starts_with(['\r', '\n']) => return at,
            None => return from,
        }
    }
}
