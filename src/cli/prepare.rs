//! `stillpage prepare`: converts screens to the levels or the palette of a panel and writes them as PNG, never over the
//! sources.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

use walkdir::{DirEntry, WalkDir};

use clap::{Args, ValueEnum};

use super::{
    files::{
        AllowedRoots, ForPanel, Outside, folder_of, is_svg, leads_outside, load_named_display, natural_order, no_such,
        read_faces, read_screen, real, shown, walk_fault,
    },
    options::{ForDisplay, Threads, Turned},
    output::{check_out, make_folder, write_file, write_out},
    telling::tell,
};
use crate::{
    display::{Display, ink::InkKind},
    prepare::{How, Prepared, blur_px, prepare as bring_to_levels},
    screen::{ScreenNote, png_of_levels},
    side_by_side::in_order,
    source::Fault,
};

/// What `prepare` takes.
#[derive(Debug, Args)]
pub(crate) struct PrepareArguments {
    /// Screens (PNG, SVG), or folders that are searched for them
    #[arg(required = true, value_name = "SCREEN")]
    screens: Vec<PathBuf>,
    #[command(flatten)]
    panel: ForDisplay,
    /// The folder for the prepared PNGs; the screens themselves are never overwritten
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Overwrite a file of the same name that has a different content
    #[arg(long)]
    force: bool,
    /// How to show tones that lie between the panel's levels
    #[arg(long, value_enum, default_value = "ordered", ignore_case = true)]
    how: HowWord,
    /// Reading distance in mm. The report says how much each prepared screen differs from its drawing when seen from
    /// this distance [default: the display's own, otherwise 350]
    #[arg(long, value_name = "MM", value_parser = distance)]
    distance: Option<f64>,
    #[command(flatten)]
    turned: Turned,
    /// Font files, or folders of them, for text in SVG screens; may be given several times
    #[arg(long, value_name = "PATH")]
    fonts: Vec<String>,
    #[command(flatten)]
    outside: Outside,
    #[command(flatten)]
    threads: Threads,
}

/// Runs the command and gives the exit status.
pub(super) fn prepare(arguments: &PrepareArguments) -> u8 {
    let done = run(arguments);
    let faults = done.unwrap_or_else(|faults| faults);
    faults.iter().for_each(tell);
    if faults.is_empty() { 0 } else { 2 }
}

/// Prepares everything that can be read; the faults of single screens are returned too.
fn run(arguments: &PrepareArguments) -> Result<Vec<Fault>, Vec<Fault>> {
    let display = load_named_display(&arguments.panel.display, arguments.outside)?;
    refuse_segments(&display)?;
    let faces = read_faces(arguments.fonts.iter().map(|path| (Path::new("."), path.as_str())))?;
    let size = arguments.turned.rotation.turn_size(display.size);
    let panel = ForPanel { size, ink: display.ink.turned(arguments.turned.rotation), faces };
    let jobs = jobs(arguments)?;
    make_folder(&arguments.out)?;
    let distance_mm = arguments.distance.unwrap_or(display.reading_distance_mm());
    let blur_px = blur_px(distance_mm, display.pixels_per_inch);
    let way = Way { how: arguments.how.into(), blur_px, may_overwrite: arguments.force };
    let threads = arguments.threads.number();
    let (mut lines, mut faults) = (Vec::new(), Vec::new());
    for (job, done) in jobs.iter().zip(in_order(&jobs, threads, &|job| one(job, &panel, way))) {
        match done {
            Ok(done) => lines.extend(lines_of(job, &done, distance_mm, &panel)),
            Err(fault) => faults.push(fault),
        }
    }
    write_out(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
    Ok(faults)
}

fn refuse_segments(display: &Display) -> Result<(), Fault> {
    let InkKind::Segments(_) = display.ink.kind() else { return Ok(()) };
    Err(Fault::of_file(
        "",
        format!("`{}` has segments, which are either on or off, so there are no tones to prepare", display.name),
        "draw its screens from the display's own segments; `stillpage displays NAME` prints the drawing",
    ))
}

/// A screen, and where its prepared PNG goes.
#[derive(Debug)]
struct Job {
    screen: PathBuf,
    is_svg: bool,
    /// Which folders the pictures of an SVG may be in.
    allowed: AllowedRoots,
    out: PathBuf,
}

/// The screens that some paths name, in order. Refuses all of them if two would be written to one file, or one over a
/// source.
fn jobs(arguments: &PrepareArguments) -> Result<Vec<Job>, Vec<Fault>> {
    let (out, outside) = (&arguments.out, arguments.outside);
    let (mut jobs, mut faults) = (Vec::new(), Vec::new());
    for path in &arguments.screens {
        match fs::metadata(path) {
            Err(error) => faults.push(no_such(path, &error)),
            Ok(found) if found.is_dir() => walk(path, arguments, &mut jobs, &mut faults),
            Ok(_) => match is_svg(path) {
                Some(_) => jobs.push(job(
                    path,
                    path.parent().unwrap_or(Path::new("")),
                    out,
                    allowed_for(folder_of(path), outside),
                )),
                None => faults.push(Fault::of_file(
                    path.display().to_string(),
                    "the name of this file ends neither in `.png` nor in `.svg`",
                    "export the screen as `.png` or `.svg`",
                )),
            },
        }
    }
    // A screen that is named twice, or by its folder too, is prepared once.
    let mut known = BTreeSet::new();
    jobs.retain(|job: &Job| known.insert(real(&job.screen)));
    faults.extend(clashes(&jobs));
    if faults.is_empty() { Ok(jobs) } else { Err(faults) }
}

/// A folder, and also the one in which the program runs if the folder is inside it.
fn allowed_for(folder: &Path, outside: Outside) -> AllowedRoots {
    AllowedRoots::of(folder, &[PathBuf::from(".")], outside)
}

fn job(screen: &Path, home: &Path, out: &Path, allowed: AllowedRoots) -> Job {
    let name = screen.strip_prefix(home).unwrap_or(screen);
    Job {
        screen: screen.to_owned(),
        is_svg: is_svg(screen).unwrap_or(false),
        allowed,
        out: out.join(name).with_extension("png"),
    }
}

fn walk(folder: &Path, arguments: &PrepareArguments, jobs: &mut Vec<Job>, faults: &mut Vec<Fault>) {
    let before = (jobs.len(), faults.len());
    let out = &arguments.out;
    let allowed = allowed_for(folder, arguments.outside);
    let prepared = out.canonicalize().ok();
    // The output of an earlier run in the same folder is not prepared again.
    let is_walked = |entry: &DirEntry| {
        let hidden = entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.');
        let is_out = || prepared.as_ref().is_some_and(|out| entry.path().canonicalize().is_ok_and(|path| path == *out));
        !hidden && (entry.depth() == 0 || !entry.file_type().is_dir() || !is_out())
    };
    let mut found = Vec::new();
    let mut entries = WalkDir::new(folder).follow_links(true).into_iter().filter_entry(is_walked);
    while let Some(entry) = entries.next() {
        let outside = entry.as_ref().ok().and_then(|entry| leads_outside(entry, &allowed, &["png", "svg"]));
        match entry {
            Ok(entry) if outside.is_some() => {
                faults.extend(outside);
                if entry.file_type().is_dir() {
                    entries.skip_current_dir();
                }
            }
            Ok(entry) if entry.file_type().is_file() && is_svg(entry.path()).is_some() => found.push(entry.into_path()),
            Ok(_) => {}
            Err(error) => faults.push(walk_fault(folder, &error)),
        }
    }
    found.sort_by(|one, other| natural_order(&one.to_string_lossy(), &other.to_string_lossy()));
    jobs.extend(found.iter().map(|screen| job(screen, folder, out, allowed.clone())));
    if (jobs.len(), faults.len()) == before {
        let name = folder.display().to_string();
        faults.push(Fault::of_file(name, "there is no screen in this folder", "screens are named `*.png` or `*.svg`"));
    }
}

/// What would be lost: a source that is overwritten, or the first of two screens that are written to one file.
fn clashes(jobs: &[Job]) -> Vec<Fault> {
    let sources: Vec<PathBuf> = jobs.iter().map(|job| real(&job.screen)).collect();
    let mut taken: BTreeMap<&Path, &Path> = BTreeMap::new();
    let mut faults = Vec::new();
    for job in jobs {
        let name = shown(&job.screen);
        if sources.contains(&real(&job.out)) {
            let message = format!("{} is one of the screens and would be overwritten", shown(&job.out));
            faults.push(Fault::of_file(&name, message, "name another folder with `--out`"));
        } else if let Some(first) = taken.insert(&job.out, &job.screen) {
            let message = format!("{} would be written to the same file, {}", shown(first), shown(&job.out));
            faults.push(Fault::of_file(&name, message, "prepare them into two folders, or rename one of them"));
        }
    }
    faults
}

/// How screens are prepared, how wide the reader's eye blurs, and whether other files may be overwritten.
#[derive(Clone, Copy, Debug)]
struct Way {
    how: How,
    blur_px: f64,
    may_overwrite: bool,
}

/// A prepared screen, and what was not drawn as intended.
struct Done {
    prepared: Prepared,
    notes: Vec<ScreenNote>,
}

fn one(job: &Job, panel: &ForPanel, way: Way) -> Result<Done, Fault> {
    let fault = |message: &str, help: &str| Fault::of_file(shown(&job.screen), message, help);
    let picture = read_screen(&job.screen, job.is_svg, &job.allowed, panel, Vec::new())
        .map_err(|broken| fault(&broken.message, &broken.help))?;
    let prepared = bring_to_levels(&picture, &panel.ink, way.how, way.blur_px)
        .ok_or_else(|| fault("segments have no tones", "draw the display's own segments"))?;
    let bytes = png_of_levels(&prepared.levels, panel.size, &panel.ink)
        .map_err(|reason| fault(&format!("cannot be written as PNG: {reason}"), ""))?;
    make_folder(job.out.parent().unwrap_or(Path::new(".")))?;
    // A file of the same content may be there from an earlier run.
    let is_there = fs::read(&job.out).is_ok_and(|written| written == bytes);
    if !is_there {
        check_out(&job.out, way.may_overwrite)?;
        write_file(&job.out, |out| out.write_all(&bytes))?;
    }
    // The levels are written; the printed line needs no more memory.
    Ok(Done { prepared: Prepared { levels: Vec::new(), ..prepared }, notes: picture.notes })
}

fn lines_of(job: &Job, done: &Done, distance_mm: f64, panel: &ForPanel) -> Vec<String> {
    let Prepared { not_as_drawn, apart, .. } = &done.prepared;
    let share = *not_as_drawn as f64 * 100.0 / panel.size.pixels() as f64;
    let first = format!(
        "{}: {not_as_drawn} px ({share:.1} %) differ from the drawing; seen from {distance_mm:.0} mm, the mean \
         difference is {apart:.2} (CIEDE2000)",
        shown(&job.out)
    );
    std::iter::once(first).chain(done.notes.iter().map(|note| format!("  {}", note_words(note)))).collect()
}

/// What a screen lost in drawing, in words.
fn note_words(note: &ScreenNote) -> String {
    match note {
        ScreenNote::FaceMissing(face) => {
            format!("there is no font `{face}`, so text is drawn in another face; add `--fonts PATH`")
        }
        ScreenNote::GlyphMissing(text) => {
            format!("the font has no character `{text}`: an empty box or nothing is drawn instead")
        }
        ScreenNote::LeftOut(what) => format!("part of the SVG was not drawn: {what}"),
        ScreenNote::PartSegment(_) | ScreenNote::OutsideSegments(..) => "segments do not fit the drawing".into(),
    }
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum HowWord {
    /// No dithering: every pixel takes the nearest level
    Threshold,
    /// A fixed pattern of dots: a change elsewhere on the screen does not move it
    Ordered,
    /// Error diffusion: finer dots, but a small edit can move all dots below it
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

fn distance(text: &str) -> Result<f64, String> {
    let mm: f64 = text.parse().map_err(|_| "write mm as a number, for instance 350".to_owned())?;
    if (10.0..=100_000.0).contains(&mm) { Ok(mm) } else { Err("it must be between 10 and 100000 mm".into()) }
}
