//! The shapes of a log's lines: lines of one shape differ only in numbers, times, names of files and names of modes. Knows how
//! programmers write lines, not what a record needs.

use std::collections::BTreeMap;

use super::clock::{ms_of_day, ms_of_minutes};

/// The most lines that are looked at.
const MOST_LINES: usize = 20_000;
/// The longest line that is looked at, bytes.
const LONGEST_LINE: usize = 1000;
/// A part of a line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Piece {
    /// The same in all lines of the shape.
    Words(String),
    /// A time of day.
    TimeOfDay,
    Number,
    /// A number with the digits of sixteen, behind `0x`.
    Hex,
    /// The name of a file with pixels, or of what is shown.
    File,
    /// The word behind `mode`.
    ModeWord,
    /// A word that many devices call a mode, wherever it stands.
    ModeName,
}

/// Lines that differ only in what is not words.
#[derive(Debug)]
pub(super) struct Shape<'l> {
    pub(super) pieces: Vec<Piece>,
    pub(super) count: usize,
    pub(super) example: &'l str,
    /// What stands in the places that are not words, line by line.
    values: Vec<Vec<&'l str>>,
}

impl<'l> Shape<'l> {
    /// What stands at a piece that is not words, line by line.
    pub(super) fn values_at(&self, piece: usize) -> impl Iterator<Item = &'l str> + '_ {
        let slot = self.pieces[..piece].iter().filter(|piece| !matches!(piece, Piece::Words(_))).count();
        self.values.iter().map(move |values| values[slot])
    }
}

pub(super) fn shapes(log: &str) -> Vec<Shape<'_>> {
    let mut by_pieces: BTreeMap<Vec<Piece>, usize> = BTreeMap::new();
    let mut shapes: Vec<Shape<'_>> = Vec::new();
    let lines = log.lines().filter(|line| !line.trim().is_empty() && line.len() <= LONGEST_LINE);
    for line in lines.take(MOST_LINES) {
        let (pieces, values) = pieces_of(line);
        let at = *by_pieces.entry(pieces.clone()).or_insert(shapes.len());
        if at == shapes.len() {
            shapes.push(Shape { pieces, count: 0, example: line, values: Vec::new() });
        }
        shapes[at].count += 1;
        shapes[at].values.push(values);
    }
    shapes
}

/// The parts of a line, and what stands where it is not words.
fn pieces_of(line: &str) -> (Vec<Piece>, Vec<&str>) {
    let (mut pieces, mut values) = (Vec::new(), Vec::new());
    let (mut words, mut rest) = (String::new(), line);
    while let Some(first) = rest.chars().next() {
        let begins = words.chars().next_back().is_none_or(|before| !before.is_alphanumeric());
        // Two numbers with a colon between them are a time only where a line begins with them.
        let is_first = pieces.is_empty() && !words.contains(char::is_alphanumeric);
        let found = found_at(rest, &words, begins, is_first);
        let Some((piece, length)) = found else {
            words.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        };
        if !words.is_empty() {
            pieces.push(Piece::Words(std::mem::take(&mut words)));
        }
        pieces.push(piece);
        values.push(&rest[..length]);
        rest = &rest[length..];
    }
    if !words.is_empty() {
        pieces.push(Piece::Words(words));
    }
    (pieces, values)
}

/// What begins here that is not words, and how long it is; `begins` says that no letter or digit stands before it, `is_first`
/// that none stands before it in the line.
fn found_at(rest: &str, before: &str, begins: bool, is_first: bool) -> Option<(Piece, usize)> {
    let of = |piece: Piece| move |length: usize| (piece, length);
    file_at(rest, before, begins)
        .map(of(Piece::File))
        .or_else(|| time_at(rest).map(of(Piece::TimeOfDay)))
        .or_else(|| uptime_at(rest).filter(|_| is_first).map(of(Piece::TimeOfDay)))
        .or_else(|| hex_at(rest).filter(|_| begins).map(of(Piece::Hex)))
        .or_else(|| number_at(rest, before).map(of(Piece::Number)))
        .or_else(|| mode_at(rest, before).filter(|_| begins))
}

/// How many letters at the beginning are such letters, in bytes.
fn run(text: &str, is_such: impl Fn(char) -> bool) -> usize {
    text.find(|letter| !is_such(letter)).unwrap_or(text.len())
}

fn digits(text: &str) -> usize {
    run(text, |letter| letter.is_ascii_digit())
}

/// The length of the name of a file with pixels, or of a screen behind a word such as `show`.
fn file_at(rest: &str, before: &str, begins: bool) -> Option<usize> {
    let token = run(rest, |letter| !letter.is_whitespace() && !"\"',;()[]".contains(letter));
    let is_after_space =
        before.chars().next_back().is_none_or(|letter| !letter.is_alphanumeric() && !"/._-".contains(letter));
    // `buffer <- 007`: an arrow brings what stands behind it into what stands before it.
    let is_brought = token > 0 && before.trim_end().ends_with("<-") && before.ends_with([' ', '-']);
    let is_frame = FRAME_ENDINGS.iter().any(|ending| rest[..token].to_lowercase().ends_with(ending))
        // `buf=page.bin`: the name stands behind the key.
        && !rest[..token].contains('=');
    let is_named = begins && is_name_of_frame(&rest[..token], before);
    (is_after_space && is_frame || is_brought || is_named).then_some(token)
}

/// Whether a word is the name of what is shown: `show menu`, `screen=menu`, and not `frame done` or `draw x=8`.
fn is_name_of_frame(word: &str, before: &str) -> bool {
    let lower = word.to_lowercase();
    let is_assigned = before.ends_with(['=', ':', '"', '\'']);
    FRAME_LABELS.contains(&label(before).as_str())
        && !before.ends_with(char::is_alphanumeric)
        && word.starts_with(char::is_alphabetic)
        && !word.contains(['=', ':'])
        && !MODE_NAMES.contains(&lower.as_str())
        // `x16` is a coordinate.
        && !lower.trim_end_matches(|letter: char| letter.is_ascii_digit()).eq("x")
        && (is_assigned || !NO_NAMES.contains(&lower.as_str()))
}

/// The length of a time of day; some logs write a comma before its three last digits.
fn time_at(rest: &str) -> Option<usize> {
    let time = run(rest, |letter| letter.is_ascii_digit() || ":.".contains(letter));
    if !rest[..time].contains(':') || ms_of_day(&rest[..time]).is_none() {
        return None;
    }
    let behind = rest[time..].strip_prefix(',').unwrap_or_default();
    let is_fraction = digits(behind) == 3 && !rest[..time].contains('.') && !behind[3..].starts_with([',', '.', ':']);
    Some(if is_fraction { time + 4 } else { time })
}

/// The length of minutes and seconds since the start, `02:16.655`.
fn uptime_at(rest: &str) -> Option<usize> {
    let time = run(rest, |letter| letter.is_ascii_digit() || ":.".contains(letter));
    ms_of_minutes(&rest[..time]).map(|_| time)
}

fn hex_at(rest: &str) -> Option<usize> {
    let behind = rest.strip_prefix("0x").or_else(|| rest.strip_prefix("0X"))?;
    let length = run(behind, |letter| letter.is_ascii_hexdigit());
    (length > 0 && !behind[length..].starts_with(char::is_alphanumeric)).then_some(length + 2)
}

/// The length of a number, with its sign where a minus can be nothing else: `temp -3.5`, `x=-8`, and not `8,0-15,7`.
fn number_at(rest: &str, before: &str) -> Option<usize> {
    let is_sign =
        before.ends_with(['=', ':', '(']) || before.ends_with(' ') && before.trim_end().ends_with(char::is_alphabetic);
    let sign = usize::from(is_sign && rest.starts_with('-'));
    let digits_behind = digits(&rest[sign..]);
    // The digit of `x0=` is a part of that name.
    let is_of_a_name = before.ends_with(char::is_alphabetic) && rest[digits_behind..].starts_with('=');
    if digits_behind == 0 || is_of_a_name {
        return None;
    }
    let fraction = rest[sign + digits_behind..].strip_prefix('.').map_or(0, digits);
    Some(sign + digits_behind + if fraction > 0 { fraction + 1 } else { 0 })
}

fn mode_at(rest: &str, before: &str) -> Option<(Piece, usize)> {
    let word = run(rest, |letter| letter.is_alphanumeric() || letter == '_');
    let is_mode = MODE_LABELS.contains(&label(before).as_str()) && !before.ends_with(char::is_alphabetic);
    let is_name = MODE_NAMES.contains(&rest[..word].to_lowercase().as_str());
    let piece = if is_mode { Some(Piece::ModeWord) } else { is_name.then_some(Piece::ModeName) };
    piece.filter(|_| word > 0).map(|piece| (piece, word))
}

/// How the names of files with pixels end, common practice, no source.
const FRAME_ENDINGS: [&str; 4] = [".raw", ".bin", ".png", ".pgm"];

/// Words that a mode follows, common practice, no source.
pub(super) const MODE_LABELS: [&str; 5] = ["mode", "waveform", "wave", "wf", "lut"];

/// Words for ways to update a panel, common practice, no source.
const MODE_NAMES: [&str; 8] = ["full", "partial", "quick", "fast", "slow", "grey", "gray", "greyscale"];

/// Words that the name of a screen follows, common practice, no source.
const FRAME_LABELS: [&str; 11] =
    ["show", "shows", "showing", "draw", "drawing", "screen", "frame", "page", "view", "picture", "image"];

/// Words that follow those and name no screen.
const NO_NAMES: [&str; 62] = [
    "rect",
    "area",
    "box",
    "region",
    "window",
    "x",
    "y",
    "w",
    "h",
    "m",
    "at",
    "to",
    "from",
    "in",
    "on",
    "off",
    "of",
    "the",
    "a",
    "is",
    "was",
    "with",
    "for",
    "and",
    "by",
    "ready",
    "done",
    "ok",
    "start",
    "started",
    "begin",
    "end",
    "ended",
    "finished",
    "complete",
    "completed",
    "busy",
    "idle",
    "update",
    "updated",
    "refresh",
    "refreshed",
    "changed",
    "change",
    "mode",
    "waveform",
    "wave",
    "wf",
    "lut",
    "buffer",
    "memory",
    "size",
    "count",
    "took",
    "failed",
    "error",
    "cleared",
    "request",
    "requested",
    "queued",
    "text",
    "line",
];

/// The last word before a value, in small letters: `x` in `at x=`, and `x0` in `at x0=`.
pub(super) fn label(words: &str) -> String {
    let trimmed = words.trim_end_matches(|letter: char| !letter.is_alphanumeric());
    let begin = trimmed.char_indices().rfind(|(_, letter)| !letter.is_alphanumeric());
    let begin = begin.map_or(0, |(at, letter)| at + letter.len_utf8());
    trimmed[begin..].to_lowercase()
}

pub(super) fn words_of(piece: &Piece) -> Option<String> {
    if let Piece::Words(words) = piece { Some(words.clone()) } else { None }
}

/// Whether a value of a line has such a label.
pub(super) fn has_label(shape: &Shape<'_>, wanted: &str) -> bool {
    shape.pieces.iter().filter_map(words_of).any(|words| label(&words) == wanted)
}

/// The words between two pieces.
pub(super) fn between(shape: &Shape<'_>, from: usize, to: usize) -> String {
    shape.pieces[from + 1..to].iter().filter_map(words_of).collect()
}

/// Whether a piece is a number, with the digits of ten or of sixteen.
fn is_number(shape: &Shape<'_>, at: usize) -> bool {
    matches!(shape.pieces.get(at), Some(Piece::Number | Piece::Hex))
}

/// Whether a number is one of two with only a sign for times between them: `296x128`. That `x` is the name of neither, but
/// the one in `10 x16` is.
pub(super) fn is_beside_times(shape: &Shape<'_>, at: usize) -> bool {
    let is_times = |at: usize| shape.pieces.get(at).and_then(words_of).is_some_and(|words| is_times(&words));
    at >= 2 && is_times(at - 1) && is_number(shape, at - 2) || is_times(at + 1) && is_number(shape, at + 2)
}

fn is_times(words: &str) -> bool {
    matches!(words.trim(), "x" | "X" | "*" | "\u{d7}")
        && words.starts_with(char::is_whitespace) == words.ends_with(char::is_whitespace)
}
