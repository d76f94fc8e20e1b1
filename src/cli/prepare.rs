//! `stillpage prepare`: converts screens to the levels or the palette of a panel and writes them as PNG, never over the
//! sources.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    ops::ControlFlow,
    path::{Path, PathBuf},
    sync::Arc,
};

use walkdir::{DirEntry, WalkDir};

use clap::{Args, ValueEnum, ValueHint};

use super::{
    files::{
        AllowedRoots, ForPanel, Outside, folder_of, is_svg, leads_outside, load_named_display, natural_order, no_such,
        read_faces, read_screen, real, shown, walk_fault,
    },
    options::{ForDisplay, Threads, Turned},
    output::{check_is_png, check_out, make_folder, tell_written, write_file, write_out},
    telling::tell,
};
use crate::{
    change::pipeline::ScreenSource,
    display::{Display, Ink, Mode, ink::InkKind},
    geometry::Rotation,
    plan::{PlanHead, PlanMaker, ScreenId, Shows, Step, Update, Updates},
    prepare::{How, Prepared, Reach, blur_px, prepare as bring_to_levels},
    report::prepared_look::three_pictures,
    review::play_until,
    rules::{
        TextLeft, known_rules, texts_left,
        wording::{counted, levels},
    },
    screen::{Picture, ScreenFault, ScreenNote, decode_png, png_of_levels},
    side_by_side::in_order,
    source::{Fault, did_you_mean},
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
    /// Overwrite a file of the same name whose content is different
    #[arg(long)]
    force: bool,
    /// Use only the levels that this mode of the display can show, and say which texts can no longer be read with them
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    /// A PNG to write: a screen as it is drawn, as it is prepared, and as the panel shows it. With several screens: the one
    /// whose prepared picture differs most from the drawing
    #[arg(long, value_name = "F.png", value_hint = ValueHint::FilePath)]
    look: Option<PathBuf>,
    /// Report the difference of every screen, not only of the one that differs most
    #[arg(long)]
    full: bool,
    /// How to show tones that lie between the panel's levels
    #[arg(long, value_enum, default_value = "ordered", ignore_case = true)]
    how: HowWord,
    /// Reading distance in mm. The report says how much prepared screens differ from their drawings when seen from this
    /// distance [default: the display's own, otherwise 350]
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
    if let Some(look) = &arguments.look {
        check_is_png(look)?;
        check_out(look, arguments.force)?;
    }
    let mode = arguments.mode.as_ref().map(|name| mode_named(name, &display)).transpose()?;
    let faces = read_faces(arguments.fonts.iter().map(|path| (Path::new("."), path.as_str())))?;
    let size = arguments.turned.rotation.turn_size(display.size);
    let panel = ForPanel { size, ink: display.ink.turned(arguments.turned.rotation), faces };
    let reach = mode.map(|mode| reach_of(&display, mode)).transpose()?;
    let jobs = jobs(arguments)?;
    make_folder(&arguments.out)?;
    let distance_mm = arguments.distance.unwrap_or(display.reading_distance_mm());
    let blur_px = blur_px(distance_mm, display.pixels_per_inch);
    let way = Way { how: arguments.how.into(), blur_px, may_overwrite: arguments.force, reach: reach.as_ref() };
    let threads = arguments.threads.number();
    let (mut done, mut faults) = (Vec::new(), Vec::new());
    for (job, one) in jobs.iter().zip(in_order(&jobs, threads, &|job| one(job, &panel, way))) {
        match one {
            Ok(one) => done.push((job, one)),
            Err(fault) => faults.push(fault),
        }
    }
    let outcome = Outcome { done: &done, distance_mm, panel: &panel, display: &display, mode };
    write_out(|out| outcome.lines(arguments.full).iter().try_for_each(|line| writeln!(out, "{line}")))?;
    if let (Some(look), Some((job, _))) = (&arguments.look, outcome.most_different()) {
        draw_look(look, job, &outcome, way, arguments.turned.rotation)?;
    }
    Ok(faults)
}

/// The number of a mode.
fn mode_named(name: &str, display: &Display) -> Result<usize, Fault> {
    display.modes.iter().position(|mode| mode.name == name).ok_or_else(|| {
        let help = did_you_mean(name, display.modes.iter().map(|mode| mode.name.as_str()));
        Fault::of_file("", format!("`{}` has no mode `{name}`", display.name), help)
    })
}

fn reach_of(display: &Display, mode: usize) -> Result<Reach, Fault> {
    let Mode { name, to, .. } = &display.modes[mode];
    Reach::of(&display.ink, *to).ok_or_else(|| {
        let message =
            format!("`{name}` can show a single level, so there is nothing that a screen could be brought to");
        Fault::of_file("", message, "name another mode with `--mode`, or leave it out")
    })
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

/// How screens are prepared, how wide the reader's eye blurs, whether other files may be overwritten, and to which levels
/// alone.
#[derive(Clone, Copy, Debug)]
struct Way<'r> {
    how: How,
    blur_px: f64,
    may_overwrite: bool,
    reach: Option<&'r Reach>,
}

impl Way<'_> {
    fn prepare(self, picture: &Picture, ink: &Ink) -> Result<Prepared, String> {
        let prepared = match self.reach {
            Some(reach) => reach.prepare(picture, self.how, self.blur_px),
            None => bring_to_levels(picture, ink, self.how, self.blur_px),
        };
        prepared.ok_or_else(|| "segments have no tones".to_owned())
    }
}

/// A prepared screen, what was not drawn as intended, and what is left of its texts.
struct Done {
    prepared: Prepared,
    notes: Vec<ScreenNote>,
    texts: Vec<TextLeft>,
}

fn one(job: &Job, panel: &ForPanel, way: Way<'_>) -> Result<Done, Fault> {
    let fault = |message: &str, help: &str| Fault::of_file(shown(&job.screen), message, help);
    let (picture, prepared) = drawn_and_prepared(job, panel, way)?;
    let bytes = png_of_levels(&prepared.levels, panel.size, &panel.ink)
        .map_err(|reason| fault(&format!("cannot be written as PNG: {reason}"), ""))?;
    make_folder(job.out.parent().unwrap_or(Path::new(".")))?;
    // A file of the same content may be there from an earlier run.
    let is_there = fs::read(&job.out).is_ok_and(|written| written == bytes);
    if !is_there {
        check_out(&job.out, way.may_overwrite)?;
        write_file(&job.out, |out| out.write_all(&bytes))?;
    }
    let texts = if way.reach.is_some() { texts_left(&picture, &prepared.levels, &panel.ink) } else { Vec::new() };
    // The levels are written; what is printed needs no more memory.
    Ok(Done { prepared: Prepared { levels: Vec::new(), ..prepared }, notes: picture.notes, texts })
}

fn drawn_and_prepared(job: &Job, panel: &ForPanel, way: Way<'_>) -> Result<(Picture, Prepared), Fault> {
    let fault = |message: &str, help: &str| Fault::of_file(shown(&job.screen), message, help);
    let picture = read_screen(&job.screen, job.is_svg, &job.allowed, panel, Vec::new())
        .map_err(|broken| fault(&broken.message, &broken.help))?;
    let prepared =
        way.prepare(&picture, &panel.ink).map_err(|reason| fault(&reason, "draw the display's own segments"))?;
    Ok((picture, prepared))
}

/// What is said of the prepared screens.
struct Outcome<'a> {
    done: &'a [(&'a Job, Done)],
    distance_mm: f64,
    panel: &'a ForPanel,
    display: &'a Display,
    mode: Option<usize>,
}

/// More texts than this are counted, not listed.
const MOST_TEXTS: usize = 12;

impl Outcome<'_> {
    /// A line for each screen where there is one or where all are wanted, otherwise a summary; then the texts.
    fn lines(&self, is_full: bool) -> Vec<String> {
        let mut lines = if self.done.len() == 1 || is_full { self.each() } else { self.summary() };
        lines.extend(self.texts());
        lines
    }

    fn each(&self) -> Vec<String> {
        let of_one = |(job, done): &(&Job, Done)| {
            let first = format!("{}: {}", shown(&job.out), self.difference(done));
            std::iter::once(first)
                .chain(done.notes.iter().map(|note| format!("  {}", note_words(note))))
                .collect::<Vec<_>>()
        };
        self.done.iter().flat_map(of_one).collect()
    }

    fn difference(&self, done: &Done) -> String {
        let Prepared { not_as_drawn, apart, .. } = &done.prepared;
        format!(
            "{not_as_drawn} px ({:.1} %) differ from the drawing; seen from {:.0} mm, the mean difference is {apart:.2} \
             (CIEDE2000)",
            self.share(done),
            self.distance_mm
        )
    }

    /// How much of a screen differs from its drawing, in percent.
    fn share(&self, done: &Done) -> f64 {
        done.prepared.not_as_drawn as f64 * 100.0 / self.panel.size.pixels() as f64
    }

    /// How many there are, how far they are from their drawings, which of them farthest, and what was not drawn as intended.
    fn summary(&self) -> Vec<String> {
        let Some((worst, most)) = self.most_different() else { return Vec::new() };
        let number = self.done.len() as f64;
        let share = self.done.iter().map(|(_, done)| self.share(done)).sum::<f64>() / number;
        let mut lines = vec![
            format!("{} prepared{}", counted(self.done.len() as u64, "screen", "screens"), self.levels()),
            format!(
                "{share:.1} % of their pixels differ from the drawings. The screen that looks most different is {}: {}",
                shown(&worst.out),
                self.difference(most)
            ),
        ];
        let mut notes: BTreeMap<String, Vec<&Job>> = BTreeMap::new();
        for (job, done) in self.done {
            for note in &done.notes {
                notes.entry(note_words(note)).or_default().push(job);
            }
        }
        lines.extend(notes.into_iter().map(|(words, jobs)| match jobs.as_slice() {
            [job] => format!("{}: {words}", shown(&job.out)),
            jobs => format!("{} and {} more: {words}", shown(&jobs[0].out), jobs.len() - 1),
        }));
        lines
    }

    fn levels(&self) -> String {
        self.mode.map_or(String::new(), |mode| {
            let Mode { name, to, .. } = &self.display.modes[mode];
            format!(" in the levels that `{name}` can show: {}", levels(*to, self.display))
        })
    }

    fn most_different(&self) -> Option<&(&Job, Done)> {
        let apart = |(_, done): &&(&Job, Done)| done.prepared.apart;
        // Of equal ones the first.
        self.done.iter().rev().max_by(|one, other| apart(one).total_cmp(&apart(other)))
    }

    /// Which texts are lost in the levels of a mode, and of how many that is known.
    fn texts(&self) -> Vec<String> {
        let Some(mode) = self.mode else { return Vec::new() };
        let all: usize = self.done.iter().map(|(_, done)| done.texts.len()).sum();
        let lost: Vec<(&Job, &TextLeft)> = self
            .done
            .iter()
            .flat_map(|(job, done)| done.texts.iter().filter(|text| text.is_lost()).map(move |text| (*job, text)))
            .collect();
        let name = &self.display.modes[mode].name;
        let of = counted(all as u64, "text", "texts");
        let own = self.display.modes[mode].to;
        let other = if self.display.modes.iter().all(|other| other.to.is_within(own)) {
            ""
        } else {
            ", or use a mode for it that can show more levels"
        };
        let mut lines = match (all, lost.len()) {
            (0, _) => vec!["no texts were judged: only drawings (SVG) say where their texts are".to_owned()],
            (_, 0) => vec![format!("none of {of} is lost in the levels of `{name}`")],
            (_, 1) => vec![format!("1 of {of} is lost in the levels of `{name}`:")],
            (_, number) => vec![format!("{number} of {of} are lost in the levels of `{name}`:")],
        };
        lines.extend(lost.iter().take(MOST_TEXTS).map(|(job, text)| {
            format!(
                "  {}: `{}` at {:?}: {:.0} % of it stands out, but at least {:.0} % must; draw it in a shade farther from its \
                 ground{other}",
                shown(&job.out),
                text.quote,
                text.rect.to_array(),
                (100.0 * text.share).floor(),
                100.0 * text.least
            )
        }));
        if lost.len() > MOST_TEXTS {
            lines.push(format!("  and {}", counted((lost.len() - MOST_TEXTS) as u64, "more text", "more texts")));
        }
        lines
    }
}

/// A screen that is there.
struct OneScreen<'p>(&'p Picture);

impl ScreenSource for OneScreen<'_> {
    fn picture(&self, _: ScreenId, _: Vec<u8>) -> Result<Picture, ScreenFault> {
        Ok(self.0.clone())
    }
}

/// Draws a screen in three pictures; the last is what is seen after an update of the whole panel, which was white before.
fn draw_look(look: &Path, job: &Job, outcome: &Outcome<'_>, way: Way<'_>, rotation: Rotation) -> Result<(), Fault> {
    let fault =
        |message: String| Fault::of_file(look.display().to_string(), message, "please report it with the screen");
    let (drawn, prepared) = drawn_and_prepared(job, outcome.panel, way)?;
    let ink = &outcome.panel.ink;
    let bytes = png_of_levels(&prepared.levels, outcome.panel.size, ink).map_err(fault)?;
    let shown_picture =
        decode_png(&bytes, outcome.panel.size, ink, Vec::new()).map_err(|broken| fault(broken.message))?;
    let modes = &outcome.display.modes;
    let reaches_all = modes.iter().position(|mode| ink.all().is_within(mode.to)).unwrap_or_default();
    let mut step = Step::new(Shows::Screen(ScreenId(0)));
    step.updates = Updates::Listed(vec![Update::of_all(outcome.mode.unwrap_or(reaches_all))]);
    let head = PlanHead { rotation, ..PlanHead::new("look") };
    let plan = PlanMaker::new(Arc::new(outcome.display.clone()), 1).step(step).make_with(head, &known_rules());
    let plan = plan.map_err(|_| fault("the panel cannot be played".to_owned()))?;
    let mut picture = Err("the panel was not played".to_owned());
    let played = play_until(&plan, &OneScreen(&shown_picture), 1, &mut |step| {
        picture = three_pictures(&drawn, &prepared.levels, step, ink);
        ControlFlow::Break(())
    });
    played.map_err(|_| fault("the prepared screen cannot be read".to_owned()))?;
    let picture = picture.map_err(fault)?;
    write_file(look, |out| out.write_all(&picture))?;
    tell_written(look, &format!("{} as drawn, as prepared, and on the panel", shown(&job.screen)))
}

/// What a screen lost in drawing, in words.
fn note_words(note: &ScreenNote) -> String {
    match note {
        ScreenNote::FaceMissing(face) => {
            format!("there is no font `{face}`, so text is drawn in another font; add `--fonts PATH`")
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
