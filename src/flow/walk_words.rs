//! A walk in words, with its loops: `boot, open, then (down, up) 31 times`.
//!
//! Knows names and times, not what they stand for.

use std::fmt::Write as _;

/// The longest loop that is looked for, in moves.
const LONGEST_LOOP: usize = 24;
/// The most parts of a walk that are written out; of a longer one, its beginning and its end.
const MOST_PARTS: usize = 14;
const FIRST_PARTS: usize = 4;
const LAST_PARTS: usize = 8;

/// A walk in words, from the names of its parts.
pub fn walk_words(names: &[String]) -> String {
    let parts = parts(names);
    let mut words = String::new();
    let cut = parts.len() > MOST_PARTS;
    for (at, part) in parts.iter().enumerate() {
        if cut && (FIRST_PARTS..parts.len() - LAST_PARTS).contains(&at) {
            if at == FIRST_PARTS {
                let left_out: usize = parts[FIRST_PARTS..parts.len() - LAST_PARTS].iter().map(Part::moves).sum();
                let _ = write!(words, ", ... {left_out} more moves ...");
            }
            continue;
        }
        let comma = if at > 0 { ", " } else { "" };
        let _ = write!(words, "{comma}{}", part.words());
    }
    words
}

/// One move, or a loop of several.
#[derive(Clone, Copy, Debug)]
struct Part<'n> {
    names: &'n [String],
    times: usize,
}

impl Part<'_> {
    fn moves(&self) -> usize {
        self.names.len() * self.times
    }

    fn words(&self) -> String {
        match (self.names, self.times) {
            (names, 1) => names.join(", "),
            ([one], times) => format!("then {one} {times} times"),
            (names, times) => format!("then ({}) {times} times", names.join(", ")),
        }
    }
}

fn parts(names: &[String]) -> Vec<Part<'_>> {
    let mut parts = Vec::new();
    let mut at = 0;
    while at < names.len() {
        let part = loop_at(&names[at..]).unwrap_or(Part { names: &names[at..=at], times: 1 });
        at += part.moves();
        parts.push(part);
    }
    parts
}

/// The loop with which some moves begin that stands for most of them, the shortest of those; `None` if they begin with
/// none.
fn loop_at(names: &[String]) -> Option<Part<'_>> {
    let mut best: Option<Part<'_>> = None;
    for length in 1..=LONGEST_LOOP.min(names.len() / 2) {
        let (body, _) = names.split_at(length);
        let times = names.chunks_exact(length).take_while(|chunk| *chunk == body).count();
        let part = Part { names: body, times };
        // Two moves of one name are as quickly read as written.
        let is_worth_it = times > 1 && part.moves() > 2;
        if is_worth_it && best.is_none_or(|best| part.moves() > best.moves()) {
            best = Some(part);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> String {
        walk_words(&text.split(' ').map(str::to_owned).collect::<Vec<_>>())
    }

    #[test]
    fn loops_are_said_once_and_counted() {
        let long = format!("boot open{}", " down up".repeat(31));
        assert_eq!(words(&long), "boot, open, then (down, up) 31 times");
        assert_eq!(words("boot tick tick tick back"), "boot, then tick 3 times, back");
        assert_eq!(words("boot open open back"), "boot, open, open, back");
        assert_eq!(words("boot"), "boot");
    }

    #[test]
    fn of_a_long_walk_the_beginning_and_the_end_are_said() {
        let names: Vec<String> = (0..40).map(|move_number| format!("m{move_number}")).collect();
        let expected = "m0, m1, m2, m3, ... 28 more moves ..., m32, m33, m34, m35, m36, m37, m38, m39";
        assert_eq!(walk_words(&names), expected);
    }
}
