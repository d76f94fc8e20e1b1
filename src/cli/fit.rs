//! `stillpage fit`: writes the test sequence to measure, and turns the filled-in table into a display description.

use std::{
    fs,
    path::{Path, PathBuf},
};

use clap::{Args, ValueHint};

use super::{
    files::{
        Inputs, Outside, SettingsStore, folder_of, is_trace, load_display_with_inputs, load_kept_plan, read_text,
        way_from, working_folder,
    },
    output::{check_is_png, check_out, make_folder, write_file, write_out},
    telling::status_of,
};
use crate::{
    display::{Display, Mode, shipped},
    fit::{
        Unfit, durations_fragment, fit as fit_readings, fragment, measured_durations, read_table, refused_as_cleaning,
        test_sequence,
    },
    report::residue_plot,
    source::{Fault, did_you_mean},
};

/// What `fit` takes.
#[derive(Debug, Args)]
#[command(
    override_usage = "stillpage fit --display <NAME> --mode <MODE> --print-sequence <DIR>\n       stillpage fit --display \
                            <NAME> --mode <MODE> <MEASURED.csv>\n       stillpage fit --durations <FILE.trace.jsonl>",
    after_help = "Measuring drives the panel many times: the panel maker's documents come first. The panel \
                        flashes, and flashing can trigger seizures in people with photosensitive epilepsy."
)]
pub(crate) struct FitArguments {
    /// The filled-in table of readings (CSV)
    #[arg(required_unless_present_any = ["print_sequence", "durations"], value_name = "MEASURED.csv")]
    measured: Option<PathBuf>,
    /// The panel: the name of a display that comes with the program, or the path of a description
    #[arg(long, value_name = "NAME", required_unless_present = "durations")]
    display: Option<String>,
    /// The mode that was measured
    #[arg(long, value_name = "MODE", required_unless_present = "durations")]
    mode: Option<String>,
    /// Also write the description to a file
    #[arg(long, value_name = "FILE.display.json", conflicts_with = "print_sequence")]
    out: Option<PathBuf>,
    /// Overwrite the file of `--out` if it exists
    #[arg(long, requires = "out")]
    force: bool,
    /// Draw the readings and the fitted curve as a picture
    #[arg(long, value_name = "FILE.png", conflicts_with = "print_sequence")]
    plot: Option<PathBuf>,
    /// Write a plan of test screens to measure, and an empty table for the readings, into this folder
    #[arg(long, value_name = "DIR", conflicts_with = "measured")]
    print_sequence: Option<PathBuf>,
    /// Take the durations of all modes, for each temperature, from a trace in which updates have the fields `started`
    /// and `finished`
    #[arg(long, value_name = "FILE.trace.jsonl", value_hint = ValueHint::FilePath,
          conflicts_with_all = ["measured", "print_sequence", "plot", "display", "mode"])]
    durations: Option<PathBuf>,
    #[command(flatten)]
    outside: Outside,
}

/// Runs the command and gives the exit status.
pub(super) fn fit(arguments: &FitArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &FitArguments) -> Result<(), Vec<Fault>> {
    if let Some(trace) = &arguments.durations {
        return measure_durations(arguments, trace);
    }
    let mut inputs = Inputs::default();
    // The parser asks for both where no trace is given.
    let (Some(named), Some(mode_name)) = (&arguments.display, &arguments.mode) else { return Ok(()) };
    let display = load_display_with_inputs(named, arguments.outside, &mut inputs)?;
    let mode = mode(&display, mode_name)?;
    if let Some(folder) = &arguments.print_sequence {
        return write_sequence(&display, mode, named, folder).map_err(Vec::from);
    }
    let Some(measured) = &arguments.measured else { return Ok(()) };
    inputs.add_file(measured);
    check_outputs(arguments, &inputs.whole())?;
    measure(arguments, named, (&display, mode), measured)
}

/// Writes the durations of a trace as a description that changes the one that the trace names.
fn measure_durations(arguments: &FitArguments, path: &Path) -> Result<(), Vec<Fault>> {
    if !is_trace(path) {
        let message = "durations are taken from a trace, but this is none by its name";
        return Err(Fault::of_file(path.display().to_string(), message, "name a trace (`*.trace.jsonl`)").into());
    }
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let loaded = load_kept_plan(path, &mut settings, None)?;
    check_outputs(arguments, &loaded.inputs())?;
    let measured = measured_durations(&loaded.plan);
    if measured.is_empty() {
        let message = "no update of this trace has both `started` and `finished`";
        let help = "let the device record when an update began and ended (`docs/traces.md` has a writer in C)";
        return Err(Fault::of_file(path.display().to_string(), message, help).into());
    }
    let named = display_of_trace(path, &loaded.plan.source.text);
    let shown = path.file_name().unwrap_or_default().to_string_lossy();
    let text = |named: &str| durations_fragment(&loaded.plan, &measured, named, &shown);
    if let Some(out) = &arguments.out {
        let text = text(&name_from(&named, out.parent().unwrap_or(Path::new("")))?);
        write_file(out, |file| file.write_all(text.as_bytes()))?;
    }
    write_out(|out| out.write_all(text(&named).as_bytes())).map_err(Vec::from)
}

/// What the header of a trace calls its display, as it can be named from here.
fn display_of_trace(path: &Path, trace: &str) -> String {
    let header: serde_json::Value =
        trace.lines().next().and_then(|line| serde_json::from_str(line).ok()).unwrap_or_default();
    let named = header["display"].as_str().unwrap_or_default();
    if shipped::text_of(named).is_some() {
        return named.to_owned();
    }
    folder_of(path).join(named).display().to_string()
}

fn mode<'d>(display: &'d Display, name: &str) -> Result<&'d Mode, Fault> {
    let found = display.mode_named(name).map(|mode| &display.modes[mode]);
    found.ok_or_else(|| {
        let message = format!("`{}` has no mode `{name}`", display.name);
        Fault::of_file("", message, did_you_mean(name, display.mode_names()))
    })
}

/// Writes the sequence into a folder that has none of its files yet: a table may hold an afternoon's readings.
fn write_sequence(display: &Display, mode: &Mode, named: &str, folder: &Path) -> Result<(), Fault> {
    let based_on = name_from(named, folder)?;
    let files = test_sequence(display, mode, &based_on).map_err(|(message, help)| Fault::of_file("", message, help))?;
    for (name, _) in &files {
        let path = folder.join(name);
        if path.exists() {
            let message = "this file exists already and may contain readings";
            return Err(Fault::of_file(path.display().to_string(), message, "name another folder"));
        }
    }
    make_folder(folder)?;
    for (name, bytes) in files {
        let path = folder.join(name);
        write_file(&path, |out| out.write_all(&bytes))?;
    }
    write_out(|out| {
        writeln!(
            out,
            "{}: play this plan on the panel, and measure the patches whenever it waits a minute.",
            folder.join("sequence.plan.json").display()
        )?;
        writeln!(out, "{}: write the readings into this table, then run", folder.join("measured.csv").display())?;
        writeln!(
            out,
            "  stillpage fit {} --display {named} --mode {}",
            folder.join("measured.csv").display(),
            mode.name
        )?;
        writeln!(
            out,
            "The panel maker's documents take precedence over this sequence. The panel flashes: people with"
        )?;
        writeln!(out, "photosensitive epilepsy should not watch it.")
    })
}

fn measure(
    arguments: &FitArguments,
    named: &str,
    (display, mode): (&Display, &Mode),
    measured: &Path,
) -> Result<(), Vec<Fault>> {
    if let Some((message, help)) = refused_as_cleaning(mode) {
        return Err(Vec::from(Fault::of_file("", message, help)));
    }
    let source = read_text(measured)?;
    let table = read_table(&source, display, mode)?;
    let fit = fit_readings(&table.readings, mode, &display.ink)
        .map_err(|unfit| Vec::from(unfit_fault(&source.name, &unfit)))?;
    if let Some(path) = &arguments.plot {
        let bytes = residue_plot::draw(display, mode, &table.readings, &fit).map_err(|reason| {
            Vec::from(Fault::of_file(path.display().to_string(), format!("cannot be drawn: {reason}"), ""))
        })?;
        write_file(path, |out| out.write_all(&bytes))?;
    }
    if let Some(path) = &arguments.out {
        let folder = path.parent().unwrap_or(Path::new(""));
        let text = fragment(display, mode, &name_from(named, folder)?, &table, &fit);
        write_file(path, |out| out.write_all(text.as_bytes()))?;
    }
    let text = fragment(display, mode, named, &table, &fit);
    write_out(|out| out.write_all(text.as_bytes())).map_err(Vec::from)
}

/// No file that was read may be overwritten, also not a description that the display is based on.
fn check_outputs(arguments: &FitArguments, inputs: &Inputs) -> Result<(), Fault> {
    let mut known: Vec<&PathBuf> = Vec::new();
    for path in [&arguments.out, &arguments.plot].into_iter().flatten() {
        let is_read = path.canonicalize().is_ok_and(|path| inputs.reads(&path));
        if is_read || known.contains(&path) {
            let message = if is_read {
                "this file is an input and would be overwritten"
            } else {
                "two outputs would be written to this file"
            };
            return Err(Fault::of_file(path.display().to_string(), message, "name another file"));
        }
        known.push(path);
    }
    arguments.out.as_deref().map_or(Ok(()), |out| check_out(out, arguments.force))?;
    arguments.plot.as_deref().map_or(Ok(()), check_is_png)
}

fn unfit_fault(file: &str, unfit: &Unfit) -> Fault {
    let (message, help) = match unfit {
        Unfit::TooFew(0) => ("no row is filled in".to_owned(), "write L* into `read_l` and `clean_l`"),
        Unfit::TooFew(count) => (
            format!("three figures and their bounds need more than 3 readings, but only {count} are filled in"),
            "fill in at least 4 rows, or better all of them; `stillpage fit --print-sequence DIR` writes a table with \
             24 rows",
        ),
        Unfit::Open(name) => (
            format!("the readings do not determine `{name}`"),
            "measure patches that end light and patches that end dark, after one update and after several",
        ),
        Unfit::NoEnd => (
            "no figures match these readings even roughly".to_owned(),
            "check the readings, and make sure that they \
                are in L*",
        ),
    };
    Fault::of_file(file, message, help)
}

/// What a file in `folder` calls a display that the command line calls `named`.
fn name_from(named: &str, folder: &Path) -> Result<String, Fault> {
    if shipped::text_of(named).is_some() {
        return Ok(named.to_owned());
    }
    let broken = |error: std::io::Error| Fault::of_file(named, format!("cannot be found: {error}"), "check the path");
    let file = Path::new(named).canonicalize().map_err(broken)?;
    let folder = real_folder(folder).map_err(broken)?;
    Ok(way_from(&folder, &file))
}

/// A folder without links, even if it does not exist yet.
fn real_folder(folder: &Path) -> std::io::Result<PathBuf> {
    if folder.as_os_str().is_empty() {
        return fs::canonicalize(".");
    }
    match folder.canonicalize() {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => match (folder.parent(), folder.file_name()) {
            (Some(parent), Some(name)) => Ok(real_folder(parent)?.join(name)),
            _ => Err(error),
        },
        found => found,
    }
}
