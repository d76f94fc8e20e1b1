//! What is reported on standard error, how text is drawn on a stream, and the exit status that follows.

use std::io::{IsTerminal, Write};

use crate::{
    report::text::{Detail, TextStyle, fault_text},
    source::{Fault, did_you_mean},
};

/// Reports a fault on standard error.
pub(crate) fn tell(fault: &Fault) {
    let _ = std::io::stderr().write_all(fault_text(fault, error_style()).as_bytes());
}

/// The exit status of a command that has one of its own; reports why it could not do its work otherwise.
pub(crate) fn status_or_faults(done: Result<u8, Vec<Fault>>) -> u8 {
    done.unwrap_or_else(|faults| status_of(Err(faults)))
}

/// Reports why a command could not do its work, and returns its exit status.
pub(crate) fn status_of(done: Result<(), Vec<Fault>>) -> u8 {
    let faults = done.err().unwrap_or_default();
    faults.iter().for_each(tell);
    if faults.is_empty() { 0 } else { 2 }
}

/// The same for a single fault.
pub(crate) fn done(result: Result<(), Fault>) -> u8 {
    status_of(result.map_err(Vec::from))
}

/// Reports that a name is not known, with the nearest known one; returns the exit status.
pub(crate) fn unknown(what: &str, name: &str, known: &[&str]) -> u8 {
    tell(&Fault::of_file("", format!("there is no {what} `{name}`"), did_you_mean(name, known.iter().copied())));
    2
}

/// Returns the message of a panic.
pub(crate) fn own_fault(file: &str, words: &str, message: &str, help: &str) -> Fault {
    Fault::of_file(file, format!("{message}: {words}"), format!("this is a bug in the program: {help}"))
}

/// How text is drawn on standard output, with what is usually said.
pub(crate) fn output_style() -> TextStyle {
    text_style(std::io::stdout().is_terminal())
}

fn error_style() -> TextStyle {
    text_style(std::io::stderr().is_terminal())
}

/// How text is drawn on a stream.
fn text_style(is_terminal: bool) -> TextStyle {
    let plain = std::env::var("NO_COLOR").is_ok_and(|value| !value.is_empty());
    let width = if is_terminal { terminal_width() } else { 100 };
    TextStyle { colour: is_terminal && !plain, width, detail: Detail::default() }
}

fn terminal_width() -> usize {
    terminal_size::terminal_size().map_or(100, |(columns, _)| usize::from(columns.0)).clamp(40, 120)
}
