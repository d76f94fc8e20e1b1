//! `stillpage manual`: the man pages, generated from the arguments. Also contains what arguments cannot express: exit
//! status, files, environment, examples and cautions.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
};

use clap::{Args, Command, ValueHint};
use clap_mangen::Man;
use roff::{Roff, bold, italic, roman};

use super::{
    output::{make_folder, write_file, write_out},
    telling::done,
};
use crate::{report::sentences::sentence, rules::FLASH_CAUTION, source::Fault};

/// How to read the pages; printed below the command's help and on its man page.
const WHERE: &str = "\
To read them:
  stillpage manual > stillpage.1, then man ./stillpage.1
  stillpage manual --out ~/.local/share/man/man1, then man stillpage and man stillpage-review";

/// What `manual` takes.
#[derive(Debug, Args)]
#[command(after_help = WHERE)]
pub(crate) struct ManualArguments {
    /// Write stillpage.1 and a page for each command into this folder
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    out: Option<PathBuf>,
}

/// Prints the main page, or writes all of them.
pub(super) fn manual(arguments: &ManualArguments, program: Command) -> u8 {
    let main = main_command(program);
    done(match arguments.out.as_deref() {
        None => write_out(|out| write_page(&main, out)),
        Some(folder) => write_pages(&main, folder),
    })
}

/// The program's arguments, each command under the name that its page has.
fn main_command(program: Command) -> Command {
    let mut command = program.disable_help_subcommand(true).subcommand_help_heading("COMMANDS");
    command.build();
    command
}

fn write_pages(main: &Command, folder: &Path) -> Result<(), Fault> {
    make_folder(folder)?;
    for command in std::iter::once(main).chain(main.get_subcommands()) {
        let file = folder.join(format!("{}.1", page_name(command)));
        write_file(&file, |out| write_page(command, out))?;
    }
    Ok(())
}

fn page_name(command: &Command) -> &str {
    command.get_display_name().unwrap_or_else(|| command.get_name())
}

fn write_page(command: &Command, out: &mut dyn Write) -> io::Result<()> {
    let source = concat!("stillpage ", env!("CARGO_PKG_VERSION"));
    // No date: the same program prints the same page. An empty argument has to be written in quotes.
    let man = Man::new(command.clone())
        .title(page_name(command).to_uppercase())
        .date("\"\"")
        .source(source)
        .manual("Refresh plans");
    write_arguments(&man, command, out)?;
    let mut rest = Roff::new();
    match command.get_name() {
        "stillpage" | "review" => whole(&mut rest),
        _ => status(&mut rest, &STATUS_OF_OTHERS),
    }
    if let (false, Some(notes)) = (command.has_subcommands(), command.get_after_help()) {
        as_it_stands(&mut rest, "NOTES", &notes.to_string());
    }
    see_also(&mut rest, command);
    rest.to_writer(out)
}

/// The sections that come from the arguments.
fn write_arguments(man: &Man, command: &Command, out: &mut dyn Write) -> io::Result<()> {
    man.render_title(out)?;
    man.render_name_section(out)?;
    man.render_synopsis_section(out)?;
    man.render_description_section(out)?;
    man.render_options_section(out)?;
    if command.has_subcommands() {
        man.render_subcommands_section(out)?;
    }
    Ok(())
}

/// The sections of the pages that a reviewer reads: the main one, and that of `review`.
fn whole(page: &mut Roff) {
    status(page, &STATUS);
    page.control("SH", ["FILES"]);
    for (name, about) in FILES {
        tagged(page, name, about);
    }
    page.control("SH", ["ENVIRONMENT"]);
    tagged(page, "NO_COLOR", "If this is set to anything except an empty text, output on a terminal has no colours.");
    let examples: Vec<String> = EXAMPLES.iter().map(|(about, command)| format!("{about}:\n    {command}\n")).collect();
    as_it_stands(page, "EXAMPLES", &examples.join("\n"));
    page.control("SH", ["CAUTIONS"]);
    let flashes = sentence(FLASH_CAUTION);
    for (at, caution) in [flashes.as_str()].into_iter().chain(CAUTIONS).enumerate() {
        if at > 0 {
            page.control("PP", []);
        }
        page.text([roman(caution)]);
    }
}

const STATUS: [(&str, &str); 3] = [
    ("0", "No finding has the level that --gate names (error by default) or a worse one."),
    ("1", "At least one finding has that level or a worse one."),
    (
        "2",
        "The usage was wrong, a plan, a display, a screen or another file could not be read or written, or the program \
         itself failed.",
    ),
];

const STATUS_OF_OTHERS: [(&str, &str); 2] =
    [("0", "Everything worked."), ("2", "The usage was wrong, or a file could not be read or written.")];

const FILES: [(&str, &str); 7] = [
    ("*.plan.json", "Refresh plans. review searches folders for them. stillpage schema plan prints their JSON Schema."),
    (
        "*.display.json",
        "Display descriptions, named in the field display of a plan. stillpage displays lists those that come with the \
         program, and stillpage schema display prints their JSON Schema.",
    ),
    (
        "*.trace.jsonl",
        "Traces of devices. review finds them in folders too. stillpage trace makes one from a text log, and \
         stillpage schema trace prints the JSON Schema of a line.",
    ),
    ("*.flow.json", "User flows. review finds them in folders too. stillpage schema flow prints their JSON Schema."),
    (
        "stillpage.settings.json",
        "Settings for all plans in its folder and below. stillpage schema settings prints their JSON Schema.",
    ),
    ("*.svg, *.png", "Screens, named in the plan and exactly as large as the panel."),
    (
        "*.ttf, *.otf",
        "Fonts for the text of SVG screens, named in the field fonts of a plan. The fonts of the system are never \
         used.",
    ),
];

const EXAMPLES: [(&str, &str); 5] = [
    ("Review every plan below this folder", "stillpage review ."),
    (
        "See the findings in pictures and as a page",
        "stillpage review watch.plan.json --pictures pictures --html watch.html",
    ),
    ("Draw what a reader sees after step 4", "stillpage glass watch.plan.json --step 4 --out panel.png"),
    ("Explain a rule", "stillpage rules left-behind"),
    (
        "Make a merge fail at warnings too, and keep the findings",
        "stillpage review . --gate warning --also sarif=review.sarif",
    ),
];

const CAUTIONS: [&str; 3] = [
    "Figures are predictions from a display description, and only as good as its numbers. Measure your own panel.",
    "A drive scheme that is not charge-balanced can damage a panel permanently. The panel maker's own documents come \
     first.",
    "Do not base a safety indicator on this model alone: local safety regulations and a licensed engineer decide.",
];

fn status(page: &mut Roff, lines: &[(&str, &str)]) {
    page.control("SH", ["EXIT STATUS"]);
    for (status, about) in lines {
        tagged(page, status, about);
    }
}

fn tagged(page: &mut Roff, tag: &str, about: &str) {
    page.control("TP", []);
    page.text([bold(tag)]);
    page.text([roman(about)]);
}

/// A section whose lines are not filled.
fn as_it_stands(page: &mut Roff, heading: &str, text: &str) {
    page.control("SH", [heading]);
    page.control("nf", []);
    text.lines().for_each(|line| {
        page.text([roman(line)]);
    });
    page.control("fi", []);
}

fn see_also(page: &mut Roff, command: &Command) {
    page.control("SH", ["SEE ALSO"]);
    if command.has_subcommands() {
        let names: Vec<String> =
            command.get_subcommands().map(|command| format!("{}(1)", page_name(command))).collect();
        page.text([roman(names.join(", "))]);
    } else {
        page.text([italic("stillpage"), roman("(1)")]);
    }
}
