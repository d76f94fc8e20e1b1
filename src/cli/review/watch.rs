//! `review --watch`: keeps running, and reviews again what a changed file affects.

use std::{
    collections::BTreeSet,
    io::{self, IsTerminal, Write},
    path::{Path, PathBuf},
    time::Duration,
};

use super::{
    arguments::Format,
    repeated::{Again, Repeated},
    review_run::{ReviewRun, Task},
    writing::{write_files, write_report},
};
use crate::cli::{
    output::write_out,
    telling::{output_style, tell},
};
use crate::{
    report::text::{self, Detail, Earlier, TextStyle},
    rules::wording::counted as count,
    source::Fault,
};

/// Saves within this time are reviewed together.
const BURST: Duration = Duration::from_millis(100);

/// Reviews again after every change, without end.
pub(super) fn watch(task: &Task<'_>) -> Result<u8, Vec<Fault>> {
    let mut repeated = Repeated::begin(task, BURST)?;
    let mut earlier = Earlier::default();
    if let Some(run) = repeated.run() {
        let style = TextStyle { detail: task.arguments.detail(), ..output_style() };
        print(task, run, &|out| text::write(&run.report, style, out))?;
        write_files(task.arguments, run)?;
        earlier = Earlier::of(&run.report, earlier);
        let listed = if says_changes_alone(task) {
            "; after each save, what is new and what is gone is listed (with --full, everything)"
        } else {
            ""
        };
        say(&format!("watching {}{listed}; Ctrl-C ends", plans(run.plans())));
    }
    loop {
        match repeated.next() {
            Ok(again) => {
                if let Some(run) = repeated.run() {
                    report(task, run, &earlier, &again)?;
                    earlier = Earlier::of(&run.report, earlier);
                }
            }
            Err(faults) => {
                faults.iter().for_each(tell);
                say("waiting for a change that fixes it");
            }
        }
    }
}

fn plans(number: usize) -> String {
    count(number as u64, "plan", "plans")
}

/// Whether a round lists only what is not as it was before: text for people, unless they want all of it.
fn says_changes_alone(task: &Task<'_>) -> bool {
    task.arguments.format == Format::Text && task.arguments.detail() == Detail::Causes
}

/// Prints what is new since the round before, and writes the files whole.
fn report(task: &Task<'_>, run: &mut ReviewRun, earlier: &Earlier, again: &Again) -> Result<(), Vec<Fault>> {
    let is_shown = |at: usize| run.is_new(at);
    let style = TextStyle { detail: task.arguments.detail(), ..output_style() };
    print(task, run, &|out| {
        if says_changes_alone(task) {
            text::write_since(&run.report, earlier, &is_shown, style, out)
        } else {
            text::write_some(&run.report, &is_shown, style, out)
        }
    })?;
    say(&format!("{} in {} ms", changed_words(run, &again.changed), again.took.as_millis()));
    write_files(task.arguments, run).map_err(Vec::from)
}

/// Prints a round in the format that is asked for; text is as `write_text` writes it.
fn print(task: &Task<'_>, run: &ReviewRun, write_text: &dyn Fn(&mut dyn Write) -> io::Result<()>) -> Result<(), Fault> {
    if task.arguments.out.is_some() {
        return Ok(());
    }
    write_out(|out| match task.arguments.format {
        Format::Text => write_text(out),
        format => write_report(&run.report, format, Path::new(""), output_style(), out),
    })
}

/// What changed, and how many plans were reviewed because of that.
pub(in crate::cli) fn changed_words(run: &ReviewRun, changed: &BTreeSet<PathBuf>) -> String {
    let reviewed = (0..run.plans()).filter(|at| run.is_new(*at)).count();
    format!("{}: {reviewed} of {} reviewed again", names(changed), plans(run.plans()))
}

/// The names of some files, in few words.
fn names(changed: &BTreeSet<PathBuf>) -> String {
    let mut names = changed.iter().filter_map(|file| file.file_name()).map(|name| name.to_string_lossy());
    let first = names.next().unwrap_or_default();
    match names.count() {
        0 => format!("{first} changed"),
        more => format!("{first} and {} changed", count(more as u64, "more file", "more files")),
    }
}

fn say(words: &str) {
    let mark = if io::stderr().is_terminal() { "-- " } else { "" };
    let _ = writeln!(io::stderr(), "{mark}{words}");
}
