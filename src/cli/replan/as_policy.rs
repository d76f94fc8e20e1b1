//! `stillpage replan --as-policy`: one rule for the firmware instead of updates for each step, shown with its figures beside
//! those of the free choice, and written as JSON or as a C header on request.

use std::{
    io::{self, IsTerminal, Write},
    path::Path,
    sync::Arc,
};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::{
    chosen_text::with_choices,
    played_plan::{Played, load_cached, play, say},
    replan_arguments::ReplanArguments,
};
use crate::{
    cli::{
        files::{DecodedCache, LoadedPlan, SettingsStore, load_text, screen_faults, working_folder},
        output::write_file,
        telling::output_style,
    },
    plan::ScreenId,
    planner::{FoundPolicy, Which, policy_for, replan_with_progress, turned},
    report::policy::{ComparedFigure, LIMITS_OF_THE_MODEL, PolicyReport, header, json, words},
    rules::wording::counted,
    source::{Fault, Source},
};

/// Finds a rule, shows it, and writes it where that is asked for.
pub(super) fn run(arguments: &ReplanArguments) -> Result<(), Vec<Fault>> {
    let form = arguments.emit.as_deref().map(Form::of).transpose()?;
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let threads = arguments.threads.number();
    let cache: Arc<DecodedCache> = Arc::default();
    let loaded = load_cached(arguments, &mut settings, &cache)?;
    let name = loaded.plan.source.name.clone();
    if loaded.plan.step_count == 0 {
        return say(|out| writeln!(out, "{name}: there is no step to find a rule for"));
    }
    let bar = bar(&name);
    let told = &mut |tried: usize| bar.set_position(tried as u64);
    let found =
        policy_for(&loaded.plan, &loaded.screens, threads, told).map_err(|broken| screen_faults(&loaded, broken))?;
    bar.finish_and_clear();
    let figures = figures(arguments, &loaded, &found, (&mut settings, &cache))?;
    let screen_name = |screen: ScreenId| screen_name(&loaded, screen);
    let report = PolicyReport { name: &name, plan: &loaded.plan, found: &found, screen_name: &screen_name };
    say(|out| show(report, &figures, out))?;
    if !found.is_allowed() {
        return Err(vec![refused(&name, &found)]);
    }
    let (Some(path), Some(form)) = (&arguments.emit, form) else {
        return say(|out| {
            writeln!(out, "\nNothing was written; use --emit FILE to write the rule as JSON or as a C header.")
        });
    };
    write_file(path, |out| match form {
        Form::Json => {
            serde_json::to_writer_pretty(&mut *out, &json(report, &figures))?;
            writeln!(out)
        }
        Form::Header => out.write_all(header(report).as_bytes()),
    })?;
    say(|out| writeln!(out, "\nThe rule was written to {}.", path.display()))
}

/// How a rule is written.
#[derive(Clone, Copy, Debug)]
enum Form {
    Json,
    Header,
}

impl Form {
    fn of(path: &Path) -> Result<Self, Fault> {
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("json") if !crate::source::file_kinds::is_input(&path.to_string_lossy()) => Ok(Self::Json),
            Some("h") => Ok(Self::Header),
            _ => Err(Fault::of_file(
                path.display().to_string(),
                "a rule can be written as JSON or as a C header",
                "give a name that ends in .json (not that of a plan, a flow or a display) or in .h",
            )),
        }
    }
}

/// Progress on a terminal: how many rules were played; how many there will be is not known before.
fn bar(name: &str) -> ProgressBar {
    if !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(8));
    if let Ok(style) = ProgressStyle::with_template("{msg}  {pos} rules played, {elapsed} so far") {
        bar.set_style(style);
    }
    bar.set_message(name.to_owned());
    bar
}

/// The name of a screen's file without the folders above it.
fn screen_name(loaded: &LoadedPlan, screen: ScreenId) -> String {
    let path = loaded.screens.path(screen);
    Path::new(&path).file_name().map_or(path.clone(), |name| name.to_string_lossy().into_owned())
}

fn refused(name: &str, found: &FoundPolicy) -> Fault {
    let before = found.before.map_or(0, |before| before.errors);
    let words = format!(
        "no rule that was tried is as good as the plan: the best one leaves {}, the plan itself {before}",
        counted(found.score.errors, "error or unseen change", "errors or unseen changes")
    );
    Fault::of_file(name, words, "keep the updates of the plan, or let `replan` choose them step by step")
}

/// The figures of the plan as it is, with updates chosen freely, and with the rule; over as many turns.
fn figures(
    arguments: &ReplanArguments,
    loaded: &LoadedPlan,
    found: &FoundPolicy,
    (settings, cache): (&mut SettingsStore, &Arc<DecodedCache>),
) -> Result<Vec<ComparedFigure>, Vec<Fault>> {
    let threads = arguments.threads.number();
    let replanned =
        replan_with_progress(&loaded.plan, &loaded.screens, threads, (&Which::All, arguments.effort.into()), &|_| {})
            .map_err(|broken| screen_faults(loaded, broken))?;
    let text = with_choices(loaded, &replanned, &[])?;
    let source = Arc::new(Source::new(loaded.plan.source.name.clone(), text));
    let free = load_text(&source, &arguments.plan, settings, Some(cache))?;
    let played = [
        play(loaded, &found.turned, threads)?,
        play(&free, &turned(&free.plan, found.turns), threads)?,
        play(loaded, &found.played, threads)?,
    ];
    Ok(compared(&played))
}

fn compared(played: &[Played; 3]) -> Vec<ComparedFigure> {
    let figure = |name, key, digits, value: fn(&Played) -> f64| {
        let values = [&played[0], &played[1], &played[2]].map(value);
        ComparedFigure { name, key, digits, values }
    };
    vec![
        figure("errors", "errors", 0, |played| played.summary.error as f64),
        figure("warnings", "warnings", 0, |played| played.summary.warning as f64),
        figure("notes", "notes", 0, |played| played.summary.note as f64),
        figure("cleanings", "cleanings", 0, |played| played.summary.cleanings as f64),
        figure("flashing updates", "flashing_updates", 0, |played| played.summary.flashing_updates as f64),
        figure("flashed area, cm2 s", "flashed_cm2_s", 1, |played| played.flashed_cm2_s),
        figure("strongest ghost, L*", "strongest_ghost_l", 2, |played| played.summary.worst_residue_l),
        figure("longest answer, ms", "longest_answer_ms", 0, |played| played.summary.longest_answer_ms),
        figure("mean answer, ms", "mean_answer_ms", 0, |played| played.mean_answer_ms),
        figure("never answered", "never_answered", 0, |played| played.never_answered as f64),
        figure("energy, mJ", "energy_mj", 1, |played| played.summary.energy_mj),
        figure("cost", "cost", 2, |played| played.cost),
    ]
}

fn show(report: PolicyReport<'_>, figures: &[ComparedFigure], out: &mut dyn Write) -> io::Result<()> {
    let found = report.found;
    writeln!(
        out,
        "{}: one rule for every step, the best of {} that were played over the whole plan\n",
        report.name, found.tried
    )?;
    let width = output_style().width;
    let item = textwrap::Options::new(width).initial_indent("  - ").subsequent_indent("    ");
    for paragraph in words(report) {
        writeln!(out, "{}", textwrap::fill(&paragraph, &item))?;
    }
    writeln!(out, "\n{:<28} {:>10} {:>12} {:>10}", "", "before", "free choice", "this rule")?;
    for ComparedFigure { name, digits, values: [before, free, rule], .. } in figures {
        writeln!(out, "{name:<28} {before:>10.digits$} {free:>12.digits$} {rule:>10.digits$}")?;
    }
    writeln!(out)?;
    if found.turns > 1 {
        let turns = format!(
            "The plan starts again when it ends: all figures are those of {} turns. The free choice was made for the first turn \
             alone.",
            found.turns
        );
        writeln!(out, "{}", textwrap::fill(&turns, width))?;
    }
    let free = "The free choice knows every step beforehand and may ask for something else at each; a firmware that does not \
                know what comes next can follow the rule.";
    writeln!(out, "{}", textwrap::fill(free, width))?;
    writeln!(out, "{}", textwrap::fill(LIMITS_OF_THE_MODEL, width))
}
