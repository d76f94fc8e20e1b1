//! The command line: one file per command, with its arguments. The only place that touches files, environment and
//! standard streams.

mod completions;
mod draft;
mod files;
mod fit;
mod explain;
mod glass;
mod interrupt;
mod live;
mod manual;
mod mend;
mod offered;
mod options;
mod output;
mod prepare;
mod progress;
mod replan;
mod review;
mod rules;
mod schemas;
mod show;
mod telling;
mod threads;
mod trace;
mod trace_check;
mod walk;
mod watched;

use std::{ffi::OsString, process::ExitCode};

use clap::{CommandFactory, Parser, Subcommand};

use crate::finding::guarded;
use completions::CompletionsArguments;
use draft::DraftArguments;
use explain::ExplainArguments;
use fit::FitArguments;
use glass::GlassArguments;
use live::LiveArguments;
use manual::ManualArguments;
use mend::MendArguments;
use prepare::PrepareArguments;
use replan::ReplanArguments;
use review::ReviewArguments;
use rules::RulesArguments;
use show::{DisplaysArguments, SchemaArguments};
use telling::{own_fault, tell};
use threads::on_a_large_stack;
use trace::TraceArguments;
use walk::WalkArguments;

/// Reviews refresh plans of interfaces on electronic paper, and reports which updates ghost, flicker, appear late or
/// never appear.
#[derive(Debug, Parser)]
#[command(name = "stillpage", version, arg_required_else_help = true, max_term_width = 100)]
#[command(
    after_help = "Exit status: 0 if no finding reaches the level that `review --gate` names (`error` by default); 1 if at \
least one does; 2 for wrong usage, an input that could not be read, or a bug in the program itself.\nFigures are predictions from a display description: measure your own panel."
)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Review plans, traces and flows, and report what will go wrong on the panel
    Review(Box<ReviewArguments>),
    /// Serve the HTML page of a review for your browser, and keep it up to date while you draw
    Live(LiveArguments),
    /// Fix problems that have only one possible fix, such as windows off the grid and updates that are missing or needless;
    /// list the rest for you to decide
    Mend(MendArguments),
    /// Write a first plan for a folder of screens; every update in it is still to be chosen
    Draft(DraftArguments),
    /// Draw the panel as a reader sees it after a step, including ghosts
    Glass(GlassArguments),
    /// Explain what happened at one place of the screen: what was drawn there, why it flashed or left a ghost, and what to do
    Explain(ExplainArguments),
    /// Convert screens to the levels or the palette of a panel
    Prepare(PrepareArguments),
    /// Turn a device's log into a trace (a recording of what it did), which `review` can play
    Trace(TraceArguments),
    /// Write a walk (a sequence of moves through a user flow) as a plan: one that leads to a state or to a finding, or a random one
    Walk(WalkArguments),
    /// Write a display description from your measurements: L* on the panel, or the durations in a trace
    Fit(FitArguments),
    /// Choose windows, modes and cleanings for the steps with `"updates": "choose"`
    Replan(ReplanArguments),
    /// List the displays that come with the program, or print one as a starting point for your own
    Displays(DisplaysArguments),
    /// List the rules, or explain one: its level, its limits, and the file in which they are set
    Rules(RulesArguments),
    /// List the JSON Schemas of the file formats, or print one
    Schema(SchemaArguments),
    /// Print a script that lets your shell complete commands, options, rules and displays
    Completions(CompletionsArguments),
    /// Print the man page, or write one for each command into a folder
    Manual(ManualArguments),
}

/// Runs the program with these arguments, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(without_help_of_help(arguments)) {
        Ok(arguments) => arguments,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    ExitCode::from(on_a_large_stack(|| {
        // A bug in the program leads to a status of its own, and files that were begun are removed.
        guarded(|| perform(arguments.command)).unwrap_or_else(|words| {
            tell(&own_fault("", &words, "stillpage itself failed", "please report it with the command and its files"));
            2
        })
    }))
}

/// `stillpage help --help` prints what `stillpage help` prints: the parser takes the option for the name of a command.
fn without_help_of_help(arguments: impl IntoIterator<Item = OsString>) -> Vec<OsString> {
    let mut arguments: Vec<OsString> = arguments.into_iter().collect();
    if arguments.get(1).is_some_and(|command| command == "help") {
        arguments.retain(|argument| argument != "--help" && argument != "-h");
    }
    arguments
}

fn perform(command: Command) -> u8 {
    match command {
        Command::Review(arguments) => review::review(&arguments),
        Command::Live(arguments) => live::live(&arguments),
        Command::Mend(arguments) => mend::mend(&arguments),
        Command::Draft(arguments) => draft::draft(&arguments),
        Command::Glass(arguments) => glass::glass(&arguments),
        Command::Explain(arguments) => explain::explain(&arguments),
        Command::Prepare(arguments) => prepare::prepare(&arguments),
        Command::Trace(arguments) => trace::trace(&arguments),
        Command::Walk(arguments) => walk::walk(&arguments),
        Command::Fit(arguments) => fit::fit(&arguments),
        Command::Replan(arguments) => replan::replan(&arguments),
        Command::Displays(arguments) => show::displays(&arguments),
        Command::Rules(arguments) => rules::rules(&arguments),
        Command::Schema(arguments) => show::schema(&arguments),
        Command::Completions(arguments) => completions::completions(&arguments, Arguments::command()),
        Command::Manual(arguments) => manual::manual(&arguments, Arguments::command()),
    }
}
