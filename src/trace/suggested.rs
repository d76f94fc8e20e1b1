//! A first description of the lines of a log, made from the log itself for a person to finish.
//!
//! A shape of lines becomes a pattern where its words say what it records. Works on text; knows the fields of records, not
//! what a panel can do.

use std::fmt::Write as _;

use super::{
    log_shapes::{MODE_LABELS, Piece, Shape, between, has_label, is_beside_times, label, shapes, words_of},
    plain_text::without_colours,
};

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
    let log = without_colours(log);
    let shapes = shapes(&log);
    let looked_at = shapes.iter().map(|shape| shape.count).sum();
    let (mut found, mut others): (Vec<Proposal>, Vec<&Shape<'_>>) = Default::default();
    let proposed: Vec<(&Shape<'_>, Option<Proposal>)> = shapes.iter().map(|shape| (shape, proposal(shape))).collect();
    let has_updates = proposed.iter().any(|(_, of)| of.as_ref().is_some_and(|proposal| proposal.record == "update"));
    for (shape, proposal) in proposed {
        // A start or an end belongs to an update.
        let is_of_use = |proposal: &Proposal| has_updates || !matches!(proposal.record, "started" | "finished");
        let Some(proposal) = proposal.filter(is_of_use) else {
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

/// What a shape can be read as.
#[derive(Debug)]
struct Proposal {
    pattern: String,
    record: &'static str,
    count: usize,
    example: String,
    /// The device's own names of its modes.
    modes: Vec<String>,
    clock: ClockSeen,
    /// Whether the second corner of a box belongs to it, where it has one.
    corner_is_inside: Option<bool>,
    /// Names of frames: one with an ending, and one without.
    files: [Option<String>; 2],
}

/// What the times of a shape say of the device's clock.
#[derive(Clone, Copy, Debug)]
struct ClockSeen {
    /// Nothing for times of day, which need no unit.
    unit: Option<&'static str>,
    /// The count at which it seems to begin again at 0, because a later line has a much lower one.
    wraps_at: Option<u64>,
}

impl Proposal {
    fn take(&mut self, other: Self) {
        self.count += other.count;
        self.modes.extend(other.modes);
        for (known, other) in self.files.iter_mut().zip(other.files) {
            *known = known.take().or(other);
        }
        self.clock.wraps_at = self.clock.wraps_at.or(other.clock.wraps_at);
    }
}

fn proposal(shape: &Shape<'_>) -> Option<Proposal> {
    let time = time_of(shape)?;
    let words: Vec<String> = shape.pieces.iter().filter_map(words_of).collect();
    let words = words.join(" ").to_lowercase();
    let mut record = record_of(&words, shape)?;
    let mut groups: Vec<Option<&'static str>> = vec![None; shape.pieces.len()];
    groups[time] = Some("at");
    let corner_is_inside = match record {
        "started" | "finished" => None,
        _ => name_groups(&mut groups, shape, record),
    };
    // `draw menu` without a mode says what is in memory.
    if record == "update" && groups.contains(&Some("file")) && !groups.contains(&Some("mode")) {
        record = "frame";
    }
    let needed = match record {
        "update" => &["mode"][..],
        "frame" => &["file"],
        "temperature" => &["celsius"],
        "touch" | "key" | "power" | "started" | "finished" => &[],
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
    let file_that = |has_ending: bool| {
        values_of("file").into_iter().find(|file| file.contains('.') == has_ending).map(str::to_owned)
    };
    Some(Proposal {
        pattern: if record == "power" { with_power(&pattern)? } else { pattern },
        record,
        count: shape.count,
        example: shape.example.trim().chars().take(LONGEST_EXAMPLE).collect(),
        modes,
        clock: ClockSeen { unit: unit_of(shape, time), wraps_at: wraps_at(shape, time) },
        corner_is_inside,
        files: [true, false].map(file_that),
    })
}

/// The place of the time: a time of day with nothing before it but a date, otherwise the first number.
fn time_of(shape: &Shape<'_>) -> Option<usize> {
    let is_time = |piece: &Piece| matches!(piece, Piece::Number | Piece::Hex | Piece::TimeOfDay);
    let from = if has_priority(shape) { 2 } else { 0 };
    let first = from + shape.pieces[from..].iter().position(is_time)?;
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

/// Whether a line begins with how urgent it is, as in `<6>[ 12.345]`: so do messages of the syslog protocol (RFC 5424, 6.2.1).
fn has_priority(shape: &Shape<'_>) -> bool {
    let is_sign = |at: usize, sign: char| {
        shape.pieces.get(at).and_then(words_of).is_some_and(|words: String| words.trim_start().starts_with(sign))
    };
    is_sign(0, '<') && shape.pieces.get(1) == Some(&Piece::Number) && is_sign(2, '>')
}

/// How the names of months and of days of the week begin.
const DATE_NAMES: [&str; 19] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec", "mon", "tue", "wed", "thu",
    "fri", "sat", "sun",
];

/// Words that say that something is sent.
const UPDATES: [&str; 4] = ["refresh", "update", "draw", "flush"];

/// Words of logs for what a record can be; the first that stands in a line counts.
const WORDS: [(&str, &[&str]); 6] = [
    ("temperature", &["temp", "celsius"]),
    ("power", &["power", "sleep", "suspend"]),
    ("touch", &["touch", "tap", "finger"]),
    ("key", &["key", "button"]),
    ("update", &["refresh", "update", "draw", "flush", "wave", "wf", "lut", "mode"]),
    ("frame", &["frame", "buffer", "picture", "image", "memory"]),
];

fn record_of(words: &str, shape: &Shape<'_>) -> Option<&'static str> {
    let parts: Vec<&str> =
        words.split(|letter: char| !letter.is_alphabetic()).filter(|part| !part.is_empty()).collect();
    let says = |known: &&str| parts.iter().any(|part| part == known || (known.len() > 3 && part.starts_with(*known)));
    let found = WORDS.iter().find(|(_, known)| known.iter().any(says)).map(|(record, _)| *record);
    let has_file = shape.pieces.contains(&Piece::File);
    let has_mode = MODE_LABELS.iter().any(|wanted| has_label(shape, wanted)) || shape.pieces.contains(&Piece::ModeName);
    if !has_file
        && !has_mode
        && let Some(reports) = reports_of(&says)
    {
        return Some(reports);
    }
    match found {
        // A line that sends something says with it how warm it was, or what is shown.
        Some("temperature" | "power" | "frame") if has_mode && UPDATES.iter().any(says) => Some("update"),
        Some("frame") if shape.pieces.contains(&Piece::ModeWord) => Some("update"),
        Some(found) => Some(found),
        None if has_file && has_mode => Some("update"),
        None => has_file.then_some("frame"),
    }
}

/// Words for the panel and what drives it, common practice, no source.
const PANEL: [&str; 9] = ["epd", "panel", "display", "epaper", "eink", "controller", "refresh", "update", "busy"];

/// What a line reports that neither names a mode nor a frame: that the panel is busy from then on, or no longer.
fn reports_of(says: &impl Fn(&&str) -> bool) -> Option<&'static str> {
    // A busy line is high or low, and a device may mean busy with either.
    if !PANEL.iter().any(says) || ["high", "low", "wait", "timeout", "skipped", "dropped", "lost"].iter().any(says) {
        return None;
    }
    if ["idle", "done", "finished", "complete", "ready"].iter().any(says) {
        return Some("finished");
    }
    ["busy", "started"].iter().any(says).then_some("started")
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
            Piece::Number | Piece::Hex if is_beside_times(shape, at) => unnamed.push(at),
            Piece::Number | Piece::Hex => match name_of_number(shape, at, &before, record) {
                Some(name) => {
                    set(groups, at, name);
                    is_corner |= name == "x2";
                }
                None => unnamed.push(at),
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
        ("update" | "frame", [first, second, third, fourth, ..]) if !groups.contains(&Some("x")) => {
            is_corner = is_second_corner(shape, [*second, *third, *fourth]);
            let names = if is_size(shape, *first, *second) {
                ["w", "h", "x", "y"]
            } else if is_corner {
                ["x", "y", "x2", "y2"]
            } else {
                ["x", "y", "w", "h"]
            };
            [first, second, third, fourth].into_iter().zip(names).for_each(|(at, name)| set(groups, *at, name));
        }
        // `x16 y16 48x32`: the size has no names.
        ("update" | "frame", unnamed) if groups.contains(&Some("x")) && !groups.contains(&Some("x2")) => {
            let sizes = unnamed.windows(2).find(|pair| is_size(shape, pair[0], pair[1]));
            if let Some([w, h]) = sizes {
                set(groups, *w, "w");
                set(groups, *h, "h");
            }
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

/// What the words before a number say that it is.
fn name_of_number(shape: &Shape<'_>, at: usize, before: &str, record: &str) -> Option<&'static str> {
    let is_drawn = matches!(record, "update" | "frame");
    let is_point = matches!(record, "touch" | "key");
    let has_temperature = matches!(record, "temperature" | "update");
    let name = match label(before).as_str() {
        "mode" | "m" | "waveform" | "wave" | "lut" | "wf" if record == "update" => "mode",
        "x" | "left" | "x0" if is_drawn => "x",
        "y" | "top" | "y0" if is_drawn => "y",
        // The first corner where there is a second one of the same kind.
        "x1" if has_label(shape, "x2") => "x",
        "y1" if has_label(shape, "y2") => "y",
        "x" if is_point => "point_x",
        "y" if is_point => "point_y",
        "w" | "width" => "w",
        "h" | "height" => "h",
        "right" | "x1" | "x2" => "x2",
        "bottom" | "y1" | "y2" => "y2",
        "started" | "start" | "begin" => "started",
        "finished" | "finish" | "end" | "done" => "finished",
        "t" if record == "temperature" => "celsius",
        "temp" | "temperature" | "celsius" if has_temperature => "celsius",
        _ if has_temperature && is_degrees(shape, at) => "celsius",
        "frame" | "screen" | "file" if before.ends_with('=') && is_drawn => "file",
        _ => return None,
    };
    Some(name)
}

/// Names a place, if no other has the name.
fn set(groups: &mut [Option<&'static str>], at: usize, name: &'static str) {
    if !groups.contains(&Some(name)) {
        groups[at] = Some(name);
    }
}

/// How many of the numbers without a name come before the four that look like a box, with next to nothing between them; all,
/// if there are more than four and none look so.
fn begin_of_box(shape: &Shape<'_>, unnamed: &[usize]) -> usize {
    let is_close = |pair: &[usize]| {
        let words = between(shape, pair[0], pair[1]);
        let has_others = shape.pieces[pair[0] + 1..pair[1]].iter().any(|piece| words_of(piece).is_none());
        let is_between = matches!(words.trim_matches([' ', ',', ';', '=', ':']), "to" | "size");
        !has_others && (is_between || words.chars().all(|letter| !letter.is_alphabetic() || letter == 'x'))
    };
    let otherwise = if unnamed.len() > 4 { unnamed.len() } else { 0 };
    unnamed.windows(4).position(|four| four.windows(2).all(is_close)).unwrap_or(otherwise)
}

/// Whether a number is one of degrees: `21C`, `21.5 °C`.
fn is_degrees(shape: &Shape<'_>, at: usize) -> bool {
    let behind = shape.pieces.get(at + 1).and_then(words_of).unwrap_or_default();
    let unit = behind.trim_start().trim_start_matches('\u{b0}').strip_prefix('C');
    unit.is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
}

/// Whether two numbers are a size: `48x32`.
fn is_size(shape: &Shape<'_>, width: usize, height: usize) -> bool {
    height == width + 2 && is_beside_times(shape, width) && is_beside_times(shape, height)
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
    let lower = pattern.to_ascii_lowercase();
    let is_letter = |letter: Option<char>| letter.is_some_and(char::is_alphabetic);
    let stands_alone = |at: usize, word: &str| {
        !is_letter(lower[..at].chars().next_back()) && !is_letter(lower[at + word.len()..].chars().next())
    };
    let place = |word: &'static str| {
        let mut found = lower.rmatch_indices(word).map(|(at, _)| at);
        found.find(|at| stands_alone(*at, word)).map(|at| at..at + word.len())
    };
    let word = ["off", "sleep", "on"].into_iter().find_map(place)?;
    Some(format!("{}(?<text>{}){}", &pattern[..word.start], &pattern[word.clone()], &pattern[word.end..]))
}

/// The unit of the times, unless they are times of day: what stands behind them, otherwise seconds where they have
/// decimals, otherwise milliseconds.
fn unit_of(shape: &Shape<'_>, time: usize) -> Option<&'static str> {
    if shape.pieces[time] == Piece::TimeOfDay {
        return None;
    }
    let behind = shape.pieces.get(time + 1).and_then(words_of).unwrap_or_default();
    let unit: String = behind.trim_start().chars().take_while(char::is_ascii_alphabetic).collect();
    let has_decimals = shape.values_at(time).any(|value| value.contains('.'));
    Some(match unit.as_str() {
        "us" => "us",
        "s" | "sec" => "s",
        _ if has_decimals => "s",
        _ => "ms",
    })
}

/// The ranges of counters that devices have, common practice, no source.
const COUNTERS: [u64; 3] = [1 << 16, 1 << 24, 1 << 32];

/// The count at which a counter seems to begin again: its times fall from the upper half of a range to the lower half.
fn wraps_at(shape: &Shape<'_>, time: usize) -> Option<u64> {
    let counts: Vec<u64> = shape.values_at(time).map_while(|value| value.parse().ok()).collect();
    let most = *counts.iter().max()?;
    let range = COUNTERS.into_iter().find(|range| most < *range)?;
    let falls = |pair: &[u64]| pair[0] > range / 2 && pair[1] < range / 2;
    counts.windows(2).any(falls).then_some(range)
}

/// The regular expression of a shape: its words as they are, its named places as groups.
fn pattern(shape: &Shape<'_>, groups: &[Option<&'static str>]) -> String {
    let mut text = "^".to_owned();
    for (at, (piece, group)) in shape.pieces.iter().zip(groups).enumerate() {
        let body = match piece {
            Piece::Words(words) => {
                text += &escaped(words, at == 0);
                continue;
            }
            Piece::TimeOfDay if shape.values_at(at).any(|value| value.contains(',')) => "[0-9:.,]+",
            Piece::TimeOfDay => "[0-9:.]+",
            Piece::Hex => "0[xX][0-9A-Fa-f]+",
            Piece::Number if *group == Some("celsius") => "-?[0-9.]+",
            Piece::Number if shape.values_at(at).any(|value| value.starts_with('-')) => "-?[0-9.]+",
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

/// Words as a pattern: runs of spaces may be of any length, and none where they pad a number in brackets or the first of a
/// line.
fn escaped(words: &str, begins_line: bool) -> String {
    let mut text = String::new();
    let mut rest = words;
    while let Some(first) = rest.chars().next() {
        if first.is_whitespace() {
            let end = rest.find(|letter: char| !letter.is_whitespace()).unwrap_or(rest.len());
            let before = words[..words.len() - rest.len()].chars().next_back();
            let pads = end == rest.len() && before.map_or(begins_line, |letter| "[(<=:".contains(letter));
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
    let mut text = format!(
        "{{\n  \"format\": \"log-lines/1\",\n  \"header\": {{\n    // To do: the display, by its name (`stillpage displays`) or by the path of \
         a description.\n    \"display\": \"\",\n    // To do: the mode of that display for each of the device's own names.\n    \"modes\": {{ {} }}",
        modes.join(", ")
    );
    text += &clock_text(found);
    let [with_ending, without] = [0, 1].map(|at| found.iter().find_map(|proposal| proposal.files[at].as_deref()));
    let is_counted = without.is_some_and(|name| name.chars().all(|letter| letter.is_ascii_digit()));
    let usual = if is_counted { ".raw" } else { ".png" };
    let ending = with_ending.and_then(|file| file.rfind('.').map(|at| &file[at..])).unwrap_or(usual);
    if with_ending.or(without).is_some() {
        let frames = match ending.to_lowercase().as_str() {
            ".png" => "\"as\": \"png\"",
            ".pgm" => "\"as\": \"pgm\"",
            _ => "\"as\": \"raw\", \"bits_per_px\": 4, \"first_pixel\": \"high\"",
        };
        let _ = write!(
            text,
            ",\n    // To check: the folder of the frames, from that of the trace, and how their pixels are stored.\n    \
             \"frames\": {{ \"folder\": \".\", {frames} }}"
        );
    }
    text += "\n  },\n";
    if let Some(name) = without {
        let _ = writeln!(
            text,
            "  // To check: how the file of a frame ends that the log calls {}; remove this if that is the whole name.\n  \
             \"file_ending\": {},",
            shown(&quoted(name)),
            quoted(ending)
        );
    }
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

/// The field of the header for the clock; times of day need none.
fn clock_text(found: &[Proposal]) -> String {
    let Some(unit) = found.iter().max_by_key(|proposal| proposal.count).and_then(|proposal| proposal.clock.unit) else {
        return String::new();
    };
    match found.iter().find_map(|proposal| proposal.clock.wraps_at) {
        Some(count) => format!(
            ",\n    // To check: the unit of the times, and the count at which they begin again at 0.\n    \
             \"clock\": {{ \"unit\": \"{unit}\", \"wraps_at\": {count} }}"
        ),
        None => format!(",\n    // To check: the unit of the times.\n    \"clock\": {{ \"unit\": \"{unit}\" }}"),
    }
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
