//! The patterns of a description of log lines: which groups the line of each record has, and which it cannot be without.
//! Knows regular expressions, not the records that they become.

use regex::{Regex, RegexBuilder};

use crate::source::{
    did_you_mean,
    json::{Item, Reading},
};

/// The groups that a pattern may have.
const GROUPS: [&str; 15] = [
    "at", "mode", "x", "y", "w", "h", "x2", "y2", "file", "started", "finished", "celsius", "text", "point_x",
    "point_y",
];
/// Those of a box.
const BOX: [&str; 6] = ["x", "y", "w", "h", "x2", "y2"];
/// What a line can be: a record, or the start or the end of an update of an earlier line.
const RECORDS: [&str; 9] = ["update", "frame", "touch", "key", "power", "temperature", "remark", "started", "finished"];
/// The most memory that a compiled pattern may take, bytes.
const PATTERN_BYTES: usize = 1 << 20;
/// The longest pattern, bytes.
const LONGEST_PATTERN: usize = 2000;

/// What a line that matches becomes.
#[derive(Debug)]
pub(super) struct Pattern {
    pub(super) regex: Regex,
    pub(super) record: &'static str,
}

/// Reads a pattern; `has_corner` says that the description says what a second corner means.
pub(super) fn read_pattern(reading: &mut Reading, item: &Item<'_>, has_corner: bool) -> Option<Pattern> {
    let fields = reading.object(item, "a pattern of lines", &["matches", "record"])?;
    let record_item = reading.required(&fields, "record", "a pattern of lines");
    let record = record_item.and_then(|item| reading.word(&item, &RECORDS.map(|record| (record, record))));
    let item = reading.required(&fields, "matches", "a pattern of lines")?;
    let text = reading.text(&item)?.value;
    if text.len() > LONGEST_PATTERN {
        reading.fault(&item, format!("the pattern has more than {LONGEST_PATTERN} bytes"), "divide it into several");
        return None;
    }
    let regex = match compiled(&text) {
        Ok(regex) => regex,
        Err(error) => {
            let words = error.to_string();
            let words = words.lines().last().unwrap_or_default().trim().trim_start_matches("error: ").to_owned();
            reading.fault(&item, format!("this is not a regular expression: {words}"), "correct the pattern");
            return None;
        }
    };
    check_groups(reading, &item, &regex, has_corner);
    let record = record?;
    check_is_complete(reading, &item, &regex, record);
    Some(Pattern { regex, record })
}

fn compiled(pattern: &str) -> Result<Regex, regex::Error> {
    RegexBuilder::new(pattern).size_limit(PATTERN_BYTES).dfa_size_limit(PATTERN_BYTES).build()
}

fn check_groups(reading: &mut Reading, item: &Item<'_>, regex: &Regex, has_corner: bool) {
    let groups: Vec<&str> = regex.capture_names().flatten().collect();
    for name in groups.iter().filter(|name| !GROUPS.contains(name)) {
        reading.fault(item, format!("a line has no field `{name}`"), did_you_mean(name, GROUPS));
    }
    if !groups.contains(&"at") {
        reading.fault(item, "the pattern has no group `at`, but every record needs its time", "add `(?<at>[0-9]+)`");
    }
    if groups.contains(&"x2") && !has_corner {
        let help = "write `\"second_corner\": \"inside\"` if that pixel belongs to the box, otherwise `\"outside\"`";
        reading.fault(item, "the pattern has a second corner, but the file does not say what it means", help);
    }
}

/// Checks that a pattern has what its record cannot be without, and all of a box or nothing.
fn check_is_complete(reading: &mut Reading, item: &Item<'_>, regex: &Regex, record: &str) {
    let has = |name: &str| regex.capture_names().flatten().any(|group| group == name);
    let needed = match record {
        "update" => Some(("mode", "add `(?<mode>...)` around the device's name or number of the mode")),
        "frame" => Some(("file", "add `(?<file>...)` around the name of the frame's file")),
        "power" => Some(("text", "add `(?<text>...)` around `on`, `off` or `sleep`")),
        "temperature" => Some(("celsius", "add `(?<celsius>...)` around the temperature")),
        "remark" => Some(("text", "add `(?<text>...)` around what was said")),
        _ => None,
    };
    let taken: Vec<&str> = match record {
        "update" => BOX.into_iter().chain(["mode", "file", "started", "finished", "celsius"]).collect(),
        "frame" => BOX.into_iter().chain(["file"]).collect(),
        "touch" | "key" => BOX.into_iter().chain(["point_x", "point_y"]).collect(),
        "temperature" => vec!["celsius"],
        "started" | "finished" => Vec::new(),
        _ => vec!["text"],
    };
    let is_of_no_use = |name: &&str| *name != "at" && GROUPS.contains(name) && !taken.contains(name);
    for group in regex.capture_names().flatten().filter(is_of_no_use) {
        let message = format!("a record `{record}` has no use for the group `{group}`");
        reading.fault(item, message, "leave the name of that group out: write `(?:...)`");
    }
    if let Some((group, help)) = needed.filter(|(group, _)| !has(group)) {
        reading.fault(item, format!("the pattern has no group `{group}`, but a record `{record}` needs it"), help);
    }
    let sides = [["x", "w", "x2"], ["y", "h", "y2"]].map(|side| side.map(has));
    let is_box = |[at, size, end]: [bool; 3]| at && (size || end);
    if sides.iter().flatten().any(|has| *has) && !sides.into_iter().all(is_box) {
        let help =
            "a box needs `x` and `y`, and either `w` and `h` or `x2` and `y2`; a point is `point_x` and `point_y`";
        reading.fault(item, "the pattern has only a part of a box", help);
    }
}

impl Pattern {
    /// What the pattern missed in a line, in words: how far it matches.
    pub(super) fn missed(&self, line: &str) -> String {
        let text = self.regex.as_str();
        let ends = text.char_indices().map(|(end, _)| end).rev().take(LONGEST_PATTERN);
        let mut parts = ends.filter(|end| *end > 0).map(|end| text.split_at(end));
        match parts.find(|(part, _)| compiled(part).is_ok_and(|part| part.is_match(line))) {
            Some((part, rest)) => format!("matches as far as `{part}`, but not `{rest}`"),
            None => "matches nothing of it".to_owned(),
        }
    }
}
