//! `stillpage draft`: writes a first plan for a folder of screens, with every update still to be chosen.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

use clap::{Args, ValueHint};

use super::{
    files::{
        AllowedRoots, ForPanel, Outside, folder_of, fonts_in, is_svg, load_named_display, natural_order, no_such,
        read_faces, read_screen, real, shown, way_from,
    },
    options::{ForDisplay, Turned},
    output::{check_ending, check_out, tell_written, write_file, write_out},
    telling::status_of,
    threads::cores,
};
use crate::{
    display::{Display, shipped},
    planner::first_draft::{BEGINS, DraftOf, OutOfOrder, draft as draft_plan, twins},
    rules::wording::counted,
    side_by_side::in_order,
    source::{Fault, did_you_mean},
};

/// What `draft` takes.
#[derive(Debug, Args)]
#[command(
    after_help = "Screens are taken in natural order (2 before 10). A part such as `0012500ms` of a file name says \
when the screen appears, in ms from the start. If every name has such a time, the screens are sorted by it."
)]
pub(crate) struct DraftArguments {
    /// The folder of screens (PNG, SVG); folders inside it and hidden files are left out
    #[arg(value_hint = ValueHint::DirPath)]
    folder: PathBuf,
    #[command(flatten)]
    panel: ForDisplay,
    /// Write the plan to a file instead of standard output; the paths in the plan are then relative to that file
    #[arg(long, value_name = "FILE.plan.json", value_hint = ValueHint::FilePath)]
    out: Option<PathBuf>,
    /// Overwrite the file of `--out` if it exists
    #[arg(long, requires = "out")]
    force: bool,
    /// The plan's title [default: the name of the folder, or of its parent if the folder is called `screens`]
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// What the glass shows before the first step: white, black, unknown, or a screen of the folder
    #[arg(long, value_name = "WHAT", default_value = "unknown")]
    begins: String,
    /// Time in ms from one screen to the next, unless the names of both files give a time
    #[arg(long, value_name = "MS", default_value = "1000", value_parser = clap::value_parser!(u32).range(0..=86_400_000))]
    after: u32,
    #[command(flatten)]
    turned: Turned,
    #[command(flatten)]
    outside: Outside,
}

/// At most this many broken screens are reported.
const MOST_BROKEN: usize = 20;

/// Runs the command and gives the exit status.
pub(super) fn draft(arguments: &DraftArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &DraftArguments) -> Result<(), Vec<Fault>> {
    if let Some(out) = arguments.out.as_deref() {
        // A review of a folder finds its plans by the ending of their names.
        check_ending(out, ".plan.json", "the names of plans end in `.plan.json`")?;
        check_out(out, arguments.force)?;
    }
    let display = load_named_display(&arguments.panel.display, arguments.outside)?;
    let names = names_in(&arguments.folder)?;
    let files = screens_among(&names, &arguments.folder)?;
    let fonts = font_folders(&arguments.folder, &files);
    check_screens(arguments, &display, &files, &fonts)?;
    let text = text_of(arguments, &display, &files, &fonts)?;
    for (first, second) in twins(&files) {
        tell_twins(first, second);
    }
    tell_inner_folders(&names, &arguments.folder);
    tell_outside(arguments);
    match &arguments.out {
        Some(out) => {
            write_file(out, |file| file.write_all(text.as_bytes()))?;
            let (screens, plan) = (counted(files.len() as u64, "screen", "screens"), out.display());
            tell_written(out, &format!("{screens}; the updates are still to be chosen: run `stillpage replan {plan}`"))
                .map_err(Vec::from)
        }
        None => write_out(|out| out.write_all(text.as_bytes())).map_err(Vec::from),
    }
}

/// The screens among the names of a folder, in natural order; folders in it are left out.
fn screens_among(names: &[String], folder: &Path) -> Result<Vec<String>, Fault> {
    let is_screen = |name: &&String| is_svg(Path::new(name.as_str())).is_some() && folder.join(name.as_str()).is_file();
    let mut screens: Vec<String> = names.iter().filter(is_screen).cloned().collect();
    screens.sort_by(|one, other| natural_order(one, other));
    if screens.is_empty() {
        let folders: Vec<&str> = names.iter().map(String::as_str).filter(|name| folder.join(name).is_dir()).collect();
        let help = if folders.is_empty() {
            "screens are named `*.png` or `*.svg`".to_owned()
        } else {
            format!("screens are named `*.png` or `*.svg`; name one of the folders in it: {}", folders.join(", "))
        };
        return Err(Fault::of_file(folder.display().to_string(), "there is no screen in this folder", help));
    }
    Ok(screens)
}

fn names_in(folder: &Path) -> Result<Vec<String>, Fault> {
    let found = fs::metadata(folder).map_err(|error| no_such(folder, &error))?;
    if !found.is_dir() {
        return Err(Fault::of_file(
            folder.display().to_string(),
            "this is a file, but a plan is drafted from a folder of screens",
            "name the folder that contains the screens",
        ));
    }
    let entries = fs::read_dir(folder).map_err(|error| no_such(folder, &error))?.filter_map(Result::ok);
    let mut names = Vec::new();
    for name in entries.map(|entry| entry.file_name()) {
        match name.into_string() {
            Ok(name) if name.starts_with('.') => {}
            Ok(name) => names.push(name),
            Err(name) => {
                let message = "the name of this file is not UTF-8, so a plan cannot name it";
                return Err(Fault::of_file(folder.join(name).display().to_string(), message, "rename the file"));
            }
        }
    }
    names.sort_by(|one, other| natural_order(one, other));
    Ok(names)
}

/// The folders that bring fonts to drawings: that of the screens, and one called `fonts` in it or beside it.
fn font_folders(screens: &Path, files: &[String]) -> Vec<PathBuf> {
    if !files.iter().any(|file| is_svg(Path::new(file)) == Some(true)) {
        return Vec::new();
    }
    let real = real(screens);
    let beside = real.parent().map(|folder| folder.join("fonts"));
    let places = [Some(real.clone()), Some(real.join("fonts")), beside.filter(|beside| *beside != real)];
    places.into_iter().flatten().filter(|folder| fonts_in(folder).is_ok_and(|fonts| !fonts.is_empty())).collect()
}

/// Every screen must be one that the panel can show.
fn check_screens(
    arguments: &DraftArguments,
    display: &Display,
    files: &[String],
    fonts: &[PathBuf],
) -> Result<(), Vec<Fault>> {
    let faces = read_faces(fonts.iter().map(|folder| (folder.as_path(), ".")))?;
    let size = arguments.turned.rotation.turn_size(display.size);
    let panel = ForPanel { size, ink: display.ink.turned(arguments.turned.rotation), faces };
    let allowed = AllowedRoots::of(&arguments.folder, &[PathBuf::from(".")], arguments.outside);
    let fault_of = |file: &String| {
        let path = arguments.folder.join(file);
        let read = read_screen(&path, is_svg(&path) == Some(true), &allowed, &panel, Vec::new());
        read.err().map(|broken| Fault::of_file(shown(&path), broken.message, broken.help))
    };
    let faults: Vec<Fault> = in_order(files, cores(), &fault_of).into_iter().flatten().take(MOST_BROKEN).collect();
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

fn text_of(
    arguments: &DraftArguments,
    display: &Display,
    files: &[String],
    fonts: &[PathBuf],
) -> Result<String, Fault> {
    // A printed plan has paths as if it were in the folder in which the program runs.
    let from = real(arguments.out.as_deref().map_or(Path::new("."), folder_of));
    let way = |to: &Path| way_from(&from, &real(to));
    let is_shipped = shipped::text_of(&arguments.panel.display).is_some();
    let display_name =
        if is_shipped { arguments.panel.display.clone() } else { way(Path::new(&arguments.panel.display)) };
    let begins = begins(arguments, files)?;
    let of = DraftOf {
        title: &arguments.title.clone().unwrap_or_else(|| title_of(&arguments.folder)),
        display: &display_name,
        modes: display.mode_names().collect(),
        screens: &way(&arguments.folder),
        fonts: fonts.iter().map(|folder| way(folder)).collect(),
        rotation: arguments.turned.rotation.degrees(),
        begins: &begins,
        files,
        after_ms: arguments.after.into(),
    };
    draft_plan(&of).map_err(|OutOfOrder { file, at_ms, before_ms }| {
        Fault::of_file(
            shown(&arguments.folder.join(file)),
            format!("its name says {at_ms} ms since the beginning, but the screen before it comes at {before_ms} ms"),
            "give every screen a time such as `0012500ms`, or use names in the order of their times",
        )
    })
}

fn begins(arguments: &DraftArguments, files: &[String]) -> Result<String, Fault> {
    let begins = &arguments.begins;
    if BEGINS.contains(&begins.as_str()) || files.contains(begins) {
        return Ok(begins.clone());
    }
    let known: Vec<&str> = BEGINS.into_iter().chain(files.iter().map(String::as_str)).collect();
    let help = did_you_mean(begins, known.iter().copied());
    Err(Fault::of_file("", format!("`--begins {begins}` is neither a shade nor a screen of the folder"), help))
}

/// The name of the folder that gives the plan its title.
fn title_of(folder: &Path) -> String {
    let real = real(folder);
    let name = |path: &Path| path.file_name().map(|name| name.to_string_lossy().into_owned());
    let own = name(&real).unwrap_or_default();
    let above = real.parent().and_then(name).filter(|_| own == "screens");
    above.unwrap_or(own)
}

/// A review of the draft would refuse files outside.
fn tell_outside(arguments: &DraftArguments) {
    let plan = arguments.out.as_deref().map_or(Path::new("."), folder_of);
    let allowed = AllowedRoots::of(plan, &[PathBuf::from(".")], arguments.outside);
    if allowed.check(&arguments.folder, "").is_err() {
        let line = "the screens lie outside the folder of this plan: review it with `--allow-outside`, or name the \
                    folder above both\n";
        let _ = io::Write::write_all(&mut io::stderr(), line.as_bytes());
    }
}

/// Names the folders whose screens are not in the plan.
fn tell_inner_folders(names: &[String], folder: &Path) {
    let has_screens = |name: &&String| {
        let inner = folder.join(name);
        let is_screen = |name: &String| is_svg(Path::new(name)).is_some();
        inner.is_dir() && names_in(&inner).is_ok_and(|names| names.iter().any(is_screen))
    };
    let inner: Vec<String> = names.iter().filter(has_screens).map(|name| format!("`{name}`")).collect();
    if !inner.is_empty() {
        let line = format!("left out: the screens in {}; draft each folder by itself\n", inner.join(", "));
        let _ = io::Write::write_all(&mut io::stderr(), line.as_bytes());
    }
}

fn tell_twins(first: &str, second: &str) {
    let line =
        format!("`{first}` and `{second}` each become a step: remove one of them if it is a copy of the other\n");
    let _ = io::Write::write_all(&mut io::stderr(), line.as_bytes());
}
