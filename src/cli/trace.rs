//! `stillpage trace`: turns a device's own log into a trace.

use std::{
    fmt::Write as _,
    io::{self, Write},
    path::{Path, PathBuf},
};

use clap::{Args, ValueHint};

use super::{
    files::{Outside, read_recorded_text, read_text},
    output::{check_ending, check_out, tell_written, write_file, write_out},
    telling::status_of,
    trace_check::{Origin, check_trace},
};
use crate::{
    rules::wording::counted,
    source::{Fault, readable},
    trace::{Converted, LONGEST_LINE, LogLines, read_log_lines, suggest_log_lines},
};

/// What `trace` takes.
#[derive(Debug, Args)]
#[command(
    override_usage = "stillpage trace <LOG> --suggest\n       stillpage trace <LOG> --lines <FILE.json> --dry-run\n       \
                            stillpage trace <LOG> --lines <FILE.json> --out <FILE.trace.jsonl>"
)]
pub(crate) struct TraceArguments {
    /// The device's log, a text file
    #[arg(value_hint = ValueHint::FilePath)]
    log: PathBuf,
    /// A JSON file with one pattern for each kind of record. A line of the log that matches a pattern becomes a record of
    /// that kind; the pattern's named groups give its fields
    #[arg(long, value_name = "FILE.json", value_hint = ValueHint::FilePath, required_unless_present = "suggest")]
    lines: Option<PathBuf>,
    /// Write the trace to this file
    #[arg(long, value_name = "FILE.trace.jsonl", value_hint = ValueHint::FilePath, required_unless_present_any = ["dry_run", "suggest"])]
    out: Option<PathBuf>,
    /// Overwrite the file of `--out` if it exists
    #[arg(long, requires = "out")]
    force: bool,
    /// Show what the first twenty lines become, check whether the display, the modes and the frames can be used, and write
    /// nothing. The display and the frames are looked for
    /// next to the file of `--out`, or next to the log if there is no `--out`
    #[arg(long, conflicts_with = "force")]
    dry_run: bool,
    /// Show all lines of the log with `--dry-run`, and not only the first twenty
    #[arg(long, requires = "dry_run")]
    all: bool,
    /// Print a first version of the file for `--lines`, made from the log, for you to complete; write no trace
    #[arg(long, conflicts_with_all = ["lines", "out", "dry_run"])]
    suggest: bool,
    #[command(flatten)]
    outside: Outside,
}

/// So many lines are shown, if not all of them.
const FIRST_LINES: usize = 20;

/// Runs the command and gives the exit status.
pub(super) fn trace(arguments: &TraceArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &TraceArguments) -> Result<(), Vec<Fault>> {
    if let Some(out) = &arguments.out {
        check_ending(out, ".trace.jsonl", "the names of traces end in `.trace.jsonl`")?;
        // A dry run overwrites nothing.
        check_out(out, arguments.force || arguments.dry_run)?;
    }
    let log = read_recorded_text(&arguments.log)?;
    let Some(lines) = &arguments.lines else { return suggest(&arguments.log, &log.text) };
    let text = read_text(lines)?;
    let lines = read_log_lines(&text)?;
    let most_shown = match (arguments.dry_run, arguments.all) {
        (true, true) => usize::MAX,
        (true, false) => FIRST_LINES,
        (false, _) => 0,
    };
    let converted = lines.convert(&log.text, most_shown);
    if arguments.dry_run {
        let left_out = log.text.lines().count() - converted.shown.len();
        write_out(|out| write_shown(&converted, left_out, out))?;
    }
    if converted.records == 0 {
        return Err(nothing_matched(&arguments.log, &lines, &converted).into());
    }
    let out = arguments.out.clone().unwrap_or_else(|| arguments.log.with_extension("trace.jsonl"));
    if arguments.dry_run {
        let origin = Origin { log: &log, lines: &text, converted: &converted };
        let checked = check_trace(&out, &origin, arguments.outside)?;
        return write_out(|out| writeln!(out, "{checked}")).map_err(Vec::from);
    }
    // The frames may still lie on the device: a review will say what is missing.
    write_file(&out, |file| file.write_all(converted.trace.as_bytes()))?;
    tell_written(&out, &counts(&converted)).map_err(Vec::from)
}

/// Prints what was recognised; how much it was goes to standard error, because the output is a file.
fn suggest(path: &Path, log: &str) -> Result<(), Vec<Fault>> {
    let suggested = suggest_log_lines(log);
    if log.trim().is_empty() {
        let help = "look whether the device has written to another file, or has not closed this one";
        return Err(Fault::of_file(path.display().to_string(), "the log is empty", help).into());
    }
    if suggested.patterns == 0 {
        let message = "no line of this log looks like an update, a frame, a touch, a key, a temperature or the power";
        let help = "write the patterns yourself: `docs/traces.md` shows how";
        return Err(Fault::of_file(path.display().to_string(), message, help).into());
    }
    write_out(|out| out.write_all(suggested.text.as_bytes())).map_err(Vec::from)?;
    let [matched, all] = suggested.matched;
    let _ = writeln!(
        io::stderr(),
        "{} for {matched} of {all} lines. Fill in what the comments ask for, then look with `--dry-run`.",
        counted(suggested.patterns as u64, "pattern", "patterns")
    );
    Ok(())
}

fn write_shown(converted: &Converted, left_out: usize, out: &mut dyn Write) -> std::io::Result<()> {
    for (line, became) in &converted.shown {
        writeln!(out, "{}\n  -> {}", readable(line), readable(became))?;
    }
    if left_out > 0 {
        let lines = counted(left_out as u64, "more line is", "more lines are");
        writeln!(out, "... {lines} not shown; `--all` shows all lines")?;
    }
    writeln!(out, "\n{}", counts(converted))
}

/// What became of the lines, in words.
fn counts(converted: &Converted) -> String {
    let mut words = counted(converted.records, "record", "records");
    if converted.unmatched > 0 {
        let lines = counted(converted.unmatched, "line", "lines");
        let first = converted.first_unmatched.iter();
        let first: Vec<String> = first.map(|(at, line)| format!("\n  line {at}: {}", readable(line))).collect();
        let _ = write!(words, "; {lines} that no pattern matches, the first of them:{}", first.concat());
    }
    if converted.too_long > 0 {
        let lines = counted(converted.too_long, "line", "lines");
        let _ = write!(words, "\n{lines} of more than {} KB left out", LONGEST_LINE >> 10);
    }
    if converted.is_mixed {
        words.push_str(
            "\nsome times are times of day and others are counts: give both kinds of lines patterns with times of one kind, \
             because the trace has one clock",
        );
    }
    if converted.wrong > 0 {
        let lines = counted(converted.wrong, "line", "lines");
        let first: Vec<String> =
            converted.first_wrong.iter().map(|(at, why)| format!("\n  line {at}: {}", readable(why))).collect();
        let _ = write!(
            words,
            "\n{lines} left out, because a time or a number cannot be read, the first of them:{}",
            first.concat()
        );
    }
    words
}

fn nothing_matched(log: &Path, lines: &LogLines, converted: &Converted) -> Fault {
    let of_line = |(at, line): &(usize, String)| format!("line {at} is `{line}`:\n{}", lines.missed(line).join("\n"));
    let words: Vec<String> = converted.first_unmatched.iter().map(of_line).collect();
    let message = format!("no line of this log became a record\n{}", words.join("\n"));
    Fault::of_file(log.display().to_string(), message, "correct the patterns, and look with `--dry-run`")
}
