//! The command line: arguments, one file a command. Beside the loader the only place that touches files, environment
//! and standard streams.

mod completions;
mod draft;
mod fit;
mod glass;
mod inputs;
mod interrupt;
mod known;
mod load;
mod manual;
mod mend;
mod output;
mod pictures;
mod prepare;
mod progress;
mod allowed_roots;
mod replan;
mod review;
mod review_run;
mod rules;
mod settings;
mod show;
mod decoded_cache;
mod watch;

use std::{
    ffi::OsString,
    io::{IsTerminal, Write},
    path::PathBuf,
    process::ExitCode,
    sync::atomic::{AtomicUsize, Ordering},
};

use clap::{Parser, Subcommand, ValueEnum, ValueHint};
use clap_complete::Shell;

use crate::{
    finding::{Severity, guarded},
    geometry::Rotation,
    planner::Effort,
    prepare::How,
    report::{
        Gate,
        text::{TextStyle, fault_text},
    },
    review::BrokenScreen,
    source::{Fault, did_you_mean, json::locate},
};
use allowed_roots::Outside;
use completions::Offered;
use load::LoadedPlan;

/// Reviews refresh plans of interfaces on electronic paper: which updates ghost, flicker, come late or do not show.
#[derive(Debug, Parser)]
#[command(name = "stillpage", version, arg_required_else_help = true, max_term_width = 100)]
#[command(
    after_help = "Exit status: 0 nothing at or above the gate; 1 findings at or above the gate; 2 wrong usage, an \
input that could not be read, or a fault of the program itself.\nFigures are predictions from a display description: measure your own panel."
)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Review plans against their screens
    Review(Box<ReviewArguments>),
    /// Make the exact corrections that findings of a plan carry, where nothing else gets worse by them
    Mend(MendArguments),
    /// Write a first plan for a folder of screens, with every update left to be chosen
    Draft(DraftArguments),
    /// Draw the panel as a reader sees it after a step, ghosts and all
    Glass(GlassArguments),
    /// Bring screens to the levels or the palette of a panel
    Prepare(PrepareArguments),
    /// Fit what a mode leaves behind to measured L*, and write it as a display description
    Fit(FitArguments),
    /// Choose windows, modes and cleanings for the steps of a plan that leave it open
    Replan(ReplanArguments),
    /// List the displays that ship, or print one as a file to start from
    Displays {
        /// The display to print
        #[arg(value_parser = Offered::DISPLAYS, hide_possible_values = true)]
        name: Option<String>,
    },
    /// List the rules, or explain one, with the levels and limits that hold and where they are set
    Rules {
        /// The rule to explain
        #[arg(value_parser = Offered::RULES, hide_possible_values = true)]
        id: Option<String>,
        /// For which plan or folder
        #[arg(long = "for", value_name = "PATH", value_hint = ValueHint::AnyPath, default_value = ".")]
        place: PathBuf,
        #[command(flatten)]
        outside: Outside,
    },
    /// List the JSON Schemas of the file formats, or print one: plan, display, findings or facts
    Schema {
        /// The format
        #[arg(value_parser = Offered::SCHEMAS, hide_possible_values = true)]
        name: Option<String>,
    },
    /// Print a script that lets your shell complete commands, options, rules and displays
    #[command(after_help = completions::WHERE)]
    Completions {
        /// The shell
        shell: Shell,
    },
    /// Print the man page, or write one for each command into a folder
    #[command(after_help = manual::WHERE)]
    Manual {
        /// Write stillpage.1 and a page for each command into this folder
        #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
        out: Option<PathBuf>,
    },
}

/// What `review` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct ReviewArguments {
    /// Plans, or folders that are walked for `*.plan.json`
    #[arg(default_value = ".")]
    paths: Vec<PathBuf>,
    /// The format of what is printed
    #[arg(long, value_enum, default_value = "text", ignore_case = true)]
    format: Format,
    /// Write it to a file instead of standard output
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    out: Option<PathBuf>,
    /// Write another format to a file in the same run; may be given several times
    #[arg(long, value_name = "FORMAT=FILE", value_parser = also)]
    also: Vec<(Format, PathBuf)>,
    /// Review at this temperature (degrees C) instead of the plans' own; may be given several times
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = temperature)]
    temperature: Vec<f64>,
    /// From which level on a finding makes the exit status 1
    #[arg(long, value_enum, default_value = "error", ignore_case = true)]
    gate: GateWord,
    /// Draw an annotated picture of every step with findings into this folder
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pictures: Option<PathBuf>,
    /// Write a page for people: screens, time chart, a player of the panel, findings at their places
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    html: Option<PathBuf>,
    /// Put a second plan beside the first in that page: the first is the one before, this the one after
    #[arg(long, value_name = "PLAN", value_hint = ValueHint::FilePath, requires = "html")]
    compare: Option<PathBuf>,
    /// Write what the model worked out, a JSON object a line and step
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    facts: Option<PathBuf>,
    /// Let findings that stand in this file pass: only new ones make the exit status 1
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    known: Option<PathBuf>,
    /// Write what was found and not accepted into this file, to be known from then on
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    write_known: Option<PathBuf>,
    /// Run only this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    only: Vec<String>,
    /// Do not run this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    without: Vec<String>,
    /// Stay, and review again what a change of a plan, a screen or a display touches; ends with Ctrl-C
    #[arg(long, conflicts_with = "facts")]
    watch: bool,
    #[command(flatten)]
    outside: Outside,
    /// How many threads to use [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

/// What `mend` takes.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Exit status: 0 done, also where there was nothing to correct; 2 wrong usage, or a plan that could not be \
read or written."
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
    /// How many threads to use [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

/// What `draft` takes.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Screens are taken in natural order (2 before 10). A word such as `0012500ms` in a name is its time since the \
beginning; where all names have one they decide the order."
)]
pub(crate) struct DraftArguments {
    /// The folder of screens (PNG, SVG); folders in it and hidden files are left out
    #[arg(value_hint = ValueHint::DirPath)]
    folder: PathBuf,
    /// The panel: a shipped display by its name, or a description by its path
    #[arg(long, value_name = "NAME")]
    display: String,
    /// Write the plan to a file instead of standard output; its paths are then written from there
    #[arg(long, value_name = "FILE.plan.json", value_hint = ValueHint::FilePath)]
    out: Option<PathBuf>,
    /// Write over the file of `--out` where there is one
    #[arg(long, requires = "out")]
    force: bool,
    /// The plan's title [default: the name of the folder, or of the one above a folder `screens`]
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// What is on the glass before the first step: white, black, unknown, or a screen of the folder
    #[arg(long, value_name = "WHAT", default_value = "unknown")]
    begins: String,
    /// Time between two screens whose names say none, ms
    #[arg(long, value_name = "MS", default_value = "1000", value_parser = clap::value_parser!(u32).range(0..=86_400_000))]
    after: u32,
    /// By how many degrees clockwise the screens must be turned to lie on the panel: 0, 90, 180, 270
    #[arg(long, value_name = "DEGREES", default_value = "0", value_parser = rotation)]
    rotation: Rotation,
    #[command(flatten)]
    outside: Outside,
}

/// What `glass` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct GlassArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// The step, counted from 0 over the expanded plan [default: the last one]
    #[arg(long, value_name = "N")]
    step: Option<u64>,
    /// The PNG to write
    #[arg(long, value_name = "F.png", value_hint = ValueHint::FilePath)]
    out: PathBuf,
    /// Draw the residue alone, with a scale in L* and every ghost outlined
    #[arg(long)]
    difference: bool,
    #[command(flatten)]
    outside: Outside,
}

/// What `prepare` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct PrepareArguments {
    /// Screens (PNG, SVG), or folders that are walked for them
    #[arg(required = true, value_name = "SCREEN")]
    screens: Vec<PathBuf>,
    /// The panel: a shipped display by its name, or a description by its path
    #[arg(long, value_name = "NAME")]
    display: String,
    /// The folder for the prepared PNGs; a screen is never written over
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// What becomes of tones between the levels
    #[arg(long, value_enum, default_value = "ordered", ignore_case = true)]
    how: HowWord,
    /// From how far away the reader looks, mm, for the printed difference [default: the display's own, else 350]
    #[arg(long, value_name = "MM", value_parser = distance)]
    distance: Option<f64>,
    /// By how many degrees clockwise the screens must be turned to lie on the panel: 0, 90, 180, 270
    #[arg(long, value_name = "DEGREES", default_value = "0", value_parser = rotation)]
    rotation: Rotation,
    /// Font files, or folders of them, for text in SVG screens; may be given several times
    #[arg(long, value_name = "PATH")]
    fonts: Vec<String>,
    #[command(flatten)]
    outside: Outside,
    /// How many threads to use [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

/// What `fit` takes.
#[derive(Debug, clap::Args)]
#[command(after_help = "To measure drives the panel again and again: its maker's documents come first. It flashes.")]
pub(crate) struct FitArguments {
    /// The filled-in table of readings (CSV)
    #[arg(required_unless_present = "print_sequence", value_name = "MEASURED.csv")]
    measured: Option<PathBuf>,
    /// The panel: a shipped display by its name, or a description by its path
    #[arg(long, value_name = "NAME")]
    display: String,
    /// The mode that was measured
    #[arg(long, value_name = "MODE")]
    mode: String,
    /// Write the description to a file too
    #[arg(long, value_name = "FILE.display.json", conflicts_with = "print_sequence")]
    out: Option<PathBuf>,
    /// Write over the file of `--out` where there is one
    #[arg(long, requires = "out")]
    force: bool,
    /// Draw the readings and the fit through them
    #[arg(long, value_name = "FILE.png", conflicts_with = "print_sequence")]
    plot: Option<PathBuf>,
    /// Write a plan of test screens to measure, and an empty table, into this folder
    #[arg(long, value_name = "DIR", conflicts_with = "measured")]
    print_sequence: Option<PathBuf>,
    #[command(flatten)]
    outside: Outside,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum HowWord {
    /// None: every pixel takes the nearest level
    Threshold,
    /// A pattern that stands still: what changes elsewhere moves none of it
    Ordered,
    /// Errors are handed on: finer, but a small edit moves the specks below it
    Diffusion,
}

impl From<HowWord> for How {
    fn from(word: HowWord) -> Self {
        match word {
            HowWord::Threshold => Self::Threshold,
            HowWord::Ordered => Self::Ordered,
            HowWord::Diffusion => Self::Diffusion,
        }
    }
}

/// What `replan` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct ReplanArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// Choose for every step, not only for those with `"updates": "choose"`
    #[arg(long)]
    all: bool,
    /// Write the updates into the plan; all else in the file stays as it is
    #[arg(long)]
    write: bool,
    /// How much is tried
    #[arg(long, value_enum, default_value = "usual", ignore_case = true)]
    effort: EffortWord,
    #[command(flatten)]
    outside: Outside,
    /// How many threads to use [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum EffortWord {
    /// The best at every step, one after the other
    Quick,
    /// A few courses side by side
    Usual,
    /// Many courses; small plans wholly
    Thorough,
}

impl From<EffortWord> for Effort {
    fn from(word: EffortWord) -> Self {
        match word {
            EffortWord::Quick => Self::Quick,
            EffortWord::Usual => Self::Usual,
            EffortWord::Thorough => Self::Thorough,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people
    Text,
    /// For programs
    Json,
    /// For code hosts and editors: SARIF 2.1.0
    Sarif,
    /// For the pages of test results: JUnit XML
    Junit,
    /// For a comment on a merge request: a table and the worst findings
    Markdown,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum GateWord {
    Error,
    Warning,
    Note,
    Never,
}

impl From<GateWord> for Gate {
    fn from(word: GateWord) -> Self {
        match word {
            GateWord::Error => Self::At(Severity::Error),
            GateWord::Warning => Self::At(Severity::Warning),
            GateWord::Note => Self::At(Severity::Note),
            GateWord::Never => Self::Never,
        }
    }
}

fn temperature(text: &str) -> Result<f64, String> {
    let celsius: f64 = text.parse().map_err(|_| "write degrees C as a number, for instance 25 or -5".to_owned())?;
    if (-273.0..=1000.0).contains(&celsius) { Ok(celsius) } else { Err("it lies between -273 and 1000".into()) }
}

fn distance(text: &str) -> Result<f64, String> {
    let mm: f64 = text.parse().map_err(|_| "write mm as a number, for instance 350".to_owned())?;
    if (10.0..=100_000.0).contains(&mm) { Ok(mm) } else { Err("it lies between 10 and 100000 mm".into()) }
}

fn rotation(text: &str) -> Result<Rotation, String> {
    text.parse().ok().and_then(Rotation::from_degrees).ok_or_else(|| "it is 0, 90, 180 or 270".into())
}

fn also(text: &str) -> Result<(Format, PathBuf), String> {
    let (format, file) = text.split_once('=').ok_or("write it as FORMAT=FILE, for instance json=findings.json")?;
    if file.is_empty() {
        return Err("the file's name is missing behind the equals sign".into());
    }
    let format = Format::from_str(format, true).map_err(|_| {
        let known: Vec<String> = Format::value_variants()
            .iter()
            .filter_map(|known| Some(known.to_possible_value()?.get_name().to_owned()))
            .collect();
        format!("there is no format `{format}`; {}", did_you_mean(format, known.iter().map(String::as_str)))
    })?;
    Ok((format, file.into()))
}

/// The stack of a thread that may draw.
const STACK_BYTES: usize = 16 << 20;

/// Runs the program with these arguments, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    ExitCode::from(on_a_large_stack(|| {
        // A fault of the program's own ends with a status of its own, and files that were begun go away.
        guarded(|| perform(arguments.command)).unwrap_or_else(|words| {
            tell(&own_fault("", &words, "stillpage itself failed", "please report it with the command and its files"));
            2
        })
    }))
}

/// Runs on a stack whose size does not hang on the machine: drawings nest.
fn on_a_large_stack(work: impl FnOnce() -> u8 + Send) -> u8 {
    let mut work = Some(work);
    std::thread::scope(|scope| {
        let take = || work.take().map_or(2, |work| work());
        let spawned = std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, take);
        spawned.ok().and_then(|worker| worker.join().ok())
    })
    .unwrap_or_else(|| work.take().map_or(2, |work| work()))
}

fn perform(command: Command) -> u8 {
    match command {
        Command::Review(arguments) => review::review(&arguments),
        Command::Mend(arguments) => mend::mend(&arguments),
        Command::Draft(arguments) => draft::draft(&arguments),
        Command::Glass(arguments) => glass::glass(&arguments),
        Command::Prepare(arguments) => prepare::prepare(&arguments),
        Command::Fit(arguments) => fit::fit(&arguments),
        Command::Replan(arguments) => replan::replan(&arguments),
        Command::Displays { name } => show::displays(name.as_deref()),
        Command::Rules { id, place, outside } => rules::rules(id.as_deref(), &place, outside),
        Command::Schema { name } => show::schema(name.as_deref()),
        Command::Completions { shell } => completions::completions(shell),
        Command::Manual { out } => manual::manual(out.as_deref()),
    }
}

/// Tells what a panic said.
fn own_fault(file: &str, words: &str, message: &str, help: &str) -> Fault {
    Fault::of_file(file, format!("{message}: {words}"), format!("this is a fault of the program: {help}"))
}

/// How text is drawn on a stream.
fn text_style(is_terminal: bool) -> TextStyle {
    let plain = std::env::var("NO_COLOR").is_ok_and(|value| !value.is_empty());
    TextStyle { colour: is_terminal && !plain, width: if is_terminal { terminal_width() } else { 100 } }
}

fn terminal_width() -> usize {
    terminal_size::terminal_size().map_or(100, |(columns, _)| usize::from(columns.0)).clamp(40, 120)
}

fn error_style() -> TextStyle {
    text_style(std::io::stderr().is_terminal())
}

fn output_style() -> TextStyle {
    text_style(std::io::stdout().is_terminal())
}

/// Tells why a command could not do its work, and gives its exit status.
fn status_of(done: Result<(), Vec<Fault>>) -> u8 {
    let faults = done.err().unwrap_or_default();
    faults.iter().for_each(tell);
    if faults.is_empty() { 0 } else { 2 }
}

/// Tells a fault on standard error.
fn tell(fault: &Fault) {
    let _ = std::io::stderr().write_all(fault_text(fault, error_style()).as_bytes());
}

fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

/// As many threads as are asked for; else one for each core.
fn threads_of(asked: Option<u16>) -> usize {
    asked.map_or_else(cores, usize::from)
}

/// Does the same work on every item, on several threads; what comes of them is in their order.
fn in_order<'i, I: Sync, T: Send>(items: &'i [I], threads: usize, work: &(dyn Fn(&'i I) -> T + Sync)) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let take = || {
        let mut done = Vec::new();
        while let Some((at, item)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| Some((at, items.get(at)?)))
        {
            done.push((at, work(item)));
        }
        done
    };
    let mut done: Vec<(usize, T)> = std::thread::scope(|scope| {
        let spawn = |_| std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, take).ok();
        // Where a thread cannot be had, the others do its work.
        let others: Vec<_> = (1..threads.min(items.len())).filter_map(spawn).collect();
        let mut done = take();
        for other in others {
            // A thread that failed is a fault of the program's own, and no result may be taken for whole.
            done.extend(other.join().unwrap_or_else(|cause| std::panic::resume_unwind(cause)));
        }
        done
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, done)| done).collect()
}

/// The folder in which the program was called, whole; nothing where the machine does not tell.
#[expect(clippy::disallowed_methods, reason = "this is the part that may read the environment")]
fn working_folder() -> String {
    std::env::current_dir().map(|folder| folder.display().to_string()).unwrap_or_default()
}

/// The broken screens as faults at the fields of the plan that show them.
fn screen_faults(loaded: &LoadedPlan, broken: Vec<BrokenScreen>) -> Vec<Fault> {
    let source = &loaded.plan.source;
    let pointers: Vec<&str> = broken.iter().map(|broken| broken.pointer.as_str()).collect();
    let spans = locate(source, &pointers);
    broken
        .into_iter()
        .zip(spans)
        .map(|(broken, span)| {
            let path = loaded.screens.path(broken.screen);
            Fault::at(source, span, format!("{path}: {}", broken.fault.message)).with_help(broken.fault.help)
        })
        .collect()
}
