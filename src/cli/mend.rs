//! `stillpage mend`: makes the corrections that findings carry in a plan, or shows them as a diff.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
    sync::Arc,
};

use clap::{Args, ValueHint};
use similar::TextDiff;

use super::{
    files::{
        DecodedCache, Outside, SettingsStore, check_is_one_plan, load_text, read_text, screen_faults, shown,
        working_folder,
    },
    options::Threads,
    output::{write_back, write_out},
    telling::status_of,
};
use crate::{
    finding::Summary,
    planner::mend::{Corrected, Left, Reviewed, Taken, mend as make_corrections, place},
    review::review,
    rules::{Selection, wording::counted},
    source::{Fault, Source},
};

/// What `mend` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 if done, even if there was nothing to correct; 2 for wrong usage, or for a plan that could not \
be read or written."
)]
pub(crate) struct MendArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// Print the changes as a unified diff and write nothing
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    outside: Outside,
    #[command(flatten)]
    threads: Threads,
}

/// Lines around a change in a diff.
const CONTEXT_LINES: usize = 3;

/// Runs the command and gives the exit status.
pub(super) fn mend(arguments: &MendArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &MendArguments) -> Result<(), Vec<Fault>> {
    let path = &arguments.plan;
    check_is_one_plan(path)?;
    let source = read_text(path)?;
    let corrected = correct(arguments, &source)?;
    let is_changed = corrected.text != source.text;
    if arguments.dry_run {
        // The diff can go to another program; the lines about it are for people.
        let _ = write_lines(&corrected, is_changed, path, true, &mut io::stderr());
        return write_out(|out| write_diff(&source, &corrected.text, out)).map_err(Vec::from);
    }
    if is_changed {
        write_back(path, &corrected.text)?;
    }
    write_out(|out| write_lines(&corrected, is_changed, path, false, out)).map_err(Vec::from)
}

fn correct(arguments: &MendArguments, source: &Arc<Source>) -> Result<Corrected, Vec<Fault>> {
    let threads = arguments.threads.number();
    let cache: Arc<DecodedCache> = Arc::default();
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    make_corrections(source, &mut |text| {
        let loaded = load_text(text, &arguments.plan, &mut settings, Some(&cache))?;
        match review(&loaded.plan, &loaded.screens, &Selection::default(), threads, &mut |_| {}) {
            Ok(review) => Ok(Reviewed { plan: loaded.plan, review }),
            Err(broken) => Err(screen_faults(&loaded, broken)),
        }
    })
}

fn write_diff(source: &Source, text: &str, out: &mut dyn Write) -> io::Result<()> {
    let diff = TextDiff::from_lines(source.text.as_str(), text);
    diff.unified_diff().context_radius(CONTEXT_LINES).header(&source.name, &source.name).to_writer(out)
}

fn write_lines(
    corrected: &Corrected,
    is_changed: bool,
    path: &Path,
    is_dry: bool,
    out: &mut dyn Write,
) -> io::Result<()> {
    for Taken { finding, change } in &corrected.taken {
        writeln!(out, "{}: {change} (`{}`)", place(finding).trim_start_matches("at "), finding.rule)?;
    }
    let corrections = counted(corrected.taken.len() as u64, "correction", "corrections");
    let done = match (is_changed, is_dry) {
        (false, _) => "nothing was corrected".to_owned(),
        (true, true) => format!("{corrections} to make; nothing was written"),
        (true, false) => format!("{corrections} made"),
    };
    if !corrected.taken.is_empty() {
        writeln!(out)?;
    }
    write_left(&corrected.left, out)?;
    writeln!(out, "{}: {done}; before: {}; after: {}", shown(path), counts(&corrected.before), counts(&corrected.after))
}

/// What remains: first what could not be corrected, with the reason, then what a person has to decide.
fn write_left(left: &[Left], out: &mut dyn Write) -> io::Result<()> {
    let (refused, advised): (Vec<&Left>, Vec<&Left>) = left.iter().partition(|left| !left.not_taken.is_empty());
    for Left { finding, not_taken } in &refused {
        writeln!(out, "not corrected: `{}` {}", finding.rule, place(finding))?;
        for not_taken in not_taken {
            writeln!(out, "  {}: {}", not_taken.change, not_taken.reason)?;
        }
    }
    for Left { finding, .. } in &advised {
        writeln!(out, "for you to decide: `{}` {}: {}", finding.rule, place(finding), finding.help)?;
    }
    if left.is_empty() { Ok(()) } else { writeln!(out) }
}

fn counts(summary: &Summary) -> String {
    [
        counted(summary.error, "error", "errors"),
        counted(summary.warning, "warning", "warnings"),
        counted(summary.note, "note", "notes"),
    ]
    .join(", ")
}
