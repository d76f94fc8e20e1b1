//! Draws a message with its underlined place: a heading, the message, the lines around the place, what may help.
//!
//! Takes what miette calls a diagnostic, and does not know what it is about. That library can draw too, but brings the line
//! breaking of all scripts with it, far larger than all else here; our lines break at spaces alone.

use std::fmt::Write as _;

use miette::{Diagnostic, Severity, SourceSpan};
use unicode_width::UnicodeWidthStr;

use super::style::TextStyle;
use crate::finding;

/// Lines shown around the place.
const CONTEXT_LINES: usize = 1;
const HELP: &str = "  help: ";

/// The escape sequences that colour parts of a text; none where there are no colours.
#[derive(Clone, Copy)]
pub(super) struct Paint {
    is_on: bool,
}

/// How a level is marked.
#[derive(Clone, Copy)]
pub(super) struct Sign {
    colour: &'static str,
    sign: &'static str,
}

impl Sign {
    pub(super) fn sign(self) -> &'static str {
        self.sign
    }
}

/// The mark of a level.
pub(super) fn sign(severity: Severity) -> Sign {
    match severity {
        Severity::Error => Sign { colour: ERROR, sign: "×" },
        Severity::Warning => Sign { colour: WARNING, sign: "⚠" },
        Severity::Advice => Sign { colour: ADVICE, sign: "☞" },
    }
}

/// Colours that every terminal sets to suit its ground.
const ERROR: &str = "31";
const WARNING: &str = "33";
const ADVICE: &str = "36";
const FILE: &str = "36;1;4";
const PLACE: &str = "35;1";
const FAINT: &str = "2";

impl Paint {
    pub(super) fn new(has_colour: bool) -> Self {
        Self { is_on: has_colour }
    }

    /// Words in the colour of a level.
    pub(super) fn level(self, sign: Sign, text: &str) -> String {
        self.paint(sign.colour, text)
    }

    /// The name of what follows it.
    pub(super) fn name(self, text: &str) -> String {
        self.paint(ADVICE, text)
    }

    fn paint(self, colour: &str, text: &str) -> String {
        if self.is_on { format!("\u{1b}[{colour}m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

/// The message as lines of text.
pub(super) fn draw(diagnostic: &dyn Diagnostic, style: TextStyle) -> String {
    let (paint, width) = (Paint::new(style.colour), style.width);
    let Sign { colour, sign } = sign(diagnostic.severity().unwrap_or(Severity::Error));
    let mut text = String::new();
    if let Some(code) = diagnostic.code() {
        let _ = writeln!(text, "{}\n", paint.paint(colour, &code.to_string()));
    }
    let [first, others] = [sign, "│"].map(|sign| format!("  {} ", paint.paint(colour, sign)));
    let _ = writeln!(text, "{}", wrapped(&diagnostic.to_string(), width, &first, &others));
    excerpt(diagnostic, paint, &mut text);
    if let Some(help) = diagnostic.help() {
        let first = paint.paint(ADVICE, HELP);
        let _ = writeln!(text, "{}", wrapped(&help.to_string(), width, &first, &" ".repeat(HELP.len())));
    }
    without_blanks_at_ends(&text)
}

pub(super) fn without_blanks_at_ends(text: &str) -> String {
    let mut lines: String = text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n");
    lines.push('\n');
    lines
}

/// The colour that a level has.
pub(super) fn shade(severity: finding::Severity) -> Severity {
    match severity {
        finding::Severity::Error => Severity::Error,
        finding::Severity::Warning => Severity::Warning,
        finding::Severity::Note => Severity::Advice,
    }
}

/// Names and paths are never broken at their hyphens and slashes.
pub(super) fn wrapped(text: &str, width: usize, first: &str, others: &str) -> String {
    let options = textwrap::Options::new(width.saturating_sub(2))
        .initial_indent(first)
        .subsequent_indent(others)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::fill(text, options)
}

/// The lines around the first labelled place, which lies in one line.
fn excerpt(diagnostic: &dyn Diagnostic, paint: Paint, text: &mut String) {
    let Some(shown) = lines_around(diagnostic, paint) else { return };
    let _ = writeln!(text, "{}╭─[{}]", shown.edge, shown.named);
    shown.lines.iter().for_each(|(line, _)| text.push_str(line));
    let _ = writeln!(text, "{}╰────", shown.edge);
}

/// The line of the place alone, underlined.
pub(super) fn line_of_place(diagnostic: &dyn Diagnostic, has_colour: bool) -> String {
    let Some(shown) = lines_around(diagnostic, Paint::new(has_colour)) else { return String::new() };
    let line: String = shown.lines.into_iter().filter(|(_, is_marked)| *is_marked).map(|(line, _)| line).collect();
    format!("{}╭─[{}]\n{line}", shown.edge, shown.named)
}

/// What is drawn of a file.
struct Excerpt {
    /// What stands where other lines have their number.
    edge: String,
    /// The name of the file with line and column.
    named: String,
    /// The lines with their numbers and with what stands below them, and whether the place begins in one.
    lines: Vec<(String, bool)>,
}

fn lines_around(diagnostic: &dyn Diagnostic, paint: Paint) -> Option<Excerpt> {
    let label = diagnostic.labels().and_then(|mut labels| labels.next());
    let (source, label) = diagnostic.source_code().zip(label)?;
    let place = label.inner();
    let around = source.read_span(place, CONTEXT_LINES, CONTEXT_LINES);
    let (Ok(around), Ok(at)) = (around, source.read_span(place, 0, 0)) else { return None };
    let shown = String::from_utf8_lossy(around.data());
    let first = around.line() + 1;
    let lines: Vec<&str> = shown.lines().collect();
    let last = if lines.is_empty() { 0 } else { around.line() + lines.len() };
    let gutter = last.to_string().len();
    let edge = " ".repeat(gutter + 2);
    let named = format!("{}:{}:{}", at.name().unwrap_or_default(), at.line() + 1, at.column() + 1);
    let mut drawn = Vec::new();
    let mut offset = around.span().offset();
    for (number, line) in (first..).zip(lines) {
        let number = paint.paint(FAINT, &format!("{number:gutter$}"));
        let mut text = format!(" {number} │ {line}\n");
        // Nothing is marked behind the end of all that is shown.
        let end = (offset + line.len() + 1).min(around.span().offset() + around.span().len());
        let is_marked = (offset..end).contains(&place.offset());
        if is_marked {
            for marks in &marks(line, offset, *place, label.label()) {
                let _ = writeln!(text, "{edge}· {}", marks.painted(paint));
            }
        }
        drawn.push((text, is_marked));
        offset += line.len() + 1;
    }
    Some(Excerpt { edge, named: paint.paint(FILE, &named), lines: drawn })
}

/// What stands under a line: so many blanks, then the marks.
struct Marks {
    blanks: usize,
    /// Whether the blanks are painted with the marks: it is not seen, only read by programs.
    is_one: bool,
    signs: String,
}

impl Marks {
    fn painted(&self, paint: Paint) -> String {
        let blanks = " ".repeat(self.blanks);
        if self.is_one {
            paint.paint(PLACE, &format!("{blanks}{}", self.signs))
        } else {
            format!("{blanks}{}", paint.paint(PLACE, &self.signs))
        }
    }
}

/// The underline of a place in a line that begins at an offset, and below it what the label says of it.
fn marks(line: &str, offset: usize, place: SourceSpan, label: Option<&str>) -> Vec<Marks> {
    let columns = |to: usize| line.get(..to.min(line.len())).map_or(0, UnicodeWidthStr::width);
    let from = place.offset() - offset;
    let start = columns(from);
    let end = columns(from + place.len()).max(start + 1);
    let middle = usize::midpoint(start, end);
    let sign = match label {
        _ if place.is_empty() => '▲',
        Some(_) => '┬',
        None => '─',
    };
    let under = |count: usize| "─".repeat(count);
    let marks = format!("{}{sign}{}", under(middle - start), under(end - middle - 1));
    let underline = Marks { blanks: start, is_one: true, signs: marks };
    let below = label.map(|label| Marks { blanks: middle, is_one: false, signs: format!("╰── {label}") });
    [underline].into_iter().chain(below).collect()
}
