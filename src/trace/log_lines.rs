//! A device's own log as a trace: patterns say which lines are which records, and their named groups give the fields.
//! Works on texts; the patterns run in linear time.

use std::sync::Arc;

use regex::{Captures, Regex, RegexBuilder};
use serde_json::{Map, Number, Value};

use super::clock::{DAY_MS, ms_of_day};
use crate::source::{
    Fault, Source, did_you_mean,
    json::{Item, Reading, read_document},
};

/// The groups that a pattern may have.
const GROUPS: [&str; 15] = [
    "at", "mode", "x", "y", "w", "h", "x2", "y2", "file", "started", "finished", "celsius", "text", "point_x",
    "point_y",
];
/// Those of a box.
const BOX: [&str; 6] = ["x", "y", "w", "h", "x2", "y2"];
const RECORDS: [&str; 7] = ["update", "frame", "touch", "key", "power", "temperature", "remark"];
/// The longest line that is looked at, bytes.
pub const LONGEST_LINE: usize = 64 << 10;
/// The most memory that a compiled pattern may take, bytes.
const PATTERN_BYTES: usize = 1 << 20;
/// The longest pattern, bytes.
const LONGEST_PATTERN: usize = 2000;
/// So many lines are kept that nothing matches, and so many of the first lines with what became of them.
const MOST_UNMATCHED: usize = 3;
const MOST_SHOWN: usize = 20;

/// How the lines of a log are read.
#[derive(Debug)]
pub struct LogLines {
    header: Map<String, Value>,
    /// Whether the second corner of a box is its last pixel.
    corner_is_inside: bool,
    patterns: Vec<Pattern>,
}

#[derive(Debug)]
struct Pattern {
    regex: Regex,
    record: &'static str,
}

/// A log as a trace.
#[derive(Debug, Default)]
pub struct Converted {
    /// The text of the trace.
    pub trace: String,
    /// How many lines became records.
    pub records: u64,
    /// How many lines nothing matches.
    pub unmatched: u64,
    /// How many lines are too long to be looked at.
    pub too_long: u64,
    /// How many lines matched, but had a field that is no number.
    pub wrong: u64,
    /// The first of those: number, and what is wrong.
    pub first_wrong: Vec<(usize, String)>,
    /// Whether some records have a time of day and others a count.
    pub is_mixed: bool,
    /// The first lines that nothing matches: number and text.
    pub first_unmatched: Vec<(usize, String)>,
    /// The first lines and what became of them.
    pub shown: Vec<(String, String)>,
}

/// Reads a description of log lines.
///
/// # Errors
/// Every fault of the text, each with its place.
pub fn read_log_lines(source: &Arc<Source>) -> Result<LogLines, Vec<Fault>> {
    read_document(source, |reading, root| {
        let known = ["$schema", "format", "header", "second_corner", "lines"];
        let fields = reading.document(root, "a description of log lines", "log-lines/1", &known)?;
        fields.get("$schema").and_then(|item| reading.text(item));
        let header = reading.required(&fields, "header", "a description of log lines");
        let header = header.and_then(|item| header_of(reading, &item));
        let corners = [("inside", true), ("outside", false)];
        let corner = fields.get("second_corner").map(|item| reading.word(item, &corners));
        let lines = reading.required(&fields, "lines", "a description of log lines");
        let lines = lines.and_then(|item| reading.list(&item))?;
        let read: Vec<Option<Pattern>> = lines.iter().map(|item| pattern(reading, item, corner.is_some())).collect();
        let patterns = read.into_iter().collect::<Option<Vec<Pattern>>>()?;
        let corner_is_inside = corner.map_or(Some(false), |corner| corner)?;
        Some(LogLines { header: header?, corner_is_inside, patterns })
    })
}

/// The header as it becomes the first line; the reader of traces checks its fields.
fn header_of(reading: &mut Reading, item: &Item<'_>) -> Option<Map<String, Value>> {
    reading.open_object(item, "the header of a trace")?;
    let Value::Object(mut header) = item.to_value() else { return None };
    header.entry("format").or_insert_with(|| "update-trace/1".into());
    Some(header)
}

fn pattern(reading: &mut Reading, item: &Item<'_>, has_corner: bool) -> Option<Pattern> {
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
        "update" => BOX.into_iter().chain(["mode", "started", "finished"]).collect(),
        "frame" => BOX.into_iter().chain(["file"]).collect(),
        "touch" | "key" => BOX.into_iter().chain(["point_x", "point_y"]).collect(),
        "temperature" => vec!["celsius"],
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

impl LogLines {
    /// Turns a log into a trace.
    pub fn convert(&self, log: &str) -> Converted {
        let mut converted = Converted::default();
        let mut begins_at = None;
        let mut has_counts = false;
        for (at, line) in log.lines().enumerate() {
            let became = match self.record(line) {
                None if line.len() > LONGEST_LINE => {
                    converted.too_long += 1;
                    "too long".to_owned()
                }
                None => {
                    converted.unmatched += 1;
                    if converted.first_unmatched.len() < MOST_UNMATCHED {
                        converted.first_unmatched.push((at + 1, line.chars().take(200).collect()));
                    }
                    "nothing matches".to_owned()
                }
                Some(Err(words)) => {
                    converted.wrong += 1;
                    if converted.first_wrong.len() < MOST_UNMATCHED {
                        converted.first_wrong.push((at + 1, words.clone()));
                    }
                    words
                }
                Some(Ok((record, time_of_day))) => {
                    converted.records += 1;
                    has_counts |= time_of_day.is_none();
                    begins_at = begins_at.or(time_of_day);
                    let record = Value::Object(record).to_string();
                    converted.trace.push_str(&record);
                    converted.trace.push('\n');
                    record
                }
            };
            if at < MOST_SHOWN {
                converted.shown.push((line.chars().take(200).collect(), became));
            }
        }
        converted.is_mixed = has_counts && begins_at.is_some();
        converted.trace = format!("{}\n{}", Value::Object(self.header_from(begins_at)), converted.trace);
        converted
    }

    /// The header; a log that gives times of day says when it begins, and that its clock begins again at midnight.
    fn header_from(&self, begins_at: Option<String>) -> Map<String, Value> {
        let mut header = self.header.clone();
        let Some(begins_at) = begins_at else { return header };
        let clock = header.entry("clock").or_insert_with(|| Value::Object(Map::new()));
        if let Value::Object(clock) = clock {
            clock.entry("starts_at").or_insert_with(|| begins_at.into());
            clock.entry("wraps_at").or_insert_with(|| whole(DAY_MS as f64 / 1000.0 * self.per_second()).into());
        }
        header
    }

    /// How many counts of the trace's clock make a second; a unit that is none is the reader's fault to report.
    fn per_second(&self) -> f64 {
        match self.header.get("clock").and_then(|clock| clock.get("unit")) {
            Some(Value::Number(counts)) => counts.as_f64().unwrap_or(1000.0),
            Some(Value::String(unit)) if unit == "s" => 1.0,
            Some(Value::String(unit)) if unit == "us" => 1e6,
            _ => 1000.0,
        }
    }

    /// The record of a line: of the first pattern that matches.
    fn record(&self, line: &str) -> Option<Result<Recorded, String>> {
        if line.len() > LONGEST_LINE {
            return None;
        }
        self.patterns.iter().find_map(|pattern| {
            let captures = pattern.regex.captures(line)?;
            let fields = self.fields(pattern.record, &captures);
            let at = group(&captures, "at").filter(|at| ms_of_day(at).is_some());
            Some(fields.map(|fields| (fields, at.map(str::to_owned))))
        })
    }

    fn fields(&self, record: &str, line: &Captures<'_>) -> Result<Map<String, Value>, String> {
        let group = |name: &str| group(line, name);
        let number = |name: &str| group(name).map(|text| number_of(name, text)).transpose();
        let time = |name: &str| group(name).map(|text| self.time_of(name, text)).transpose();
        let mut fields = Map::from_iter([("record".to_owned(), Value::from(record))]);
        let mut set = |name: &str, value: Option<Value>| value.and_then(|value| fields.insert(name.to_owned(), value));
        set("at", time("at")?.map(Value::Number));
        let frame = if record == "update" { "frame" } else { "file" };
        let said = if record == "power" { "to" } else { "text" };
        for (field, name) in [("mode", "mode"), (frame, "file"), (said, "text")] {
            set(field, group(name).map(Value::from));
        }
        for name in ["started", "finished"] {
            set(name, time(name)?.map(Value::Number));
        }
        set("celsius", number("celsius")?.map(Value::Number));
        let place = if matches!(record, "touch" | "key") { "box" } else { "window" };
        set(place, self.window(line)?);
        if let (Some(x), Some(y)) = (number("point_x")?, number("point_y")?) {
            set("point", Some(Value::from(vec![Value::Number(x), Value::Number(y)])));
        }
        Ok(fields)
    }

    /// A time: a count of the clock, or a time of day as counts since midnight.
    fn time_of(&self, name: &str, text: &str) -> Result<Number, String> {
        match ms_of_day(text).filter(|_| text.contains(':')) {
            Some(ms) => Ok(whole(ms * self.per_second() / 1000.0)),
            None => number_of(name, text),
        }
    }

    /// The box of a line, from its size or from its second corner.
    fn window(&self, line: &Captures<'_>) -> Result<Option<Value>, String> {
        let whole = |name: &str| {
            let text = group(line, name);
            text.map(|text| text.parse::<i64>().map_err(|_| format!("`{name}` is no whole number: {text}"))).transpose()
        };
        let (Some(x), Some(y)) = (whole("x")?, whole("y")?) else { return Ok(None) };
        let last = i64::from(self.corner_is_inside);
        let side = |size: Option<i64>, corner: Option<i64>, from: i64| {
            size.or(corner.map(|corner| corner.saturating_sub(from).saturating_add(last)))
        };
        let width = side(whole("w")?, whole("x2")?, x);
        let height = side(whole("h")?, whole("y2")?, y);
        Ok(width.zip(height).map(|(width, height)| Value::from(vec![x, y, width, height])))
    }

    /// What each pattern missed in a line, in words: how far it matches.
    pub fn missed(&self, line: &str) -> Vec<String> {
        let of_pattern = |(at, pattern): (usize, &Pattern)| {
            let text = pattern.regex.as_str();
            let ends = text.char_indices().map(|(end, _)| end).rev().take(LONGEST_PATTERN);
            let mut parts = ends.filter(|end| *end > 0).map(|end| text.split_at(end));
            let matching = parts.find(|(part, _)| compiled(part).is_ok_and(|part| part.is_match(line)));
            match matching {
                Some((part, rest)) => format!("pattern {at} matches as far as `{part}`, but not `{rest}`"),
                None => format!("pattern {at} matches nothing of it"),
            }
        };
        self.patterns.iter().enumerate().map(of_pattern).collect()
    }
}

/// The fields of a record, and its time of day if the line gives one.
type Recorded = (Map<String, Value>, Option<String>);

/// A count as a number without a fraction where it has none.
fn whole(count: f64) -> Number {
    let rounded = count.round();
    let is_whole = (count - rounded).abs() < 1e-6;
    let fraction = || Number::from_f64(count).unwrap_or_else(|| Number::from(0));
    if is_whole { Number::from(rounded as i64) } else { fraction() }
}

/// What a named group of a line is.
fn group<'l>(line: &Captures<'l>, name: &str) -> Option<&'l str> {
    line.name(name).map(|found| found.as_str())
}

/// A number of a log: whole, or with a point; zeros in front are common.
fn number_of(name: &str, text: &str) -> Result<Number, String> {
    let whole = text.parse::<i64>().ok().map(Number::from);
    let number = whole.or_else(|| text.parse::<f64>().ok().and_then(Number::from_f64));
    number.ok_or_else(|| format!("`{name}` is no number: {text}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Result<LogLines, Vec<String>> {
        let source = Arc::new(Source::new("L.json", text));
        read_log_lines(&source).map_err(|faults| faults.into_iter().map(|fault| fault.message).collect())
    }

    const TEXT: &str = r#"{ "format": "log-lines/1", "header": { "display": "a" }, "second_corner": "inside", "lines": [
        { "matches": "^(?<at>\\d+) draw m(?<mode>\\d) (?<x>\\d+),(?<y>\\d+)-(?<x2>\\d+),(?<y2>\\d+)", "record": "update" },
        { "matches": "^(?<at>\\d+) tap (?<point_x>\\d+) (?<point_y>\\d+)", "record": "touch" } ] }"#;

    #[test]
    fn groups_become_fields_and_the_last_pixel_belongs_to_the_box() {
        let log = "0012 draw m7 8,0-15,3\nboot\n20 tap 3 4\n";
        let converted = lines(TEXT).unwrap().convert(log);
        let records: Vec<Value> = converted.trace.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert_eq!(
            records,
            [
                serde_json::json!({ "format": "update-trace/1", "display": "a" }),
                serde_json::json!({ "record": "update", "at": 12, "mode": "7", "window": [8, 0, 8, 4] }),
                serde_json::json!({ "record": "touch", "at": 20, "point": [3, 4] }),
            ]
        );
        assert_eq!((converted.records, converted.unmatched), (2, 1));
        assert_eq!(converted.first_unmatched, [(2, "boot".to_owned())]);
        let outside = lines(&TEXT.replace("inside", "outside")).unwrap().convert(log);
        assert!(outside.trace.contains(r#""window":[8,0,7,3]"#), "{}", outside.trace);
    }

    #[test]
    fn times_of_day_become_counts_and_the_header_says_when_they_begin() {
        let text = r#"{ "format": "log-lines/1", "header": { "display": "a", "clock": { "unit": "us" } }, "lines": [
            { "matches": "^(?<at>[0-9:.]+) tap", "record": "touch" } ] }"#;
        let converted = lines(text).unwrap().convert("23:59:59.250 tap\n00:00:00.5 tap\n");
        let records: Vec<Value> = converted.trace.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        let clock = serde_json::json!({ "unit": "us", "starts_at": "23:59:59.250", "wraps_at": 86_400_000_000_u64 });
        assert_eq!(records[0]["clock"], clock);
        assert_eq!([&records[1]["at"], &records[2]["at"]], [&86_399_250_000_u64.into(), &Value::from(500_000)]);
    }

    #[test]
    fn a_line_that_nearly_matches_says_what_was_missed() {
        let missed = lines(TEXT).unwrap().missed("12 draw x");
        assert_eq!(missed[0].split('`').nth(1), Some(r"^(?<at>\d+) draw "), "{missed:?}");
    }

    #[test]
    fn every_fault_of_the_patterns_is_reported() {
        let faults = lines(
            r#"{ "format": "log-lines/1", "header": {}, "lines": [
                { "matches": "(?<at>[", "record": "update" }, { "matches": "(?<when>x)", "record": "blink" },
                { "matches": "(?<at>\\d+)(?<x2>\\d+)", "record": "touch" } ] }"#,
        );
        let faults = faults.unwrap_err();
        for words in
            ["not a regular expression", "no field `when`", "no group `at`", "cannot be `blink`", "second corner"]
        {
            assert!(faults.iter().any(|fault| fault.contains(words)), "{words}: {faults:?}");
        }
    }
}
