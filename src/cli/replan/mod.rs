//! `stillpage replan`: chooses the updates of a plan, says why, and on request writes them into the file.

mod as_policy;

use std::{
    io::{self, Write},
    path::PathBuf,
    sync::Arc,
};

use clap::{Args, ValueEnum, ValueHint};

use super::{
    files::{LoadedPlan, Outside, SettingsStore, load_plan, load_text, screen_faults, working_folder},
    options::Threads,
    output::{write_back, write_out},
    telling::{output_style, status_of},
};
use crate::{
    finding::Summary,
    plan::{Plan, Step, Updates},
    planner::{Effort, Meter, Replanned, cost_of_finding, in_full, replan as choose, text_of},
    rules::{
        Selection,
        wording::{counted, step_name},
    },
    source::{Fault, Source, edit::Edits},
};

/// What `replan` takes.
#[derive(Debug, Args)]
pub(crate) struct ReplanArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// Choose for every step, not only for those with `"updates": "choose"`
    #[arg(long)]
    all: bool,
    /// Write the updates into the plan; everything else in the file stays as it is
    #[arg(long)]
    write: bool,
    /// Answer with one rule for the firmware instead of updates for each step: which mode for which kind of change, and when
    /// to clean. Every step is decided by the rule
    #[arg(long, conflicts_with_all = ["all", "write"])]
    as_policy: bool,
    /// Write the rule to this file: as JSON if its name ends in `.json`, as a C header if it ends in `.h`
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, requires = "as_policy")]
    emit: Option<PathBuf>,
    /// How thoroughly to search
    #[arg(long, value_enum, default_value = "usual", ignore_case = true)]
    effort: EffortWord,
    #[command(flatten)]
    outside: Outside,
    #[command(flatten)]
    threads: Threads,
}

/// Runs the command and gives the exit status.
pub(super) fn replan(arguments: &ReplanArguments) -> u8 {
    status_of(run(arguments))
}

/// A plan as it was played.
struct Played {
    summary: Summary,
    cost: f64,
    flashed_cm2_s: f64,
    mean_answer_ms: f64,
    never_answered: u64,
}

fn run(arguments: &ReplanArguments) -> Result<(), Vec<Fault>> {
    if arguments.as_policy { as_policy::run(arguments) } else { choose_updates(arguments) }
}

fn choose_updates(arguments: &ReplanArguments) -> Result<(), Vec<Fault>> {
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let threads = arguments.threads.number();
    let loaded = load_plan(&arguments.plan, &mut settings)?;
    let replanned = choose(&loaded.plan, &loaded.screens, threads, arguments.all, arguments.effort.into())
        .map_err(|broken| screen_faults(&loaded, broken))?;
    if replanned.open == 0 {
        let words = if arguments.all {
            "there is no step to choose for"
        } else {
            "no step has \"updates\": \"choose\"; use --all to choose for every step"
        };
        return say(|out| writeln!(out, "{}: {words}", loaded.plan.source.name));
    }
    let text = with_choices(&loaded, &replanned)?;
    let source = Arc::new(Source { name: loaded.plan.source.name.clone(), text });
    let chosen = load_text(&source, &arguments.plan, &mut settings, None)?;
    let before = play(&loaded, &loaded.plan, threads)?;
    let after = play(&chosen, &chosen.plan, threads)?;
    say(|out| report(&loaded, (&replanned, arguments.effort.into()), &before, &after, out))?;
    if !arguments.write {
        return say(|out| writeln!(out, "Nothing was written; use --write to put these updates into the plan."));
    }
    if source.text == loaded.plan.source.text {
        return say(|out| writeln!(out, "The plan has these updates already."));
    }
    write_back(&arguments.plan, &source.text)?;
    say(|out| writeln!(out, "Written to {}; everything except the updates is unchanged.", loaded.plan.source.name))
}

fn say(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Vec<Fault>> {
    write_out(write).map_err(Vec::from)
}

/// The plan's text with what was chosen; a step that keeps its updates keeps their text.
fn with_choices(loaded: &LoadedPlan, replanned: &Replanned) -> Result<String, Vec<Fault>> {
    let plan = &loaded.plan;
    let mut edits = Edits::new();
    for choice in &replanned.choices {
        let stands = |step: &Arc<Step>| matches!(&step.updates, Updates::Listed(updates) if *updates == choice.updates);
        if !plan.step_at(choice.step).is_some_and(stands) {
            edits.set_field(choice.pointer.clone(), "updates", text_of(&choice.updates, plan));
        }
    }
    edits.apply(&plan.source).map_err(|fault| {
        let help = "this is a bug in the program: please report it with the plan";
        vec![Fault::of_file(plan.source.name.clone(), format!("the updates cannot be written: {fault:?}"), help)]
    })
}

/// Plays a plan that shows the screens of a loaded one.
fn play(loaded: &LoadedPlan, plan: &Plan, threads: usize) -> Result<Played, Vec<Fault>> {
    let mut meter = Meter::default();
    let reviewed = crate::review::review(plan, &loaded.screens, &Selection::default(), threads, &mut |step| {
        meter.step(step, plan);
    });
    let review = reviewed.map_err(|broken| screen_faults(loaded, broken))?;
    meter.end();
    let findings = review.findings.iter().filter(|finding| finding.is_open());
    let cost = meter.cost().total() + findings.map(|finding| cost_of_finding(finding.severity)).sum::<f64>();
    Ok(Played {
        summary: review.summary,
        cost,
        flashed_cm2_s: meter.flashed_cm2_s(),
        mean_answer_ms: meter.mean_answer_ms(),
        never_answered: meter.never_answered(),
    })
}

fn report(
    loaded: &LoadedPlan,
    (replanned, effort): (&Replanned, Effort),
    before: &Played,
    after: &Played,
    out: &mut dyn Write,
) -> io::Result<()> {
    let plan = &loaded.plan;
    writeln!(out, "{}: {} chosen\n", plan.source.name, counted(replanned.open as u64, "step", "steps"))?;
    let width = output_style().width;
    for choice in &replanned.choices {
        let step = step_name(choice.step, choice.label.as_deref());
        let options = textwrap::Options::new(width).subsequent_indent("    ");
        writeln!(out, "{}", textwrap::fill(&format!("{step}: {}", in_full(&choice.updates, plan)), &options))?;
        let options = options.initial_indent("    ");
        writeln!(out, "{}", textwrap::fill(&format!("because {}", choice.why), options))?;
    }
    writeln!(out, "\n{:<28} {:>10} {:>10}", "", "before", "after")?;
    for (name, one, other) in rows(before, after) {
        writeln!(out, "{name:<28} {one:>10} {other:>10}")?;
    }
    writeln!(out)?;
    if after.summary.error < before.summary.error && after.cost > before.cost {
        writeln!(out, "The cost is higher because fewer errors come before everything else.")?;
    }
    writeln!(out, "{}", effort_words(replanned, effort))
}

/// How far the search went, in words; `asked` is how far it was asked to go.
fn effort_words(replanned: &Replanned, asked: Effort) -> String {
    let errors = replanned.score.errors;
    let rose = replanned.effort != asked;
    let best = match (replanned.is_best, replanned.effort) {
        (true, _) => "No other choice that was considered is better.",
        (false, Effort::Thorough) => "This is the best choice that was found.",
        (false, _) => "This is the best choice that was found; --effort thorough searches further.",
    };
    match (errors, rose) {
        (0, false) => best.to_owned(),
        (0, true) => format!("The usual search left errors, so a thorough one was made. {best}"),
        (_, true) => format!(
            "Errors or screens that nobody sees are left, although a thorough search was made because of them. {best}"
        ),
        (_, false) => format!("Errors or screens that nobody sees are left. {best}"),
    }
}

fn rows(before: &Played, after: &Played) -> Vec<(&'static str, String, String)> {
    let whole = |name, figure: fn(&Summary) -> u64| {
        (name, figure(&before.summary).to_string(), figure(&after.summary).to_string())
    };
    let figure = |name, digits: usize, figure: fn(&Played) -> f64| {
        (name, format!("{:.digits$}", figure(before)), format!("{:.digits$}", figure(after)))
    };
    vec![
        whole("errors", |summary| summary.error),
        whole("warnings", |summary| summary.warning),
        whole("notes", |summary| summary.note),
        whole("flashing updates", |summary| summary.flashing_updates),
        figure("flashed area, cm2 s", 1, |played| played.flashed_cm2_s),
        figure("strongest ghost, L*", 2, |played| played.summary.worst_residue_l),
        figure("longest answer, ms", 0, |played| played.summary.longest_answer_ms),
        ("never answered", before.never_answered.to_string(), after.never_answered.to_string()),
        figure("energy, mJ", 1, |played| played.summary.energy_mj),
        figure("cost", 2, |played| played.cost),
    ]
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum EffortWord {
    /// Choose the best updates step by step
    Quick,
    /// Follow a few alternatives side by side
    Usual,
    /// Follow many alternatives; small plans are searched exhaustively
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
