//! A device's own log as a trace: patterns say which lines are which records, and their named groups give the fields.
//! Works on texts; the patterns run in linear time.

use std::sync::Arc;

use regex::Captures;
use serde_json::{Map, Number, Value};

use super::{
    clock::{DAY_MS, ms_of_day, ms_of_minutes},
    log_patterns::{Pattern, read_pattern},
    plain_text::without_colours,
    update_ends::{Reports, UpdateEnds},
};
use crate::source::{
    Fault, Source,
    json::{Item, Reading, read_document},
};

/// The longest line that is looked at, bytes.
pub const LONGEST_LINE: usize = 64 << 10;
/// So many lines are kept that nothing matches.
const MOST_UNMATCHED: usize = 3;
/// The longest ending of the files of frames, bytes.
const LONGEST_ENDING: usize = 64;

/// How the lines of a log are read.
#[derive(Debug)]
pub struct LogLines {
    header: Map<String, Value>,
    /// Whether the second corner of a box is its last pixel.
    corner_is_inside: bool,
    /// What names of frames get that have no ending of their own.
    file_ending: String,
    patterns: Vec<Pattern>,
}

/// A log as a trace.
#[derive(Debug, Default)]
pub struct Converted {
    /// The text of the trace.
    pub trace: String,
    /// How many records it has.
    pub records: u64,
    /// The line of the log that each record comes from, from 1.
    pub lines: Vec<usize>,
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

/// The records of a log so far, each with its line.
#[derive(Default)]
struct TakenRecords {
    all: Vec<Map<String, Value>>,
    lines: Vec<usize>,
    ends: UpdateEnds,
}

/// What was taken of a line.
#[derive(Clone, Copy)]
enum Took {
    /// The record with this number.
    Record(usize),
    /// The start or the end of an update, with the number of its record if there is one.
    Report(Reports, Option<usize>),
}

impl TakenRecords {
    /// Takes what a line became.
    fn take(&mut self, record: Map<String, Value>, line: usize) -> Took {
        if let Some(reports) = Reports::of(&record) {
            return Took::Report(reports, self.ends.report(reports, record.get("at"), &mut self.all));
        }
        let number = self.all.len();
        if record.get("record").is_some_and(|kind| kind == "update") {
            self.ends.add(number);
        }
        self.all.push(record);
        self.lines.push(line);
        Took::Record(number)
    }

    /// The same in words.
    fn words(&self, took: Took) -> String {
        match took {
            Took::Record(number) => Value::Object(self.all[number].clone()).to_string(),
            Took::Report(reports, Some(update)) => {
                format!("{} of the update in line {}", reports.words(), self.lines[update])
            }
            Took::Report(reports, None) => format!("{} of no update before it", reports.words()),
        }
    }
}

/// Reads a description of log lines.
///
/// # Errors
/// Every fault of the text, each with its place.
pub fn read_log_lines(source: &Arc<Source>) -> Result<LogLines, Vec<Fault>> {
    read_document(source, |reading, root| {
        let known = ["$schema", "format", "header", "second_corner", "file_ending", "lines"];
        let fields = reading.document(root, "a description of log lines", "log-lines/1", &known)?;
        fields.get("$schema").and_then(|item| reading.text(item));
        let header = reading.required(&fields, "header", "a description of log lines");
        let header = header.and_then(|item| header_of(reading, &item));
        let corners = [("inside", true), ("outside", false)];
        let corner = fields.get("second_corner").map(|item| reading.word(item, &corners));
        let file_ending = fields.get("file_ending").map_or(Some(String::new()), |item| file_ending(reading, item));
        let lines = reading.required(&fields, "lines", "a description of log lines");
        let lines = lines.and_then(|item| reading.list(&item))?;
        let read: Vec<Option<Pattern>> =
            lines.iter().map(|item| read_pattern(reading, item, corner.is_some())).collect();
        let patterns = read.into_iter().collect::<Option<Vec<Pattern>>>()?;
        let corner_is_inside = corner.map_or(Some(false), |corner| corner)?;
        Some(LogLines { header: header?, corner_is_inside, file_ending: file_ending?, patterns })
    })
}

/// The header as it becomes the first line; the reader of traces checks its fields.
fn header_of(reading: &mut Reading, item: &Item<'_>) -> Option<Map<String, Value>> {
    reading.open_object(item, "the header of a trace")?;
    let Value::Object(mut header) = item.to_value() else { return None };
    header.entry("format").or_insert_with(|| "update-trace/1".into());
    Some(header)
}

/// The ending of the files of frames whose names in the log have none.
fn file_ending(reading: &mut Reading, item: &Item<'_>) -> Option<String> {
    let ending = reading.text(item)?.value;
    let has_name = ending.strip_prefix('.').is_some_and(|name| !name.is_empty() && !name.contains(['/', '\\']));
    if !has_name || ending.len() > LONGEST_ENDING {
        reading.fault(
            item,
            format!("`{ending}` is not the ending of a file"),
            "write it with its point, such as `.png`",
        );
        return None;
    }
    Some(ending)
}

impl LogLines {
    /// Turns a log into a trace; of the first lines, so many are kept with what became of them.
    pub fn convert(&self, log: &str, most_shown: usize) -> Converted {
        let mut converted = Converted::default();
        let mut begins_at = None;
        let mut has_counts = false;
        let mut taken = TakenRecords::default();
        for (at, line) in without_colours(log).lines().enumerate() {
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
                Some(Ok((records, time_of_day))) => {
                    has_counts |= time_of_day.is_none();
                    begins_at = begins_at.or(time_of_day);
                    let took: Vec<Took> = records.into_iter().map(|record| taken.take(record, at + 1)).collect();
                    // Most lines of a long log are not shown.
                    let shown = took.into_iter().filter(|_| at < most_shown).map(|took| taken.words(took));
                    shown.collect::<Vec<_>>().join("\n  -> ")
                }
            };
            if at < most_shown {
                converted.shown.push((line.chars().take(200).collect(), became));
            }
        }
        converted.is_mixed = has_counts && begins_at.is_some();
        converted.records = taken.all.len() as u64;
        converted.lines = taken.lines;
        let header = self.header_from(begins_at);
        for record in std::iter::once(header).chain(taken.all) {
            converted.trace.push_str(&Value::Object(record).to_string());
            converted.trace.push('\n');
        }
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

    /// The records of a line: of the first pattern that matches.
    fn record(&self, line: &str) -> Option<Result<Recorded, String>> {
        if line.len() > LONGEST_LINE {
            return None;
        }
        self.patterns.iter().find_map(|pattern| {
            let captures = pattern.regex.captures(line)?;
            let records = self.records(pattern.record, &captures);
            let at = group(&captures, "at").map(with_point).filter(|at| ms_of_day(at).is_some());
            Some(records.map(|records| (records, at)))
        })
    }

    /// The record that a line is; a temperature in the line of an update is a record of its own, before it.
    fn records(&self, record: &'static str, line: &Captures<'_>) -> Result<Vec<Map<String, Value>>, String> {
        let measured = (record != "temperature" && group(line, "celsius").is_some()).then_some("temperature");
        measured.into_iter().chain([record]).map(|record| self.fields(record, line)).collect()
    }

    fn fields(&self, record: &str, line: &Captures<'_>) -> Result<Map<String, Value>, String> {
        let number = |name: &str| group(line, name).map(|text| number_of(name, text)).transpose();
        let time = |name: &str| group(line, name).map(|text| self.time_of(name, text)).transpose();
        let mut fields = Map::from_iter([("record".to_owned(), Value::from(record))]);
        let mut set = |name: &str, value: Option<Value>| value.and_then(|value| fields.insert(name.to_owned(), value));
        set("at", time("at")?.map(Value::Number));
        if record == "temperature" {
            set("celsius", number("celsius")?.map(Value::Number));
            return Ok(fields);
        }
        set("mode", group(line, "mode").map(Value::from));
        set(
            if record == "update" { "frame" } else { "file" },
            group(line, "file").map(|name| self.file_of(name).into()),
        );
        // `OFF` is what others write as `off`.
        let said = group(line, "text").map(str::to_owned);
        match record {
            "power" => set("to", said.map(|state| state.to_lowercase().into())),
            _ => set("text", said.map(Value::from)),
        };
        for name in ["started", "finished"] {
            set(name, time(name)?.map(Value::Number));
        }
        set(if matches!(record, "touch" | "key") { "box" } else { "window" }, self.window(line)?);
        if let (Some(x), Some(y)) = (number("point_x")?, number("point_y")?) {
            set("point", Some(Value::from(vec![Value::Number(x), Value::Number(y)])));
        }
        Ok(fields)
    }

    /// The file of a frame: its name gets the ending of the description, if it has none.
    fn file_of(&self, name: &str) -> String {
        let has_ending = name.rsplit(['/', '\\']).next().is_some_and(|name| name.contains('.'));
        if has_ending { name.to_owned() } else { format!("{name}{}", self.file_ending) }
    }

    /// A time: a count of the clock, a time of day as counts since midnight, or minutes and seconds since the start.
    fn time_of(&self, name: &str, text: &str) -> Result<Number, String> {
        let time = with_point(text);
        match ms_of_day(&time).or_else(|| ms_of_minutes(&time)) {
            Some(ms) => Ok(whole(ms * self.per_second() / 1000.0)),
            None if text.contains(':') => Err(format!(
                "`{name}` is neither a time of day (09:31:12.480) nor minutes and seconds (31:12.480): {text}"
            )),
            None => number_of(name, text),
        }
    }

    /// The box of a line, from its size or from its second corner.
    fn window(&self, line: &Captures<'_>) -> Result<Option<Value>, String> {
        let whole = |name: &str| {
            let text = group(line, name);
            text.map(|text| whole_of(text).ok_or_else(|| format!("`{name}` is no whole number: {text}"))).transpose()
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
        let patterns = self.patterns.iter().enumerate();
        patterns.map(|(at, pattern)| format!("pattern {at} {}", pattern.missed(line))).collect()
    }
}

/// The fields of the records of a line, and its time of day if it gives one.
type Recorded = (Vec<Map<String, Value>>, Option<String>);

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
    let number = whole_of(text).map(Number::from).or_else(|| text.parse::<f64>().ok().and_then(Number::from_f64));
    number.ok_or_else(|| format!("`{name}` is no number: {text}"))
}

/// A whole number of a log, with the digits of ten or, behind `0x`, of sixteen.
fn whole_of(text: &str) -> Option<i64> {
    match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) if !digits.starts_with(['+', '-']) => i64::from_str_radix(digits, 16).ok(),
        _ => text.parse().ok(),
    }
}

/// A time of day with a point before its fraction, where many logs write a comma.
fn with_point(time: &str) -> String {
    time.replace(',', ".")
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
        let converted = lines(TEXT).unwrap().convert(log, 20);
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
        let outside = lines(&TEXT.replace("inside", "outside")).unwrap().convert(log, 20);
        assert!(outside.trace.contains(r#""window":[8,0,7,3]"#), "{}", outside.trace);
    }

    #[test]
    fn times_of_day_become_counts_and_the_header_says_when_they_begin() {
        let text = r#"{ "format": "log-lines/1", "header": { "display": "a", "clock": { "unit": "us" } }, "lines": [
            { "matches": "^(?<at>[0-9:.]+) tap", "record": "touch" } ] }"#;
        let converted = lines(text).unwrap().convert("23:59:59.250 tap\n00:00:00.5 tap\n", 20);
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
