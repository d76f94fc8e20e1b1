//! Names that a trace uses and nobody knows: each is reported once, with the number of records that use it, because a
//! device says the same name again and again. Knows no fields of records.

use std::{collections::BTreeMap, fmt::Write as _, sync::Arc};

use crate::source::{Fault, Source, Span};

/// At most this many names are reported by themselves.
const MOST_NAMES: usize = 8;

/// Names of one kind that nobody knows.
#[derive(Debug, Default)]
pub(super) struct UnknownNames(BTreeMap<String, Unknown>);

#[derive(Debug)]
struct Unknown {
    first: Span,
    records: usize,
    message: String,
    help: String,
}

impl UnknownNames {
    /// A record uses a name at this place; what is wrong with the name and what helps is asked for once.
    pub(super) fn note(&mut self, name: &str, place: Span, wrong: impl FnOnce() -> (String, String)) {
        if let Some(known) = self.0.get_mut(name) {
            known.records += 1;
            return;
        }
        let (message, help) = wrong();
        self.0.insert(name.to_owned(), Unknown { first: place, records: 1, message, help });
    }

    /// A fault for each name at its first place, in the order of the trace; names for which the same helps share one, and of the
    /// others only a few are reported by themselves. `what` says what they are.
    pub(super) fn faults(self, source: &Arc<Source>, what: &str) -> Vec<Fault> {
        let mut all: Vec<(String, Unknown)> = self.0.into_iter().collect();
        all.sort_by_key(|(_, unknown)| unknown.first.start);
        let mut named: Vec<(Unknown, usize)> = Vec::new();
        let mut rest: Vec<String> = Vec::new();
        for (name, unknown) in all {
            match named.iter().position(|(first, _)| first.help == unknown.help) {
                Some(known) => named[known].1 += 1,
                None if named.len() < MOST_NAMES => named.push((unknown, 0)),
                None => rest.push(name),
            }
        }
        let mut faults: Vec<Fault> = named.into_iter().map(|named| fault(source, named, what)).collect();
        if let Some(name) = rest.first() {
            let message = match rest.len() {
                1 => format!("the {what} `{name}` has a fault of this kind, too"),
                names => format!("{names} more {what}s have a fault of this kind, the first of them is `{name}`"),
            };
            faults.push(Fault::of_file(&source.name, message, "correct the faults above first"));
        }
        faults
    }
}

fn fault(source: &Arc<Source>, (unknown, alike): (Unknown, usize), what: &str) -> Fault {
    let mut message = unknown.message;
    if unknown.records > 1 {
        let _ = write!(message, "; {} records name it, the first of them here", unknown.records);
    }
    match alike {
        0 => {}
        1 => _ = write!(message, "; the same is true of another {what}"),
        names => _ = write!(message, "; the same is true of {names} other {what}s"),
    }
    Fault::at(source, unknown.first, message).with_help(unknown.help)
}
