//! Reading JSON with places: every fault of a file is collected, each with the text that it is about.
//!
//! Comments and trailing commas are accepted, nothing else beyond the standard (RFC 8259). Knows the syntax and the
//! kinds of values, not what any field means.

use std::{collections::BTreeMap, sync::Arc};

use jsonc_parser::{
    CollectOptions, ParseOptions,
    ast::{Array, Object, ObjectPropName, Value},
    common::Ranged,
    parse_to_ast,
};

use super::{Fault, Source, Span, did_you_mean};

/// A value in a file together with the way to it.
#[derive(Clone, Debug)]
pub struct Item<'a> {
    value: &'a Value<'a>,
    /// The JSON pointer (RFC 6901) to the value.
    pub pointer: String,
}

/// A value that was read, and its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed<T> {
    /// What was read.
    pub value: T,
    /// Its place.
    pub span: Span,
}

/// The reading of one file: its text and all faults so far.
#[derive(Debug)]
pub struct Reading {
    /// The text that is read.
    pub source: Arc<Source>,
    /// The faults so far, in the order in which they were found.
    pub faults: Vec<Fault>,
    /// How many more faults there were that are not listed.
    untold: u64,
    /// Where the part that is read begins in the text: JSON Lines are read line by line.
    begins_at: usize,
}

/// A line of JSON Lines that is not JSON.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokenLine {
    /// Its number, from 1.
    pub line: usize,
    /// What is wrong with it.
    pub reason: String,
    /// Whether nothing follows it.
    pub is_last: bool,
}

/// At most this many values may be in a file: each takes some hundred bytes while it is read. A long plan repeats its
/// steps.
const MOST_VALUES: usize = 2_000_000;
/// At most this many faults of a file are reported.
const MOST_FAULTS: usize = 100;

/// The fields of an object, each requested by name; unknown fields have been reported already.
#[derive(Debug)]
pub struct Fields<'a> {
    found: BTreeMap<&'a str, Item<'a>>,
    /// The place of the object.
    pub span: Span,
    /// The JSON pointer to the object.
    pub pointer: String,
}

impl<'a> Fields<'a> {
    /// The field of that name, if it is present and not `null`.
    pub fn get(&self, name: &str) -> Option<&Item<'a>> {
        self.found.get(name).filter(|item| !item.is_null())
    }

    /// The field of that name, if it is present, even if it is `null`.
    pub fn get_or_null(&self, name: &str) -> Option<&Item<'a>> {
        self.found.get(name)
    }

    /// All fields in the order of their names.
    pub fn iter(&self) -> impl Iterator<Item = (&'a str, &Item<'a>)> {
        self.found.iter().map(|(name, item)| (*name, item))
    }
}

impl<'a> Item<'a> {
    /// The place of the value.
    pub fn span(&self) -> Span {
        span_of(self.value)
    }

    /// Whether the value is `null`.
    pub fn is_null(&self) -> bool {
        matches!(self.value, Value::NullKeyword(_))
    }

    /// Whether the value is an object.
    pub fn is_object(&self) -> bool {
        matches!(self.value, Value::Object(_))
    }

    /// Whether the value is a list.
    pub fn is_list(&self) -> bool {
        matches!(self.value, Value::Array(_))
    }

    /// Whether the value is a list without elements.
    pub fn is_empty_list(&self) -> bool {
        matches!(&self.value, Value::Array(list) if list.elements.is_empty())
    }

    /// The text, if the value is one.
    pub fn as_text(&self) -> Option<&'a str> {
        self.value.as_string_lit().map(|text| text.value.as_ref())
    }

    /// The number, if the value is one.
    pub fn as_number(&self) -> Option<f64> {
        self.value.as_number_lit().and_then(|number| number.value.parse().ok())
    }

    /// The value without its places; a number that is none becomes `null`.
    pub fn to_value(&self) -> serde_json::Value {
        plain_value(self.value)
    }

    /// Whether the value is an object that has a field of that name.
    pub fn has_field(&self, name: &str) -> bool {
        as_object(self).is_some_and(|object| object.properties.iter().any(|field| property_name(&field.name) == name))
    }

    fn kind(&self) -> &'static str {
        match self.value {
            Value::StringLit(_) => "a text",
            Value::NumberLit(_) => "a number",
            Value::BooleanLit(_) => "true or false",
            Value::Object(_) => "an object",
            Value::Array(_) => "a list",
            Value::NullKeyword(_) => "null",
        }
    }
}

fn plain_value(value: &Value<'_>) -> serde_json::Value {
    match value {
        Value::StringLit(text) => text.value.as_ref().into(),
        Value::NumberLit(number) => serde_json::from_str(number.value).unwrap_or_default(),
        Value::BooleanLit(literal) => literal.value.into(),
        Value::Object(object) => {
            let fields = object.properties.iter();
            fields.map(|field| (property_name(&field.name).to_owned(), plain_value(&field.value))).collect()
        }
        Value::Array(list) => list.elements.iter().map(plain_value).collect(),
        Value::NullKeyword(_) => serde_json::Value::Null,
    }
}

/// The name of a property; words without quotes never pass the parser's options.
pub(super) fn property_name<'v>(name: &'v ObjectPropName<'_>) -> &'v str {
    match name {
        ObjectPropName::String(text) => text.value.as_ref(),
        ObjectPropName::Word(word) => word.value,
    }
}

pub(super) fn span_of(value: &Value<'_>) -> Span {
    let range = value.range();
    Span { start: range.start, end: range.end }
}

/// Parses a text and passes the root to `read`; returns what it read, or every fault of the file.
///
/// # Errors
/// All faults that were found, at least one.
pub fn read_document<T>(
    source: &Arc<Source>,
    read: impl FnOnce(&mut Reading, &Item<'_>) -> Option<T>,
) -> Result<T, Vec<Fault>> {
    let value = parse(source).map_err(|fault| vec![fault])?;
    let mut reading = Reading { source: source.clone(), faults: Vec::new(), untold: 0, begins_at: 0 };
    let result = read(&mut reading, &Item { value: &value, pointer: String::new() });
    match result {
        Some(result) if reading.faults.is_empty() => Ok(result),
        _ => Err(reading.all_faults()),
    }
}

/// Reads JSON Lines (one value a line) and passes the value of each line to `read`, with a pointer that begins with
/// `/lines/` and the number of the line, from 1. Empty lines are skipped. Returns the lines that are not JSON, and every
/// fault that `read` found.
pub fn read_json_lines(
    source: &Arc<Source>,
    mut read: impl FnMut(&mut Reading, &Item<'_>),
) -> (Vec<BrokenLine>, Vec<Fault>) {
    let mut reading = Reading { source: source.clone(), faults: Vec::new(), untold: 0, begins_at: 0 };
    let mut broken: Vec<BrokenLine> = Vec::new();
    for (line, text) in lines_of(&source.text) {
        if let Some(last) = broken.last_mut() {
            last.is_last = false;
        }
        reading.begins_at = text.as_ptr().addr() - source.text.as_ptr().addr();
        match parse_part(text) {
            Ok(Some(value)) => read(&mut reading, &Item { value: &value, pointer: format!("/lines/{line}") }),
            Ok(None) => {}
            Err((_, reason)) => broken.push(BrokenLine { line, reason, is_last: true }),
        }
    }
    (broken, reading.all_faults())
}

/// The lines of a text that are not empty, with their numbers, from 1.
fn lines_of(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = text.lines().enumerate().map(|(at, line)| (at + 1, line));
    lines.filter(|(_, line)| !line.trim().is_empty())
}

/// The root of a text.
pub(super) fn parse(source: &Arc<Source>) -> Result<Value<'_>, Fault> {
    check_amount(source)?;
    let parsed = parse_part(&source.text).map_err(|(span, reason)| {
        Fault::at(source, span, format!("this is not JSON: {reason}"))
            .with_help("correct the syntax here; comments and trailing commas are allowed")
    })?;
    parsed.ok_or_else(|| {
        Fault::of_file(
            &source.name,
            "the file is empty",
            "write a JSON object into it; `stillpage schema plan` shows its format",
        )
    })
}

/// The value of a text or of a part of it; otherwise the place in it, and what is wrong there.
fn parse_part(text: &str) -> Result<Option<Value<'_>>, (Span, String)> {
    let options = ParseOptions {
        allow_comments: true,
        allow_trailing_commas: true,
        allow_loose_object_property_names: false,
        allow_missing_commas: false,
        allow_single_quoted_strings: false,
        allow_hexadecimal_numbers: false,
        allow_unary_plus_numbers: false,
        allow_bare_decimal_point_numbers: false,
        allow_non_finite_numbers: false,
        allow_extended_string_escapes: false,
    };
    let parsed = parse_to_ast(text, &CollectOptions::default(), &options).map_err(|error| {
        let range = error.range();
        let (start, end) = (range.start.min(text.len()), range.end.min(text.len()));
        (Span { start, end: end.max(start) }, lower_first(&error.kind().to_string()))
    })?;
    Ok(parsed.value)
}

/// Every value except the first follows one of these characters; those in texts and comments count too.
fn check_amount(source: &Arc<Source>) -> Result<(), Fault> {
    let mut begins = source.text.bytes().enumerate().filter(|(_, byte)| matches!(byte, b',' | b'[' | b'{' | b':'));
    let Some((at, _)) = begins.nth(MOST_VALUES) else { return Ok(()) };
    let message = format!("the file contains more than {MOST_VALUES} values");
    Err(Fault::at(source, Span { start: at, end: at + 1 }, message)
        .with_help("use `repeat` for steps that come again, or divide the file"))
}

fn lower_first(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_lowercase().chain(characters).collect())
}

/// The formats of our files, and what they are.
const FORMATS: [(&str, &str); 8] = [
    ("log-lines", "a description of log lines"),
    ("refresh-plan", "a refresh plan"),
    ("update-trace", "a trace of a device"),
    ("user-flow", "a user flow"),
    ("display", "a display description"),
    ("review-settings", "the settings of a folder"),
    ("known-findings", "a file of known findings"),
    ("refresh-findings", "a report of findings"),
];

fn as_object<'a>(item: &Item<'a>) -> Option<&'a Object<'a>> {
    if let Value::Object(object) = item.value { Some(object) } else { None }
}

impl Reading {
    /// Notes a fault at an item.
    pub fn fault(&mut self, item: &Item<'_>, message: impl Into<String>, help: impl Into<String>) {
        self.fault_at(item.span(), message, help);
    }

    /// The place of an item in the whole text.
    pub fn place_of(&self, item: &Item<'_>) -> Span {
        item.span().moved(self.begins_at)
    }

    /// Notes a fault at a place.
    pub fn fault_at(&mut self, span: Span, message: impl Into<String>, help: impl Into<String>) {
        let span = span.moved(self.begins_at);
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(Fault::at(&self.source, span, message).with_help(help));
        } else {
            self.untold += 1;
        }
    }

    fn all_faults(mut self) -> Vec<Fault> {
        if self.untold > 0 {
            let message = format!("{} more faults are not reported", self.untold);
            self.faults.push(Fault::of_file(&self.source.name, message, "correct the faults above first"));
        }
        self.faults
    }

    fn wrong_kind(&mut self, item: &Item<'_>, wanted: &str) {
        self.fault(
            item,
            format!("{} must be {wanted}, not {}", name_of(&item.pointer), item.kind()),
            format!("write {wanted} here"),
        );
    }

    /// The fields of a whole document of a format, of which only the `known` may be there. A document of another format of
    /// ours is one fault, not many.
    pub fn document<'a>(&mut self, root: &Item<'a>, what: &str, format: &str, known: &[&str]) -> Option<Fields<'a>> {
        let given = as_object(root).and_then(|object| {
            let property = object.properties.iter().find(|property| property_name(&property.name) == "format")?;
            Some(Item { value: &property.value, pointer: "/format".into() })
        });
        let word = |format: &str| format.split('/').next().unwrap_or_default().to_owned();
        if let Some((item, text)) = given.as_ref().and_then(|item| Some((item, item.as_text()?)))
            && word(text) != word(format)
            && let Some((_, is)) = FORMATS.iter().find(|(name, _)| *name == word(text))
        {
            self.fault(item, format!("this file is {is}, but {what} is needed here"), format!("name {what}"));
            return None;
        }
        let fields = self.object(root, what, known)?;
        if let Some(item) = self.required(&fields, "format", what) {
            self.word(&item, &[(format, ())]);
        }
        Some(fields)
    }

    /// The fields of an object, of which only the `known` may be there.
    pub fn object<'a>(&mut self, item: &Item<'a>, what: &str, known: &[&str]) -> Option<Fields<'a>> {
        let fields = self.open_object(item, what)?;
        for (name, field) in &fields.found {
            if !known.contains(name) {
                let span = key_span(item.value, name).unwrap_or_else(|| field.span());
                self.fault_at(span, format!("{what} has no field `{name}`"), did_you_mean(name, known.iter().copied()));
            }
        }
        Some(fields)
    }

    /// The fields of an object whose names are the user's own.
    pub fn open_object<'a>(&mut self, item: &Item<'a>, what: &str) -> Option<Fields<'a>> {
        let Value::Object(object) = item.value else {
            self.wrong_kind(item, &format!("an object ({what})"));
            return None;
        };
        let mut found = BTreeMap::new();
        for property in &object.properties {
            let name = property_name(&property.name);
            let field = Item { value: &property.value, pointer: pointer_to(&item.pointer, name) };
            if found.insert(name, field).is_some() {
                let range = property.name.range();
                self.fault_at(
                    Span { start: range.start, end: range.end },
                    format!("the field `{name}` appears twice"),
                    "keep one of the two",
                );
            }
        }
        Some(Fields { found, span: item.span(), pointer: item.pointer.clone() })
    }

    /// A field that must be there.
    pub fn required<'a>(&mut self, fields: &Fields<'a>, name: &str, what: &str) -> Option<Item<'a>> {
        if let Some(item) = fields.get(name) {
            return Some(item.clone());
        }
        let start = Span { start: fields.span.start, end: fields.span.start + 1 };
        self.fault_at(start, format!("{what} lacks the field `{name}`"), format!("add `\"{name}\": ...` to it"));
        None
    }

    /// A text.
    pub fn text(&mut self, item: &Item<'_>) -> Option<Placed<String>> {
        if let Some(text) = item.as_text() {
            return Some(Placed { value: text.to_owned(), span: item.span() });
        }
        self.wrong_kind(item, "a text");
        None
    }

    /// One of a few words.
    pub fn word<T: Copy>(&mut self, item: &Item<'_>, words: &[(&str, T)]) -> Option<T> {
        self.word_or(item, words, |text| did_you_mean(text, words.iter().map(|(word, _)| *word)))
    }

    /// One of some words; `help` says what to write instead of another one.
    pub fn word_or<T: Copy>(
        &mut self,
        item: &Item<'_>,
        words: &[(&str, T)],
        help: impl FnOnce(&str) -> String,
    ) -> Option<T> {
        let text = self.text(item)?.value;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, value)| *value);
        if found.is_none() {
            let help = help(&text);
            self.fault(item, format!("{} cannot be `{text}`", name_of(&item.pointer)), help);
        }
        found
    }

    /// True or false.
    pub fn boolean(&mut self, item: &Item<'_>) -> Option<bool> {
        if let Value::BooleanLit(literal) = item.value {
            return Some(literal.value);
        }
        self.wrong_kind(item, "true or false");
        None
    }

    /// A number within a range, both ends allowed.
    pub fn number(&mut self, item: &Item<'_>, lowest: f64, highest: f64) -> Option<f64> {
        let Some(number) = item.as_number() else {
            self.wrong_kind(item, "a number");
            return None;
        };
        if number.is_finite() && (lowest..=highest).contains(&number) {
            return Some(number);
        }
        self.out_of_range(item, lowest, highest);
        None
    }

    /// A whole number within a range, both ends allowed.
    pub fn integer(&mut self, item: &Item<'_>, lowest: i64, highest: i64) -> Option<i64> {
        let number = self.number(item, lowest as f64, highest as f64)?;
        if number.fract() == 0.0 {
            return Some(number as i64);
        }
        self.fault(item, format!("{} must be a whole number", name_of(&item.pointer)), "write it without a fraction");
        None
    }

    fn out_of_range(&mut self, item: &Item<'_>, lowest: f64, highest: f64) {
        let text: String =
            self.source.text[self.begins_at..][item.span().start..item.span().end].chars().take(40).collect();
        self.fault(
            item,
            format!("{} is out of range: {text}", name_of(&item.pointer)),
            format!("it must be from {lowest} to {highest}"),
        );
    }

    /// The elements of a list.
    pub fn list<'a>(&mut self, item: &Item<'a>) -> Option<Vec<Item<'a>>> {
        let Value::Array(Array { elements, .. }) = item.value else {
            self.wrong_kind(item, "a list");
            return None;
        };
        Some(
            elements
                .iter()
                .enumerate()
                .map(|(index, value)| Item { value, pointer: pointer_to(&item.pointer, &index.to_string()) })
                .collect(),
        )
    }

    /// A list of exactly `N` numbers within a range.
    pub fn numbers<const N: usize>(
        &mut self,
        item: &Item<'_>,
        what: &str,
        lowest: f64,
        highest: f64,
    ) -> Option<[f64; N]> {
        let elements = self.list(item)?;
        if elements.len() != N {
            self.fault(
                item,
                format!(
                    "{} must be {what}, that is {N} numbers, but it has {}",
                    name_of(&item.pointer),
                    elements.len()
                ),
                format!("write {what}"),
            );
            return None;
        }
        let mut numbers = [0.0; N];
        let mut whole = true;
        for (number, element) in numbers.iter_mut().zip(&elements) {
            match self.number(element, lowest, highest) {
                Some(read) => *number = read,
                None => whole = false,
            }
        }
        whole.then_some(numbers)
    }

    /// A list of exactly `N` whole numbers within a range.
    pub fn integers<const N: usize>(
        &mut self,
        item: &Item<'_>,
        what: &str,
        lowest: i64,
        highest: i64,
    ) -> Option<[i64; N]> {
        let numbers: [f64; N] = self.numbers(item, what, lowest as f64, highest as f64)?;
        if let Some(fraction) = numbers.iter().position(|number| number.fract() != 0.0) {
            self.fault(
                item,
                format!("number {} of {what} must be a whole number", fraction + 1),
                "write it without a fraction",
            );
            return None;
        }
        Some(numbers.map(|number| number as i64))
    }
}

/// The last part of a JSON pointer, as a name for messages.
fn name_of(pointer: &str) -> String {
    match pointer.rsplit('/').next() {
        None | Some("") => "the file's content".into(),
        Some(last) if last.bytes().all(|byte| byte.is_ascii_digit()) => format!("element {last} of the list"),
        Some(last) => format!("`{}`", unescape(last)),
    }
}

/// A pointer one step longer.
pub fn pointer_to(pointer: &str, name: &str) -> String {
    format!("{pointer}/{}", name.replace('~', "~0").replace('/', "~1"))
}

/// A part of a JSON pointer as the name that it encodes.
pub(super) fn unescape(part: &str) -> String {
    part.replace("~1", "/").replace("~0", "~")
}

fn key_span(value: &Value<'_>, name: &str) -> Option<Span> {
    let property = value.as_object()?.properties.iter().find(|property| property_name(&property.name) == name)?;
    let range = property.name.range();
    Some(Span { start: range.start, end: range.end })
}

/// The places of the values of some pointers in a text that was read before; for each, the longest existing path counts.
/// Pointers that begin with `/lines/` and a number are of JSON Lines: they point into that line, counted from 1.
pub fn locate(source: &Arc<Source>, pointers: &[&str]) -> Vec<Span> {
    if pointers.iter().any(|pointer| pointer.starts_with(LINES)) {
        return locate_in_lines(&source.text, pointers);
    }
    let Ok(root) = parse(source) else {
        return vec![Span::default(); pointers.len()];
    };
    pointers.iter().map(|pointer| span_of(follow(&root, pointer))).collect()
}

/// What the pointers into JSON Lines begin with.
const LINES: &str = "/lines/";

fn locate_in_lines(text: &str, pointers: &[&str]) -> Vec<Span> {
    let lines: BTreeMap<usize, &str> = lines_of(text).collect();
    let place = |pointer: &&str| {
        let (line, rest) = split_line(pointer)?;
        let line = lines.get(&line)?;
        let begin = line.as_ptr().addr() - text.as_ptr().addr();
        let whole = Span { start: 0, end: line.len() };
        let value = parse_part(line).ok().flatten();
        let span = value.map_or(whole, |value| span_of(follow(&value, rest)));
        Some(span.moved(begin))
    };
    pointers.iter().map(|pointer| place(pointer).unwrap_or_default()).collect()
}

/// The number of the line that a pointer into JSON Lines names.
pub fn line_of(pointer: &str) -> Option<usize> {
    split_line(pointer).map(|(line, _)| line)
}

/// The number of the line that a pointer into JSON Lines names, and the pointer into that line.
fn split_line(pointer: &str) -> Option<(usize, &str)> {
    let rest = pointer.strip_prefix(LINES)?;
    let (line, within) = rest.find('/').map_or((rest, ""), |at| rest.split_at(at));
    Some((line.parse().ok()?, within))
}

fn follow<'v, 'a>(root: &'v Value<'a>, pointer: &str) -> &'v Value<'a> {
    let mut value = root;
    for part in pointer.split('/').skip(1).map(unescape) {
        let Some(next) = child_named(value, &part) else { break };
        value = next;
    }
    value
}

/// The value of that pointer, if the whole path exists.
pub(super) fn value_at<'v, 'a>(root: &'v Value<'a>, pointer: &str) -> Option<&'v Value<'a>> {
    pointer.split('/').skip(1).map(unescape).try_fold(root, |value, part| child_named(value, &part))
}

fn child_named<'v, 'a>(value: &'v Value<'a>, part: &str) -> Option<&'v Value<'a>> {
    match value {
        Value::Object(Object { properties, .. }) => {
            properties.iter().find(|property| property_name(&property.name) == part).map(|property| &property.value)
        }
        Value::Array(Array { elements, .. }) => part.parse().ok().and_then(|index: usize| elements.get(index)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> Arc<Source> {
        Arc::new(Source::new("test.json", text))
    }

    fn messages(text: &str, read: impl FnOnce(&mut Reading, &Item<'_>) -> Option<()>) -> Vec<String> {
        let source = source(text);
        match read_document(&source, read) {
            Ok(()) => Vec::new(),
            Err(faults) => faults
                .iter()
                .map(|fault| {
                    let place = fault.line_column().map_or(String::new(), |at| format!("{}:{}: ", at.line, at.column));
                    format!("{place}{} ({})", fault.message, fault.help.as_deref().unwrap_or(""))
                })
                .collect(),
        }
    }

    #[test]
    fn every_fault_of_an_object_is_told_at_once() {
        let found = messages("{\n  \"colour\": 1,\n  \"size\": \"big\",\n  \"size\": 3\n}", |reading, root| {
            let fields = reading.object(root, "a thing", &["color", "size", "name"])?;
            reading.required(&fields, "name", "a thing");
            reading.number(fields.get("size")?, 4.0, 5.0).map(|_| ())
        });
        assert_eq!(
            found,
            [
                "4:3: the field `size` appears twice (keep one of the two)",
                "2:3: a thing has no field `colour` (did you mean `color`?)",
                "1:1: a thing lacks the field `name` (add `\"name\": ...` to it)",
                "4:11: `size` is out of range: 3 (it must be from 4 to 5)",
            ]
        );
    }

    #[test]
    fn only_comments_and_trailing_commas_go_beyond_the_standard() {
        let accepts = |text: &str| messages(text, |_, _| Some(())).is_empty();
        assert!(accepts("{ \"a\": [1, 2,], // why\n }"));
        for text in [
            "{ a: 1 }",
            "[1 2]",
            "['a']",
            "[0x1]",
            "[+1]",
            "[.5]",
            "[NaN]",
            "[Infinity]",
            "[1e]",
            "",
            "{} {}",
            "[\"\\x41\"]",
        ] {
            assert!(!accepts(text), "{text} must be refused");
        }
    }

    #[test]
    fn numbers_beyond_the_finite_are_out_of_range() {
        let found = messages("[1e999]", |reading, root| {
            let list = reading.list(root)?;
            reading.number(&list[0], 0.0, 10.0).map(|_| ())
        });
        assert_eq!(found, ["1:2: element 0 of the list is out of range: 1e999 (it must be from 0 to 10)"]);
    }

    #[test]
    fn deep_nesting_is_a_fault_and_not_a_crash() {
        assert!(!messages(&"[".repeat(200_000), |_, _| Some(())).is_empty());
    }

    #[test]
    fn pointers_are_found_again_in_the_text() {
        let source = source("{ \"steps\": [ {\"a/b\": 7} ] }");
        let spans = locate(&source, &["/steps/0/a~1b", "/steps/0/none", ""]);
        let texts: Vec<&str> = spans.iter().map(|span| &source.text[span.start..span.end]).collect();
        assert_eq!(texts, ["7", "{\"a/b\": 7}", &source.text]);
    }
}
