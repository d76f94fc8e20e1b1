//! A first description of the lines of a log, made from the log itself for a person to finish.
//!
//! Lines of one shape differ only in numbers, names of files and the word after `mode`. A shape becomes a pattern where
//! its words say what it records. Works on text; knows the fields of records, not what a panel can do.

use std::{collections::BTreeMap, fmt::Write as _};

use super::clock::ms_of_day;

/// The most lines that are looked at.
const MOST_LINES: usize = 20_000;
/// The longest line that is looked at, bytes.
const LONGEST_LINE: usize = 1000;
/// The most patterns that are proposed.
const MOST_PATTERNS: usize = 12;
/// The longest line that is shown as an example, characters.
const LONGEST_EXAMPLE: usize = 120;

/// What was recognised in a log.
#[derive(Debug)]
pub struct Suggested {
    /// The text of the description, with comments that say what is left to do.
    pub text: String,
    /// How many patterns it has.
    pub patterns: usize,
    /// How many lines they match, and how many lines were looked at.
    pub matched: [usize; 2],
}

/// Proposes how the lines of a log are read.
pub fn suggest_log_lines(log: &str) -> Suggested {
    let shapes = shapes(log);
    let looked_at = shapes.iter().map(|shape| shape.count).sum();
    let (mut found, mut others): (Vec<Proposal>, Vec<&Shape<'_>>) = Default::default();
    for shape in &shapes {
        let Some(proposal) = proposal(shape) else {
            others.push(shape);
            continue;
        };
        match found.iter_mut().find(|known| known.pattern == proposal.pattern) {
            Some(known) => known.take(proposal),
            None => found.push(proposal),
        }
    }
    found.sort_by_key(|proposal| std::cmp::Reverse(proposal.count));
    found.truncate(MOST_PATTERNS);
    // The first pattern that matches counts: the most particular one goes first.
    found.sort_by_key(|proposal| std::cmp::Reverse(proposal.pattern.len()));
    let matched = found.iter().map(|proposal| proposal.count).sum();
    Suggested { text: text_of(&found, &others), patterns: found.len(), matched: [matched, looked_at] }
}

/// A part of a line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Piece {
    /// The same in all lines of the shape.
    Words(String),
    /// A time of day.
    TimeOfDay,
    Number,
    /// The name of a file with pixels.
    File,
    /// The word behind `mode`.
    ModeWord,
    /// A word that many devices call a mode, wherever it stands.
    ModeName,
}

/// Lines that differ only in what is not words.
#[derive(Debug)]
struct Shape<'l> {
    pieces: Vec<Piece>,
    count: usize,
    example: &'l str,
    /// What stands in the places that are not words, line by line.
    values: Vec<Vec<&'l str>>,
}

impl<'l> Shape<'l> {
    /// What stands at a piece that is not words, line by line.
    fn values_at(&self, piece: usize) -> impl Iterator<Item = &'l str> + '_ {
        let slot = self.pieces[..piece].iter().filter(|piece| !matches!(piece, Piece::Words(_))).count();
        self.values.iter().map(move |values| values[slot])
    }
}

fn shapes(log: &str) -> Vec<Shape<'_>> {
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
        let found = found_at(rest, &words, begins);
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

/// What begins here that is not words, and how long it is; `begins` says that no letter or digit stands before it.
fn found_at(rest: &str, before: &str, begins: bool) -> Option<(Piece, usize)> {
    let token = rest.find(|letter: char| letter.is_whitespace() || "\"',;()[]".contains(letter)).unwrap_or(rest.len());
    let is_after_space =
        before.chars().next_back().is_none_or(|letter| !letter.is_alphanumeric() && !"/._-".contains(letter));
    // `buffer <- 007`: an arrow brings what stands behind it into what stands before it.
    let is_brought = token > 0 && before.trim_end().ends_with("<-");
    let is_frame = FRAME_ENDINGS.iter().any(|ending| rest[..token].to_lowercase().ends_with(ending));
    if is_after_space && is_frame || is_brought && before.ends_with([' ', '-']) {
        return Some((Piece::File, token));
    }
    let digits = rest.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(rest.len());
    // The digit of `x0=` is a part of that name.
    let is_of_a_name = before.ends_with(char::is_alphabetic) && rest[digits..].starts_with('=');
    if digits > 0 && !is_of_a_name {
        let time = rest.find(|letter: char| !letter.is_ascii_digit() && !":.".contains(letter)).unwrap_or(rest.len());
        if rest[..time].contains(':') && ms_of_day(&rest[..time]).is_some() {
            return Some((Piece::TimeOfDay, time));
        }
        let fraction = rest[digits..].strip_prefix('.').map_or(0, |after| {
            let length = after.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(after.len());
            if length > 0 { length + 1 } else { 0 }
        });
        return Some((Piece::Number, digits + fraction));
    }
    let word = rest.find(|letter: char| !letter.is_alphanumeric() && letter != '_').unwrap_or(rest.len());
    if !begins || word == 0 {
        return None;
    }
    let is_mode = matches!(label(before).as_str(), "mode" | "waveform" | "wave" | "wf" | "lut")
        && !before.ends_with(char::is_alphabetic);
    let is_name = MODE_NAMES.contains(&rest[..word].to_lowercase().as_str());
    let piece = if is_mode { Some(Piece::ModeWord) } else { is_name.then_some(Piece::ModeName) };
    piece.map(|piece| (piece, word))
}

/// How the names of files with pixels end, common practice, no source.
const FRAME_ENDINGS: [&str; 4] = [".raw", ".bin", ".png", ".pgm"];

/// Words for ways to update a panel, common practice, no source.
const MODE_NAMES: [&str; 8] = ["full", "partial", "quick", "fast", "slow", "grey", "gray", "greyscale"];

/// The last word before a value, in small letters: `x` in `at x=`, and `x0` in `at x0=`.
fn label(words: &str) -> String {
    let trimmed = words.trim_end_matches(|letter: char| !letter.is_alphanumeric());
    let begin = trimmed.char_indices().rfind(|(_, letter)| !letter.is_alphanumeric());
    let begin = begin.map_or(0, |(at, letter)| at + letter.len_utf8());
    trimmed[begin..].to_lowercase()
}

/// What a shape can be read as.
#[derive(Debug)]
struct Proposal {
    pattern: String,
    record: &'static str,
    count: usize,
    example: String,
    /// The device's own names of its modes.
    modes: Vec<String>,
    unit: &'static str,
    /// Whether the second corner of a box belongs to it, where it has one.
    corner_is_inside: Option<bool>,
    has_file: Option<String>,
}

impl Proposal {
    fn take(&mut self, other: Self) {
        self.count += other.count;
        self.modes.extend(other.modes);
    }
}

fn proposal(shape: &Shape<'_>) -> Option<Proposal> {
    let time = time_of(shape)?;
    let words: Vec<String> = shape.pieces.iter().filter_map(words_of).collect();
    let words = words.join(" ").to_lowercase();
    let record = record_of(&words, shape)?;
    let mut groups: Vec<Option<&'static str>> = vec![None; shape.pieces.len()];
    groups[time] = Some("at");
    let corner_is_inside = name_groups(&mut groups, shape, record);
    let needed = match record {
        "update" => &["mode"][..],
        "frame" => &["file"],
        "temperature" => &["celsius"],
        "touch" | "key" | "power" => &[],
        _ => &["text"],
    };
    if !needed.iter().all(|name| groups.contains(&Some(*name))) {
        return None;
    }
    let values_of = |name: &str| -> Vec<&str> {
        let at = groups.iter().position(|group| *group == Some(name));
        at.map_or(Vec::new(), |at| shape.values_at(at).collect())
    };
    let mut modes: Vec<String> = values_of("mode").into_iter().map(str::to_owned).collect();
    modes.sort_unstable();
    modes.dedup();
    let pattern = pattern(shape, &groups);
    Some(Proposal {
        pattern: if record == "power" { with_power(&pattern)? } else { pattern },
        record,
        count: shape.count,
        example: shape.example.trim().chars().take(LONGEST_EXAMPLE).collect(),
        modes,
        unit: unit_of(shape, time),
        corner_is_inside,
        has_file: values_of("file").first().map(|file| (*file).to_owned()),
    })
}

/// The place of the time: a time of day with nothing before it but a date, otherwise the first number.
fn time_of(shape: &Shape<'_>) -> Option<usize> {
    let first = shape.pieces.iter().position(|piece| matches!(piece, Piece::Number | Piece::TimeOfDay))?;
    let Some(of_day) = shape.pieces.iter().position(|piece| *piece == Piece::TimeOfDay) else { return Some(first) };
    let is_of_a_date = |piece: &Piece| match piece {
        Piece::Number => true,
        Piece::Words(words) => {
            let mut names = words.split(|letter: char| !letter.is_alphabetic()).filter(|name| !name.is_empty());
            names.all(|name| {
                name == "T" || DATE_NAMES.contains(&name.chars().take(3).collect::<String>().to_lowercase().as_str())
            })
        }
        _ => false,
    };
    Some(if shape.pieces[..of_day].iter().all(is_of_a_date) { of_day } else { first })
}

/// How the names of months and of days of the week begin.
const DATE_NAMES: [&str; 19] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec", "mon", "tue", "wed", "thu",
    "fri", "sat", "sun",
];

fn words_of(piece: &Piece) -> Option<String> {
    if let Piece::Words(words) = piece { Some(words.clone()) } else { None }
}

/// Words of logs for what a record can be; the first that stands in a line counts.
const WORDS: [(&str, &[&str]); 6] = [
    ("temperature", &["temp", "celsius"]),
    ("power", &["power", "sleep", "suspend"]),
    ("touch", &["touch", "tap", "finger"]),
    ("key", &["key", "button"]),
    ("update", &["refresh", "update", "draw", "flush", "wave", "lut", "mode"]),
    ("frame", &["frame", "buffer", "picture", "image", "memory"]),
];

fn record_of(words: &str, shape: &Shape<'_>) -> Option<&'static str> {
    let parts: Vec<&str> =
        words.split(|letter: char| !letter.is_alphabetic()).filter(|part| !part.is_empty()).collect();
    let says = |known: &&str| parts.iter().any(|part| part == known || (known.len() > 3 && part.starts_with(*known)));
    let found = WORDS.iter().find(|(_, known)| known.iter().any(says)).map(|(record, _)| *record);
    found.or_else(|| shape.pieces.contains(&Piece::File).then_some("frame"))
}

/// Names what the other places are, and says whether the second corner of a box belongs to it, if it has one.
fn name_groups(groups: &mut [Option<&'static str>], shape: &Shape<'_>, record: &str) -> Option<bool> {
    let mut unnamed = Vec::new();
    let mut is_corner = false;
    for at in 0..shape.pieces.len() {
        let before = at.checked_sub(1).and_then(|at| words_of(&shape.pieces[at])).unwrap_or_default();
        match shape.pieces[at] {
            _ if groups[at].is_some() => {}
            // A date stands before its time of day.
            _ if groups[at..].contains(&Some("at")) => {}
            Piece::File => set(groups, at, "file"),
            Piece::ModeWord => set(groups, at, "mode"),
            Piece::Number if is_beside_times(shape, at) => unnamed.push(at),
            Piece::Number => match label(&before).as_str() {
                "mode" | "m" | "waveform" | "wave" | "lut" | "wf" if record == "update" => set(groups, at, "mode"),
                "x" | "left" | "x0" if matches!(record, "update" | "frame") => set(groups, at, "x"),
                "y" | "top" | "y0" if matches!(record, "update" | "frame") => set(groups, at, "y"),
                // The first corner where there is a second one of the same kind.
                "x1" if has_label(shape, "x2") => set(groups, at, "x"),
                "y1" if has_label(shape, "y2") => set(groups, at, "y"),
                "x" if matches!(record, "touch" | "key") => set(groups, at, "point_x"),
                "y" if matches!(record, "touch" | "key") => set(groups, at, "point_y"),
                "w" | "width" => set(groups, at, "w"),
                "h" | "height" => set(groups, at, "h"),
                "right" | "x1" | "x2" => (set(groups, at, "x2"), is_corner = true).0,
                "bottom" | "y1" | "y2" => set(groups, at, "y2"),
                "started" | "start" | "begin" => set(groups, at, "started"),
                "finished" | "finish" | "end" | "done" => set(groups, at, "finished"),
                "temp" | "temperature" | "celsius" | "t" if record == "temperature" => set(groups, at, "celsius"),
                _ => unnamed.push(at),
            },
            Piece::TimeOfDay | Piece::Words(_) | Piece::ModeName => {}
        }
    }
    if record == "update"
        && let Some(name) = shape.pieces.iter().position(|piece| *piece == Piece::ModeName)
    {
        set(groups, name, "mode");
    }
    if matches!(record, "update" | "frame") {
        unnamed.drain(..begin_of_box(shape, &unnamed));
    }
    match (record, &unnamed[..]) {
        ("update" | "frame", [x, y, third, fourth, ..]) if !groups.contains(&Some("x")) => {
            is_corner = is_second_corner(shape, [*y, *third, *fourth]);
            let names = if is_corner { ["x", "y", "x2", "y2"] } else { ["x", "y", "w", "h"] };
            [x, y, third, fourth].into_iter().zip(names).for_each(|(at, name)| set(groups, *at, name));
        }
        ("touch" | "key", [x, y, ..]) if !groups.contains(&Some("point_x")) => {
            set(groups, *x, "point_x");
            set(groups, *y, "point_y");
        }
        ("temperature", [celsius, ..]) if !groups.contains(&Some("celsius")) => set(groups, *celsius, "celsius"),
        _ => {}
    }
    is_corner.then(|| corner_is_inside(shape, groups))
}

/// Whether a value of a line has such a label.
fn has_label(shape: &Shape<'_>, wanted: &str) -> bool {
    shape.pieces.iter().filter_map(words_of).any(|words| label(&words) == wanted)
}

/// Names a place, if no other has the name.
fn set(groups: &mut [Option<&'static str>], at: usize, name: &'static str) {
    if !groups.contains(&Some(name)) {
        groups[at] = Some(name);
    }
}

/// The words between two pieces.
fn between(shape: &Shape<'_>, from: usize, to: usize) -> String {
    shape.pieces[from + 1..to].iter().filter_map(words_of).collect()
}

/// Whether a number is one of two with only a sign for times between them: `296x128`. That `x` is the name of neither.
fn is_beside_times(shape: &Shape<'_>, at: usize) -> bool {
    let is_number = |at: usize| shape.pieces.get(at) == Some(&Piece::Number);
    let is_times = |at: usize| {
        let words = shape.pieces.get(at).and_then(words_of);
        words.is_some_and(|words| matches!(words.trim(), "x" | "X" | "*" | "\u{d7}"))
    };
    at >= 2 && is_times(at - 1) && is_number(at - 2) || is_times(at + 1) && is_number(at + 2)
}

/// How many of the numbers without a name come before the four that look like a box: with next to nothing between them.
fn begin_of_box(shape: &Shape<'_>, unnamed: &[usize]) -> usize {
    let is_close = |pair: &[usize]| {
        let words = between(shape, pair[0], pair[1]);
        let has_others = shape.pieces[pair[0] + 1..pair[1]].iter().any(|piece| words_of(piece).is_none());
        !has_others && (words.trim() == "to" || words.chars().all(|letter| !letter.is_alphabetic() || letter == 'x'))
    };
    unnamed.windows(4).position(|four| four.windows(2).all(is_close)).unwrap_or(0)
}

/// Whether four numbers are two corners: `8,0-15,3` and not `8,0 8x4`; otherwise the last two are a size.
fn is_second_corner(shape: &Shape<'_>, [y, third, fourth]: [usize; 3]) -> bool {
    if between(shape, third, fourth).contains(['x', 'X', '*', '\u{d7}']) {
        return false;
    }
    let middle = between(shape, y, third);
    middle.contains(['-', '>']) || middle.contains("..") || middle.contains("to") || middle.contains(')')
}

/// Whether the last pixel seems to belong to the box: then one more is often a whole number of 8 px.
fn corner_is_inside(shape: &Shape<'_>, groups: &[Option<&'static str>]) -> bool {
    let Some(at) = groups.iter().position(|group| *group == Some("x2")) else { return false };
    let ends = shape.values_at(at).filter_map(|value| value.parse::<u64>().ok());
    let [inside, outside] = ends.fold([0, 0], |[inside, outside]: [usize; 2], end| {
        [inside + usize::from((end + 1).is_multiple_of(8)), outside + usize::from(end.is_multiple_of(8))]
    });
    inside > outside
}

/// The pattern of a line that says that the power goes: the word itself is the field.
fn with_power(pattern: &str) -> Option<String> {
    let word = ["off", "sleep", "on"].into_iter().find(|word| {
        let mut parts = pattern.split(|letter: char| !letter.is_alphabetic());
        parts.any(|part| part == *word)
    })?;
    let at = pattern.rfind(word)?;
    Some(format!("{}(?<text>{word}){}", &pattern[..at], &pattern[at + word.len()..]))
}

/// The unit of the times: what stands behind them, otherwise seconds where they have decimals, otherwise milliseconds.
fn unit_of(shape: &Shape<'_>, time: usize) -> &'static str {
    let behind = shape.pieces.get(time + 1).and_then(words_of).unwrap_or_default();
    let unit: String = behind.trim_start().chars().take_while(char::is_ascii_alphabetic).collect();
    let has_decimals = shape.values_at(time).any(|value| value.contains('.'));
    match unit.as_str() {
        "us" => "us",
        "s" | "sec" => "s",
        _ if has_decimals && shape.pieces[time] == Piece::Number => "s",
        _ => "ms",
    }
}

/// The regular expression of a shape: its words as they are, its named places as groups.
fn pattern(shape: &Shape<'_>, groups: &[Option<&'static str>]) -> String {
    let mut text = "^".to_owned();
    for (at, (piece, group)) in shape.pieces.iter().zip(groups).enumerate() {
        let body = match piece {
            Piece::Words(words) => {
                text += &escaped(words);
                continue;
            }
            Piece::TimeOfDay => "[0-9:.]+",
            Piece::Number if !shape.values_at(at).any(|value| value.contains('.')) => "[0-9]+",
            Piece::Number => "[0-9.]+",
            Piece::File => r#"[^\s"',;()]+"#,
            Piece::ModeWord | Piece::ModeName => r"\w+",
        };
        let _ = match group {
            Some(name) => write!(text, "(?<{name}>{body})"),
            None => write!(text, "{body}"),
        };
    }
    text
}

/// Words as a pattern: runs of spaces may be of any length, and none where they pad a number in brackets.
fn escaped(words: &str) -> String {
    let mut text = String::new();
    let mut rest = words;
    while let Some(first) = rest.chars().next() {
        if first.is_whitespace() {
            let end = rest.find(|letter: char| !letter.is_whitespace()).unwrap_or(rest.len());
            let before = words[..words.len() - rest.len()].chars().next_back();
            let pads = end == rest.len() && before.is_none_or(|letter| "[(<=:".contains(letter));
            text += if pads { r"\s*" } else { r"\s+" };
            rest = &rest[end..];
            continue;
        }
        let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
        // A dash means something only between brackets of a class.
        text += &regex::escape(&rest[..end]).replace(r"\-", "-");
        rest = &rest[end..];
    }
    text
}

fn text_of(found: &[Proposal], others: &[&Shape<'_>]) -> String {
    let quoted = |text: &str| serde_json::Value::from(text).to_string();
    let mut modes: Vec<&str> = found.iter().flat_map(|proposal| proposal.modes.iter().map(String::as_str)).collect();
    modes.sort_unstable();
    modes.dedup();
    let modes: Vec<String> = modes.iter().map(|mode| format!("{}: \"\"", quoted(mode))).collect();
    let unit = found.iter().max_by_key(|proposal| proposal.count).map_or("ms", |proposal| proposal.unit);
    let mut text = format!(
        "{{\n  \"format\": \"log-lines/1\",\n  \"header\": {{\n    // To do: the display, by its name (`stillpage displays`) or by the path of \
         a description.\n    \"display\": \"\",\n    // To do: the mode of that display for each of the device's own names.\n    \"modes\": {{ {} }},\n    \
         // To check: the unit of the times.\n    \"clock\": {{ \"unit\": \"{unit}\" }}",
        modes.join(", ")
    );
    if let Some(file) = found.iter().find_map(|proposal| proposal.has_file.as_ref()) {
        let is = |ending: &str| file.to_lowercase().ends_with(ending);
        let frames = match () {
            () if is(".png") => "\"as\": \"png\"",
            () if is(".pgm") => "\"as\": \"pgm\"",
            () => "\"as\": \"raw\", \"bits_per_px\": 4, \"first_pixel\": \"high\"",
        };
        let _ = write!(text, ",\n    // To check: how the pixels are stored.\n    \"frames\": {{ {frames} }}");
    }
    text += "\n  },\n";
    let corner = found.iter().find_map(|proposal| proposal.corner_is_inside);
    if let Some(is_inside) = corner {
        let word = if is_inside { "inside" } else { "outside" };
        let _ = writeln!(
            text,
            "  // To check: whether the pixel of the second corner belongs to the box (`inside`) or not (`outside`).\n  \
             \"second_corner\": \"{word}\","
        );
    }
    text += "  \"lines\": [\n";
    for (at, proposal) in found.iter().enumerate() {
        let comma = if at + 1 < found.len() { "," } else { "" };
        let _ = writeln!(
            text,
            "    // {} such as: {}\n    {{ \"matches\": {}, \"record\": \"{}\" }}{comma}",
            lines(proposal.count),
            shown(&proposal.example),
            quoted(&proposal.pattern),
            proposal.record
        );
    }
    text += "  ]\n";
    for (count, example) in unrecognised(others).into_iter().take(MOST_PATTERNS) {
        let example: String = example.trim().chars().take(LONGEST_EXAMPLE).collect();
        let _ = writeln!(text, "  // Not recognised: {} such as: {}", lines(count), shown(&example));
    }
    text + "}\n"
}

/// What was not recognised: how many lines, and one of them. Lines that differ only in the spaces that pad a number are one.
fn unrecognised<'l>(others: &[&Shape<'l>]) -> Vec<(usize, &'l str)> {
    let unpadded = |piece: &Piece| match piece {
        Piece::Words(words) => Piece::Words(words.split_whitespace().collect()),
        piece => piece.clone(),
    };
    let mut known: Vec<(Vec<Piece>, usize, &'l str)> = Vec::new();
    for shape in others {
        let pieces: Vec<Piece> =
            shape.pieces.iter().map(unpadded).filter(|piece| *piece != Piece::Words(String::new())).collect();
        match known.iter_mut().find(|(other, ..)| *other == pieces) {
            Some((_, count, _)) => *count += shape.count,
            None => known.push((pieces, shape.count, shape.example)),
        }
    }
    known.into_iter().map(|(_, count, example)| (count, example)).collect()
}

fn lines(count: usize) -> String {
    if count == 1 { "1 line".to_owned() } else { format!("{count} lines") }
}

/// A line as part of a comment: without what would end it, or move the cursor of a terminal.
fn shown(line: &str) -> String {
    line.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}
