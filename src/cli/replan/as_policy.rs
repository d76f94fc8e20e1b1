//! `stillpage replan --as-policy`: one rule for the firmware instead of updates for each step, shown with its figures beside
//! those of the free choice, and written as JSON or as a C header on request.

use std::{
    io::{self, Write},
    path::Path,
    sync::Arc,
};

use super::{
    chosen_text::with_choices,
    played_plan::{FIGURES, Figure, Played, load_cached, load_with, play, say},
    replan_arguments::ReplanArguments,
    replan_page,
};
use crate::{
    cli::{
        files::{DecodedCache, LoadedPlan, SettingsStore, screen_faults, working_folder},
        output::write_file,
        progress::counter,
        telling::output_style,
    },
    display::Certainty,
    plan::ScreenId,
    planner::{FoundPolicy, Which, policy_for, replan_with_progress, turned},
    report::{
        how_sure::certainty_sentences,
        policy::{ComparedFigure, LIMITS_OF_THE_MODEL, PolicyReport, header, json, words},
    },
    rules::wording::counted,
    source::Fault,
};

/// Finds a rule, shows it, and writes it where that is asked for.
pub(super) fn run(arguments: &ReplanArguments) -> Result<(), Vec<Fault>> {
    let form = arguments.emit.as_deref().map(Form::of).transpose()?;
    replan_page::check(arguments.html.as_deref())?;
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let threads = arguments.threads.number();
    let cache: Arc<DecodedCache> = Arc::default();
    let loaded = load_cached(arguments, &mut settings, &cache)?;
    let name = loaded.plan.source.name.clone();
    if loaded.plan.step_count == 0 {
        return say(|out| writeln!(out, "{name}: there is no step to find a rule for"));
    }
    let bar = counter(&name, "rules played");
    let progress = &mut |tried: usize| bar.set_position(tried as u64);
    let found = policy_for(&loaded.plan, &loaded.screens, threads, progress)
        .map_err(|broken| screen_faults(&loaded, broken))?;
    bar.finish_and_clear();
    let played = played(arguments, &loaded, &found, (&mut settings, &cache))?;
    let figures = compared(&played);
    let screen_name = |screen: ScreenId| screen_name(&loaded, screen);
    let summaries = played.each_ref().map(|played| &played.summary);
    let certainty = summaries.map(|summary| summary.certainty).into_iter().reduce(Certainty::worse).unwrap_or_default();
    let report = PolicyReport { name: &name, plan: &loaded.plan, found: &found, certainty, screen_name: &screen_name };
    let more: Vec<String> = played[2].never_shown.clone().into_iter().chain(certainty_sentences(&summaries)).collect();
    say(|out| show(report, &figures, &more, out))?;
    let [before, _, after] = played;
    replan_page::write(arguments.html.as_deref(), before, ("with the rule", after))?;
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

/// The plan as it is, with updates chosen freely, and with the rule; over as many turns.
fn played(
    arguments: &ReplanArguments,
    loaded: &LoadedPlan,
    found: &FoundPolicy,
    (settings, cache): (&mut SettingsStore, &Arc<DecodedCache>),
) -> Result<[Played; 3], Vec<Fault>> {
    let threads = arguments.threads.number();
    let bar = counter(&loaded.plan.source.name, "steps played for the free choice");
    let progress = &|played| bar.inc(played);
    let asked = (&Which::All, arguments.effort.into());
    let replanned = replan_with_progress(&loaded.plan, &loaded.screens, threads, asked, progress)
        .map_err(|broken| screen_faults(loaded, broken))?;
    bar.finish_and_clear();
    let text = with_choices(loaded, &replanned, &[])?;
    let free = load_with(text, loaded, arguments, (settings, cache))?;
    let page = arguments.html.as_deref();
    Ok([
        play(loaded, &found.turned, page, threads)?,
        play(&free, &turned(&free.plan, found.turns), None, threads)?,
        play(loaded, &found.played, page, threads)?,
    ])
}

fn compared(played: &[Played; 3]) -> Vec<ComparedFigure> {
    let figure = |Figure { name, key, digits, of, .. }| {
        let values = [&played[0], &played[1], &played[2]].map(of);
        ComparedFigure { name, key, digits, values }
    };
    FIGURES.into_iter().map(figure).collect()
}

fn show(report: PolicyReport<'_>, figures: &[ComparedFigure], more: &[String], out: &mut dyn Write) -> io::Result<()> {
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
    for words in more {
        writeln!(out, "{}", textwrap::fill(words, width))?;
    }
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
