//! `stillpage review`: loads every plan, reviews it, and writes the reports.

use std::{
    collections::BTreeMap,
    io::{self, Write},
    panic::{AssertUnwindSafe, catch_unwind},
    path::{Path, PathBuf},
};

use super::{
    Format, ReviewArguments, cores,
    load::{LoadedPlan, find_plans, load_plan},
    output::{OutputFile, write_file, write_out},
    output_style, progress, screen_faults, tell, working_folder,
};
use crate::{
    panel::PlayedStep,
    report::{
        Gate, PlanOutcome, PlanReport, ReviewedPlan, RunReport,
        facts::{self, FactsOf},
        html::{self, Film, Recorder},
        json, junit, markdown,
        paths::from_folder,
        sarif, text,
    },
    review::{BrokenScreen, Review},
    rules::{RULES, Selection},
    source::{Fault, did_you_mean},
};

/// Runs the command and gives the exit status.
pub(super) fn review(arguments: &ReviewArguments) -> u8 {
    match run(arguments) {
        Ok(status) => status,
        Err(fault) => {
            tell(&fault);
            2
        }
    }
}

fn run(arguments: &ReviewArguments) -> Result<u8, Fault> {
    let selection = selection(arguments)?;
    check_files(arguments)?;
    let (paths, faults) = find_plans(&arguments.paths);
    let working_folder = working_folder();
    let gate = Gate::from(arguments.gate);
    let mut report = RunReport { plans: Vec::new(), faults, gate, working_folder: working_folder.clone() };
    report.faults.iter().for_each(tell);
    check_compared(arguments, &paths)?;
    let mut facts_file = arguments.facts.as_deref().map(OutputFile::create).transpose()?;
    let threads = arguments.threads.map_or_else(cores, usize::from);
    let temperatures: Vec<Option<f64>> = match arguments.temperature.as_slice() {
        [] => vec![None],
        given => given.iter().copied().map(Some).collect(),
    };
    let mut films = Vec::new();
    let plans = paths.len() * temperatures.len() + usize::from(arguments.compare.is_some());
    let film_bytes = arguments.html.is_some().then(|| html::PICTURE_BYTES / plans.max(1));
    let at = |path, temperature_c| At { path, temperature_c, threads, film_bytes, working_folder: &working_folder };
    for path in &paths {
        for temperature_c in &temperatures {
            let at = at(path, *temperature_c);
            let (outcome, film) = review_plan(&at, &selection, facts_file.as_mut(), arguments.pictures.as_deref())?;
            films.push(film);
            if !add(&at, outcome, &mut report) {
                // It would be refused for the same reason at every temperature.
                break;
            }
        }
    }
    if let Some(file) = facts_file {
        file.finish()?;
    }
    write_reports(&report, arguments)?;
    let mut status = report.exit_status();
    let Some(file) = &arguments.html else { return Ok(status) };
    if let Some(path) = &arguments.compare {
        let at = at(path, temperatures[0]);
        let (outcome, film) = review_plan(&at, &selection, None, None)?;
        films.push(film);
        if !add(&at, outcome, &mut report) {
            status = 2;
        }
    }
    write_file(file, |out| html::write(&report, &films, arguments.compare.is_some(), out))?;
    Ok(status)
}

/// Adds what became of a plan; gives whether it could be read.
fn add(at: &At<'_>, outcome: PlanOutcome, report: &mut RunReport) -> bool {
    let faults = if let PlanOutcome::Refused(faults) = &outcome { faults.as_slice() } else { &[] };
    faults.iter().for_each(tell);
    let read = faults.is_empty();
    report.plans.push(PlanReport { path: at.path.display().to_string(), temperature_c: at.temperature_c, outcome });
    read
}

/// Two plans are compared, at one temperature; findings of the other one are shown, but are no reason to fail.
fn check_compared(arguments: &ReviewArguments, paths: &[PathBuf]) -> Result<(), Fault> {
    let Some(other) = &arguments.compare else { return Ok(()) };
    let [_] = paths else {
        let message = format!("{} plans are to be compared with one", paths.len());
        return Err(Fault::of_file(other.display().to_string(), message, "name one plan in front of `--compare`"));
    };
    if arguments.temperature.len() > 1 {
        let message = "two plans are compared at one temperature";
        return Err(Fault::of_file(other.display().to_string(), message, "give `--temperature` once"));
    }
    Ok(())
}

/// Two reports into one file would leave only the last.
fn check_files(arguments: &ReviewArguments) -> Result<(), Fault> {
    let mut known: Vec<&Path> = Vec::new();
    let also = arguments.also.iter().map(|(_, file)| file.as_path());
    let html = arguments.html.as_deref();
    for file in arguments.out.as_deref().into_iter().chain(also).chain(arguments.facts.as_deref()).chain(html) {
        if known.contains(&file) {
            let name = file.display().to_string();
            return Err(Fault::of_file(name, "two outputs are to go into this file", "give each a file of its own"));
        }
        known.push(file);
    }
    Ok(())
}

fn selection(arguments: &ReviewArguments) -> Result<Selection, Fault> {
    for id in arguments.only.iter().chain(&arguments.without) {
        if !RULES.iter().any(|rule| rule.id == id) {
            let help = did_you_mean(id, RULES.iter().map(|rule| rule.id));
            return Err(Fault::of_file("", format!("there is no rule `{id}`"), help));
        }
    }
    let selection = Selection { only: arguments.only.clone(), without: arguments.without.clone() };
    if RULES.iter().any(|rule| selection.takes(rule.id)) {
        return Ok(selection);
    }
    Err(Fault::of_file("", "`--only` and `--without` together leave no rule to run", "take one of them away"))
}

fn write_reports(report: &RunReport, arguments: &ReviewArguments) -> Result<(), Fault> {
    let plain = text::TextStyle { colour: false, width: 100 };
    let write = |format: Format, file: &Path, out: &mut dyn Write| write_report(report, format, file, plain, out);
    match &arguments.out {
        Some(file) => write_file(file, |out| write(arguments.format, file, out))?,
        None => write_out(|out| write_report(report, arguments.format, Path::new(""), output_style(), out))?,
    }
    for (format, file) in &arguments.also {
        write_file(file, |out| write(*format, file, out))?;
    }
    Ok(())
}

/// Writes a report; `file` is where it goes, nothing where it is printed.
fn write_report(
    report: &RunReport,
    format: Format,
    file: &Path,
    style: text::TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    let folder = file.parent().map(|folder| folder.display().to_string()).unwrap_or_default();
    match format {
        Format::Text => text::write(report, style, out),
        Format::Json => json::write(report, out),
        Format::Sarif => sarif::write(report, out),
        Format::Junit => junit::write(report, out),
        Format::Markdown => markdown::write(report, &folder, out),
    }
}

/// Which plan is reviewed, and how.
struct At<'a> {
    path: &'a Path,
    /// The temperature instead of the plan's own, degrees C.
    temperature_c: Option<f64>,
    threads: usize,
    /// How much room the pictures of its film have; nothing where no film is wanted.
    film_bytes: Option<usize>,
    working_folder: &'a str,
}

/// Reviews one plan; a fault of the program's own is told as one and does not stop the others.
fn review_plan(
    at: &At<'_>,
    selection: &Selection,
    mut facts_file: Option<&mut OutputFile>,
    pictures: Option<&Path>,
) -> Result<(PlanOutcome, Option<Film>), Fault> {
    let shown = at.path.display().to_string();
    let begin = facts_file.as_mut().map(|file| file.position()).transpose().map_err(|error| writing(&error))?;
    let reviewed = catch_unwind(AssertUnwindSafe(|| -> Result<Reviewed, Fault> {
        let mut loaded = match load_plan(at.path) {
            Ok(loaded) => loaded,
            Err(faults) => return Ok(Err(faults)),
        };
        loaded.plan.temperature_c = at.temperature_c.unwrap_or(loaded.plan.temperature_c);
        let of = FactsOf { path: &shown, temperature_c: at.temperature_c };
        let (review, film) = match play(of, &loaded, selection, at, facts_file.as_mut().map(|file| file.writer())) {
            Ok(Ok(played)) => played,
            Ok(Err(broken)) => return Ok(Err(screen_faults(&loaded, broken))),
            Err(error) => return Err(writing(&error)),
        };
        let named = from_folder(&shown, at.working_folder);
        let name = at.temperature_c.map_or(named.clone(), |celsius| under_temperature(&named, celsius));
        let pictures = pictures.map(|folder| super::pictures::write(folder, &name, &loaded, &review, at.threads));
        Ok(Ok((loaded, review, film, pictures.transpose()?.unwrap_or_default())))
    }));
    let (loaded, review, film, pictures) = match reviewed {
        Ok(Ok(Ok(reviewed))) => reviewed,
        Ok(Err(fault)) => return Err(fault),
        Ok(Ok(Err(faults))) => return Ok((refuse(faults, facts_file, begin)?, None)),
        Err(_) => return Ok((refuse(vec![own_fault(&shown)], facts_file, begin)?, None)),
    };
    let plan = loaded.plan;
    let places = ReviewedPlan::locate_findings(&plan.source, &review.findings);
    let reviewed = ReviewedPlan {
        source: plan.source.clone(),
        title: plan.title.clone(),
        display: plan.display.name.clone(),
        steps: plan.step_count,
        summary: review.summary,
        rules: review.rules,
        findings: review.findings,
        places,
        pictures,
    };
    Ok((PlanOutcome::Reviewed(Box::new(reviewed)), film))
}

/// The name under which the pictures of a plan at another temperature are kept.
fn under_temperature(shown: &str, celsius: f64) -> String {
    format!("{}-at-{celsius}C", shown.strip_suffix(".plan.json").unwrap_or(shown))
}

/// A review, and its film where one is wanted.
type Played = (Review, Option<Film>);

type Reviewed = Result<(LoadedPlan, Review, Option<Film>, BTreeMap<u64, String>), Vec<Fault>>;

/// Takes back what a refused plan wrote into the facts.
fn refuse(faults: Vec<Fault>, facts_file: Option<&mut OutputFile>, begin: Option<u64>) -> Result<PlanOutcome, Fault> {
    if let (Some(file), Some(begin)) = (facts_file, begin) {
        file.cut(begin).map_err(|error| writing(&error))?;
    }
    Ok(PlanOutcome::Refused(faults))
}

fn own_fault(path: &str) -> Fault {
    Fault::of_file(
        path,
        "stillpage itself failed on this plan; the other plans are reviewed all the same",
        "this is a fault of the program: please report it with the plan and its screens",
    )
}

fn writing(error: &io::Error) -> Fault {
    Fault::of_file(
        "the facts",
        format!("cannot be written: {error}"),
        "check the folder, its rights and the space left",
    )
}

fn play(
    of: FactsOf<'_>,
    loaded: &LoadedPlan,
    selection: &Selection,
    at: &At<'_>,
    mut facts_out: Option<&mut dyn Write>,
) -> io::Result<Result<Played, Vec<BrokenScreen>>> {
    let plan = &loaded.plan;
    let bar = progress::bar(of.path, plan.step_count);
    let mut written = Ok(());
    let mut recorder = at.film_bytes.map(|bytes| Recorder::new(plan, bytes));
    let review = crate::review::review(plan, &loaded.screens, selection, at.threads, &mut |step: &PlayedStep<'_>| {
        bar.inc(1);
        if let (Some(out), Ok(())) = (facts_out.as_mut(), &written) {
            written = facts::write(of, step, &plan.display, *out);
        }
        if let (Some(recorder), Ok(())) = (recorder.as_mut(), &written) {
            written = recorder.step(step).map_err(io::Error::other);
        }
    });
    bar.finish_and_clear();
    written?;
    Ok(review.map(|review| (review, recorder.map(Recorder::finish))))
}
