//! The table of readings as people fill it in: CSV, with every fault at its place.
//!
//! Knows the columns and what a mode can do; what the readings mean is computed elsewhere.

use std::sync::Arc;

use csv::{ReaderBuilder, StringRecord, Trim};

use super::{PatchHistory, Reading};
use crate::{
    display::{Display, Ink, Level, Mode},
    source::{Fault, Source, Span, did_you_mean},
};

/// The columns, in the order of the file that the program writes.
pub const COLUMNS: [&str; 6] = ["cleaned_to", "then", "times", "patch", "read_l", "clean_l"];
/// The column that the program does not read: which patch it was.
const FREE: &str = "patch";
/// The most updates of one row: more are a slip of the pen.
const MOST_UPDATES: usize = 100_000;

/// What a table holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The rows that are filled in.
    pub readings: Vec<Reading>,
    /// How many rows wait for their readings.
    pub empty: usize,
}

/// Reads a table for one mode of a display.
///
/// # Errors
/// Every fault of the table, at its place.
pub fn read_table(source: &Arc<Source>, display: &Display, mode: &Mode) -> Result<Table, Vec<Fault>> {
    let mut reader =
        ReaderBuilder::new().comment(Some(b'#')).trim(Trim::All).flexible(true).from_reader(source.text.as_bytes());
    let header = reader.headers().map_err(|error| vec![broken(source, &error)])?.clone();
    let columns = columns(source, &header)?;
    // A first line, too, may end in empty values.
    let named = header.iter().enumerate().filter(|(_, name)| !name.is_empty()).map(|(at, _)| at + 1).max().unwrap_or(0);
    let (mut table, mut faults) = (Table { readings: Vec::new(), empty: 0 }, Vec::new());
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(broken(source, &error));
                break;
            }
        };
        let row = Row { source, record: &record, columns, named, display, mode };
        match row.reading() {
            Ok(Some(reading)) => table.readings.push(reading),
            Ok(None) => table.empty += 1,
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(table) } else { Err(faults) }
}

fn broken(source: &Arc<Source>, error: &csv::Error) -> Fault {
    let start = error.position().map_or(0, |position| position.byte() as usize);
    Fault::at(source, line_at(source, start), format!("the table cannot be read: {error}")).with_help(
        "write one row per line, with commas between the values; put a value that contains a comma or a quotation mark \
         in quotes",
    )
}

/// The place of each column that is read.
type Columns = [usize; 6];

fn columns(source: &Arc<Source>, header: &StringRecord) -> Result<Columns, Vec<Fault>> {
    let at = header.position().map_or(0, |position| position.byte() as usize);
    let line = line_at(source, at);
    let names = COLUMNS.join(",");
    let unknown = header.iter().enumerate().filter(|(_, name)| !name.is_empty() && !COLUMNS.contains(name));
    let mut faults: Vec<Fault> = unknown
        .map(|(place, name)| {
            let is_one = name.contains([';', '\t']);
            let commas = || format!("separate the columns with commas: `{names}`");
            let help = if is_one { commas() } else { did_you_mean(name, COLUMNS) };
            Fault::at(source, field_span(source, line, place), format!("there is no column `{name}`")).with_help(help)
        })
        .collect();
    let place = |name: &str| header.iter().position(|written| written == name);
    let again = header.iter().enumerate().filter(|(at, name)| !name.is_empty() && place(name) != Some(*at));
    faults.extend(again.filter(|(_, name)| COLUMNS.contains(name)).map(|(at, name)| {
        let message = format!("the column `{name}` appears twice");
        Fault::at(source, field_span(source, line, at), message).with_help("keep one of the two")
    }));
    let missing: Vec<String> =
        COLUMNS.iter().filter(|name| **name != FREE && place(name).is_none()).map(|name| format!("`{name}`")).collect();
    // A misspelt name is reported once, as that.
    if faults.is_empty() && !missing.is_empty() {
        let message = match missing.as_slice() {
            [one] => format!("the column {one} is missing"),
            several => format!("the columns {} are missing", several.join(", ")),
        };
        let help = format!("the first line must be `{names}`; `{FREE}` may be left out");
        faults.push(Fault::at(source, line, message).with_help(help));
    }
    if faults.is_empty() { Ok(COLUMNS.map(|name| place(name).unwrap_or(usize::MAX))) } else { Err(faults) }
}

/// The line that a byte stands in, without its end.
fn line_at(source: &Source, byte: usize) -> Span {
    let text = &source.text[byte.min(source.text.len())..];
    // The reader's positions stand before blank lines and comments.
    let mut start = byte.min(source.text.len());
    for line in text.split_inclusive('\n') {
        let bare = line.trim();
        if !bare.is_empty() && !bare.starts_with('#') {
            return Span { start, end: start + line.trim_end().len() };
        }
        start += line.len();
    }
    Span { start: byte.min(source.text.len()), end: source.text.len() }
}

/// A field of a line, without the blanks around it; behind the last where it is missing.
fn field_span(source: &Source, line: Span, place: usize) -> Span {
    let text = &source.text[line.start..line.end];
    let (mut quoted, mut start, mut number) = (false, 0, 0);
    for (at, character) in text.char_indices().chain([(text.len(), ',')]) {
        match character {
            '"' => quoted = !quoted,
            ',' if !quoted || at == text.len() => {
                if number == place {
                    let field = &text[start..at];
                    let begin = line.start + start + (field.len() - field.trim_start().len());
                    return Span { start: begin, end: begin + field.trim().len() };
                }
                (start, number) = (at + 1, number + 1);
            }
            _ => {}
        }
    }
    Span { start: line.end, end: line.end }
}

/// One row, and what it is read against.
struct Row<'t> {
    source: &'t Arc<Source>,
    record: &'t StringRecord,
    columns: Columns,
    /// How many columns the first line names.
    named: usize,
    display: &'t Display,
    mode: &'t Mode,
}

impl Row<'_> {
    /// The row's reading; `None` if it was not filled in.
    fn reading(&self) -> Result<Option<Reading>, Fault> {
        self.check_length()?;
        let history = self.history()?;
        let (read, clean) = (self.text(4), self.text(5));
        if read.is_empty() && clean.is_empty() {
            return Ok(None);
        }
        Ok(Some(Reading { history, read_l: self.lightness(4)?, clean_l: self.lightness(5)? }))
    }

    /// A row may end in empty values, as tables are exported, and no others: a decimal comma would be taken for two.
    fn check_length(&self) -> Result<(), Fault> {
        let named = self.named;
        let Some(surplus) = (named..self.record.len()).find(|at| !self.record[*at].is_empty()) else { return Ok(()) };
        let start = self.record.position().map_or(0, |position| position.byte() as usize);
        let span = field_span(self.source, line_at(self.source, start), surplus);
        let message = format!("this row has {} values, but the first line names {named} columns", self.record.len());
        Err(Fault::at(self.source, span, message)
            .with_help("write a point as the decimal separator, for instance 68.4, and one value for each column"))
    }

    fn text(&self, column: usize) -> &str {
        self.record.get(self.columns[column]).unwrap_or_default()
    }

    fn fault(&self, column: usize, message: impl Into<String>, help: impl Into<String>) -> Fault {
        let start = self.record.position().map_or(0, |position| position.byte() as usize);
        let span = field_span(self.source, line_at(self.source, start), self.columns[column]);
        Fault::at(self.source, span, message).with_help(help)
    }

    fn lightness(&self, column: usize) -> Result<f64, Fault> {
        let (text, name) = (self.text(column), COLUMNS[column]);
        let read: Option<f64> = text.parse().ok();
        if let Some(read) = read.filter(|read| (0.0..=100.0).contains(read)) {
            return Ok(read);
        }
        let message = match text {
            "" => format!("`{name}` is missing"),
            _ => format!("`{name}` is `{text}`, but it must be an L* from 0 to 100"),
        };
        let help = if text.contains(',') {
            "write a point as the decimal separator, for instance 68.4"
        } else {
            "write the value from the meter, for instance 68.4; leave both readings empty in a row that was not \
             measured"
        };
        Err(self.fault(column, message, help))
    }

    fn history(&self) -> Result<PatchHistory, Fault> {
        let ink = &self.display.ink;
        let cleaned_to = self.level(0, self.text(0))?;
        let then: Vec<Level> =
            self.text(1).split('>').map(|name| self.level(1, name.trim())).collect::<Result<_, Fault>>()?;
        let times =
            self.text(2).parse().ok().filter(|times| (1..=MOST_UPDATES).contains(&(*times as usize * then.len())));
        let Some(times) = times else {
            let most = MOST_UPDATES / then.len();
            let message = format!("`times` is `{}`, but it must be a whole number from 1 to {most}", self.text(2));
            return Err(self.fault(2, message, "write how many times the levels of `then` were driven"));
        };
        let history = PatchHistory { cleaned_to, then, times };
        let mut from = cleaned_to;
        for to in history.then.iter().chain(history.then.first()) {
            if !self.mode.to.contains(*to) {
                let message = format!("`{}` cannot drive a pixel to {}", self.mode.name, ink.name(*to));
                return Err(self.fault(1, message, "measure between levels that the mode can reach"));
            }
            if !self.mode.from.contains(from) {
                let message = format!("`{}` cannot start from {}", self.mode.name, ink.name(from));
                return Err(self.fault(0, message, "start at a level that the mode can start from"));
            }
            from = *to;
        }
        Ok(history)
    }

    fn level(&self, column: usize, name: &str) -> Result<Level, Fault> {
        let ink = &self.display.ink;
        level_named(ink, name).ok_or_else(|| {
            let message = match name {
                "" if column == 1 && self.text(1).contains('>') => "`then` lacks a level next to a `>`".to_owned(),
                "" => format!("`{}` is missing", COLUMNS[column]),
                _ => format!("`{name}` is not a level of `{}`", self.display.name),
            };
            let names: Vec<String> = ink.all().iter().map(|level| written(ink, level)).collect();
            let help = match column {
                0 => did_you_mean(name, names.iter().map(String::as_str)),
                _ => format!(
                    "{}; separate several levels by `>`, for instance `black > white`",
                    did_you_mean(name, names.iter().map(String::as_str))
                ),
            };
            self.fault(column, message, help)
        })
    }
}

/// A level by its name or its number.
fn level_named(ink: &Ink, name: &str) -> Option<Level> {
    ink.all()
        .iter()
        .find(|level| written(ink, *level) == name || (ink.colours().is_none() && level.to_string() == name))
}

/// How a level is written in a table: black and white by name, other greys by number.
pub(super) fn written(ink: &Ink, level: Level) -> String {
    let is_end = level == ink.black() || level == ink.white();
    if is_end || ink.colours().is_some() { ink.name(level) } else { level.to_string() }
}
