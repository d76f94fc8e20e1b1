//! The text of a log without the colours that it has in a terminal: their codes are no part of what a line says, and nobody
//! who writes a pattern sees them.

use std::borrow::Cow;

/// What a code begins with: an escape character and a bracket (ECMA-48, "control sequence introducer").
const BEGIN: &str = "\u{1b}[";

/// The text without such codes: digits and semicolons up to a letter.
pub(super) fn without_colours(log: &str) -> Cow<'_, str> {
    let mut parts = log.split(BEGIN);
    let first = parts.next().unwrap_or_default();
    if first.len() == log.len() {
        return Cow::Borrowed(log);
    }
    let mut plain = first.to_owned();
    for part in parts {
        let rest = part.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == ';');
        match rest.strip_prefix(|letter: char| letter.is_ascii_alphabetic()) {
            Some(rest) => plain.push_str(rest),
            None => plain.extend([BEGIN, part]),
        }
    }
    Cow::Owned(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_go_and_everything_else_stays() {
        assert_eq!(without_colours("a\u{1b}[0;32mI (12)\u{1b}[0m\n"), "aI (12)\n");
        assert_eq!(without_colours("\u{1b}[K[3] x"), "[3] x");
        for text in ["", "[0;32m", "\u{1b}[12", "\u{1b}[;é", "\u{1b}c"] {
            assert_eq!(without_colours(text), text);
        }
    }
}
