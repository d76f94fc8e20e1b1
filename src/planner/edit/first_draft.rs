//! The first draft of a plan: names of screens become the text of a plan in which every update is left to be chosen.
//!
//! Knows names alone, in the order that they were found in; whether a screen can be shown is not known here.

use std::fmt::Write as _;

use crate::source::readable;

/// What a plan is drafted from.
#[derive(Clone, Debug)]
pub struct DraftOf<'a> {
    /// The plan's title.
    pub title: &'a str,
    /// The display, as the plan is to name it.
    pub display: &'a str,
    /// The names of the display's modes.
    pub modes: Vec<&'a str>,
    /// The folder of the screens, as the plan is to name it.
    pub screens: &'a str,
    /// Font files and folders, as the plan is to name them.
    pub fonts: Vec<String>,
    /// How the screens are turned, degrees.
    pub rotation: u16,
    /// What is on the glass before the first step: a word of the format, or the name of a screen.
    pub begins: &'a str,
    /// The names of the screen files in their natural order.
    pub files: &'a [String],
    /// Time between two screens whose names say none, ms.
    pub after_ms: u64,
}

/// Why names make no plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutOfOrder {
    /// The screen whose time is too early.
    pub file: String,
    /// Its time, ms.
    pub at_ms: u64,
    /// The time of what comes before it, ms.
    pub before_ms: u64,
}

/// A step of the draft.
struct DraftStep {
    label: String,
    file: String,
    after_ms: u64,
}

/// The text of a plan that shows every screen once.
///
/// # Errors
/// Where a name says a time that lies before that of the screen in front of it.
pub fn draft(of: &DraftOf<'_>) -> Result<String, OutOfOrder> {
    let steps = steps(of)?;
    let mut text = String::from("{\n  \"format\": \"refresh-plan/1\",\n");
    let mut field = |name: &str, value: String| text.extend(["  \"", name, "\": ", &value, ",\n"]);
    field("title", quoted(of.title));
    field("display", quoted(of.display));
    field("screens", quoted(of.screens));
    if !of.fonts.is_empty() {
        let fonts: Vec<String> = of.fonts.iter().map(|path| quoted(path)).collect();
        field("fonts", format!("[{}]", fonts.join(", ")));
    }
    if of.rotation != 0 {
        field("rotation", of.rotation.to_string());
    }
    text.push_str("  // What is on the glass before the first step: \"white\", \"black\", \"unknown\", or { \"screen\": NAME }.\n");
    let begins = if BEGINS.contains(&of.begins) {
        quoted(of.begins)
    } else {
        format!("{{ \"screen\": {} }}", quoted(of.begins))
    };
    let _ = writeln!(text, "  \"begins\": {begins},");
    text.push_str("  \"steps\": [\n");
    head(&mut text, of);
    let lines: Vec<String> = steps.iter().map(line).collect();
    let _ = write!(text, "{}\n  ]\n}}\n", lines.join(",\n"));
    Ok(text)
}

/// The words for what is on the glass at the beginning.
pub const BEGINS: [&str; 3] = ["white", "black", "unknown"];

/// What a reader of the draft is to do with it.
fn head(text: &mut String, of: &DraftOf<'_>) {
    let modes: Vec<String> = of.modes.iter().map(|mode| quoted(&readable(mode))).collect();
    let timed = of.files.iter().filter(|file| time_of(stem(file)).is_some()).count();
    let times = match timed {
        0 => format!("\"after_ms\" is guessed as {} ms: write the time since the previous step.", of.after_ms),
        all if all == of.files.len() => {
            "\"after_ms\" is the difference between the times in the file names.".to_owned()
        }
        _ => format!(
            "\"after_ms\" is the difference between the times in the file names; where a name has no time it is \
             guessed as {} ms.",
            of.after_ms
        ),
    };
    let modes = format!("The modes of this display: {}.", modes.join(", "));
    for line in [
        "Replace each \"choose\" by a list of updates such as [{ \"mode\": NAME, \"window\": \"changed\" }].",
        &modes,
        &times,
        "\"cause\" says who asks for the step: \"touch\", \"pen\", \"key\", \"clock\" or \"system\", which is the \
         default.",
    ] {
        let _ = writeln!(text, "    // {line}");
    }
}

fn line(step: &DraftStep) -> String {
    let after = if step.after_ms == 0 { String::new() } else { format!(" \"after_ms\": {},", step.after_ms) };
    format!(
        "    {{ \"label\": {}, \"screen\": {},{after} \"updates\": \"choose\" }}",
        quoted(&step.label),
        quoted(&step.file)
    )
}

fn steps(of: &DraftOf<'_>) -> Result<Vec<DraftStep>, OutOfOrder> {
    let mut files: Vec<(&String, Option<u64>)> = of.files.iter().map(|file| (file, time_of(stem(file)))).collect();
    if files.iter().all(|(_, time)| time.is_some()) {
        files.sort_by_key(|(_, time)| *time);
    }
    let mut steps: Vec<DraftStep> = Vec::with_capacity(files.len());
    let mut now_ms = 0;
    for (file, time) in files {
        let guess_ms = if steps.is_empty() { 0 } else { of.after_ms };
        let at_ms = time.unwrap_or(now_ms + guess_ms);
        let Some(after_ms) = at_ms.checked_sub(now_ms) else {
            return Err(OutOfOrder { file: file.clone(), at_ms, before_ms: now_ms });
        };
        now_ms = at_ms;
        steps.push(DraftStep { label: label(file, of.files), file: file.clone(), after_ms });
    }
    Ok(steps)
}

/// What a name says beside its time and its kind; the whole name where two screens would be called alike.
fn label(file: &str, files: &[String]) -> String {
    let short = |file: &str| {
        let stem = stem(file);
        let left =
            time_in(stem).map_or_else(|| stem.to_owned(), |(from, to, _)| format!("{}{}", &stem[..from], &stem[to..]));
        let left = left.trim_matches(|character: char| " -_.".contains(character)).to_owned();
        if left.is_empty() { stem.to_owned() } else { left }
    };
    let own = short(file);
    if files.iter().filter(|other| short(other) == own).count() > 1 { file.to_owned() } else { own }
}

/// A name without what says its kind.
fn stem(file: &str) -> &str {
    file.rsplit_once('.').map_or(file, |(stem, _)| stem)
}

/// The names that are distinguished by their kind alone, as a drawing and its export.
pub fn twins(files: &[String]) -> Vec<(&str, &str)> {
    let mut twins = Vec::new();
    for (at, one) in files.iter().enumerate() {
        let other = files[at + 1..].iter().find(|other| stem(one) == stem(other));
        twins.extend(other.map(|other| (one.as_str(), other.as_str())));
    }
    twins
}

fn time_of(stem: &str) -> Option<u64> {
    time_in(stem).map(|(_, _, ms)| ms)
}

/// A word of digits and `ms`, as `0012500ms`: where it begins and ends, and its milliseconds since the plan began.
fn time_in(stem: &str) -> Option<(usize, usize, u64)> {
    let is_word = |character: char| character.is_ascii_alphanumeric();
    let mut from = 0;
    for word in stem.split(|character| !is_word(character)) {
        let to = from + word.len();
        let ms = word.strip_suffix("ms").filter(|digits| digits.bytes().all(|byte| byte.is_ascii_digit()));
        if let Some(ms) = ms.and_then(|digits| digits.parse().ok()).filter(|ms| *ms <= LONGEST_MS) {
            return Some((from, to, ms));
        }
        from = to + stem[to..].chars().next().map_or(0, char::len_utf8);
    }
    None
}

/// A longer time is no time since a plan began: thirty years.
const LONGEST_MS: u64 = 1_000_000_000_000;

fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(names: &[&str]) -> Vec<String> {
        names.iter().map(|name| (*name).to_owned()).collect()
    }

    fn steps_of(names: &[&str]) -> Result<Vec<(String, u64)>, OutOfOrder> {
        let files = files(names);
        let of = DraftOf {
            title: "",
            display: "",
            modes: Vec::new(),
            screens: "",
            fonts: Vec::new(),
            rotation: 0,
            begins: "white",
            files: &files,
            after_ms: 1000,
        };
        steps(&of).map(|steps| steps.into_iter().map(|step| (step.label, step.after_ms)).collect())
    }

    #[test]
    fn times_in_names_become_times_between_steps() {
        let named = |steps: &[(&str, u64)]| Ok(steps.iter().map(|(label, ms)| ((*label).to_owned(), *ms)).collect());
        let timed = steps_of(&["0012500ms-menu.png", "0000200ms.png", "0013000ms menu closed.svg"]);
        assert_eq!(timed, named(&[("0000200ms", 200), ("menu", 12300), ("menu closed", 500)]));
        assert_eq!(steps_of(&["a.png", "b-500ms.png", "c.png"]), named(&[("a", 0), ("b", 500), ("c", 1000)]));
        assert_eq!(steps_of(&["a.png", "b.png"]), named(&[("a", 0), ("b", 1000)]));
        let late = OutOfOrder { file: "c-10ms.png".into(), at_ms: 10, before_ms: 1000 };
        assert_eq!(steps_of(&["a.png", "b.png", "c-10ms.png"]), Err(late));
    }

    #[test]
    fn only_a_word_of_digits_and_ms_is_a_time() {
        assert_eq!(time_of("0012500ms"), Some(12500));
        assert_eq!(time_of("menu_7ms_open"), Some(7));
        for none in ["forms", "ms", "12500", "a12ms", "12msx", "Ärms", "99999999999999999999999ms"] {
            assert_eq!(time_of(none), None, "{none}");
        }
    }

    #[test]
    fn screens_that_would_be_called_alike_keep_their_whole_names() {
        let both = files(&["menu.png", "menu.svg", "off.png"]);
        assert_eq!(label("menu.png", &both), "menu.png");
        assert_eq!(label("off.png", &both), "off");
        assert_eq!(twins(&both), [("menu.png", "menu.svg")]);
    }
}
