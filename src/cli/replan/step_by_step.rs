//! `stillpage replan`: chooses the updates of a plan step by step, shows them, and writes them on request.

use std::{
    io::{self, Write},
    sync::Arc,
};

use super::{
    chosen_text::with_choices,
    inserted::{Pauses, inserted_in_words},
    played_plan::{FIGURES, Figure, Played, load_cached, load_with, play, say},
    replan_arguments::ReplanArguments,
    replan_page,
};
use crate::{
    cli::{
        files::{DecodedCache, LoadedPlan, SettingsStore, screen_faults, working_folder},
        output::write_back,
        progress::counter,
        telling::output_style,
    },
    finding::{Holds, Summary},
    planner::{Choice, Effort, Pause, Replanned, Which, in_full, replan_with_progress},
    report::how_sure::certainty_sentences,
    rules::wording::{counted, figure, step_name},
    side_by_side::in_order,
    source::Fault,
};

/// Chooses the updates of the steps that are open.
pub(super) fn choose_updates(arguments: &ReplanArguments) -> Result<(), Vec<Fault>> {
    replan_page::check(arguments.html.as_deref())?;
    let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
    let threads = arguments.threads.number();
    let cache: Arc<DecodedCache> = Arc::default();
    let loaded = load_cached(arguments, &mut settings, &cache)?;
    let pauses = Pauses::of(arguments, &loaded, &mut settings, &cache)?;
    // Of all courses together.
    let bar = counter(&loaded.plan.source.name, "steps played");
    let progress = &|played| bar.inc(played);
    let open = pauses.plan(&loaded);
    let which = if arguments.all { Which::All } else { Which::LeftAnd(pauses.pointers()) };
    let replanned =
        replan_with_progress(&open.plan, &open.screens, threads, (&which, arguments.effort.into()), progress)
            .map_err(|broken| screen_faults(&loaded, broken))?;
    bar.finish_and_clear();
    if replanned.open == 0 {
        let words = if arguments.all {
            "there is no step to choose for"
        } else {
            "no step has \"updates\": \"choose\"; use --all to choose for every step"
        };
        return say(|out| writeln!(out, "{}: {words}", loaded.plan.source.name));
    }
    let (replanned, inserted) = pauses.taken_apart(replanned);
    if replanned.open == 0 {
        let words = "no update in any pause makes the plan better; use --all to choose for every step";
        return say(|out| writeln!(out, "{}: {words}", loaded.plan.source.name));
    }
    let text = with_choices(&loaded, &replanned, &inserted)?;
    let chosen = load_with(text, &loaded, arguments, (&mut settings, &cache))?;
    let page = arguments.html.as_deref();
    let mut played = in_order(&[&loaded, &chosen], threads, &|loaded| play(loaded, &loaded.plan, page, 1)).into_iter();
    let mut next = || played.next().unwrap_or_else(|| unreachable!("both were played"));
    let (before, after) = (next()?, next()?);
    say(|out| report(&loaded, (&replanned, &inserted, arguments.effort.into()), &before, &after, out))?;
    replan_page::write(page, before, ("with what was chosen", after))?;
    if !arguments.write {
        return say(|out| writeln!(out, "Nothing was written; use --write to put these updates into the plan."));
    }
    if chosen.plan.source.text == loaded.plan.source.text {
        return say(|out| writeln!(out, "The plan has these updates already."));
    }
    write_back(&arguments.plan, &chosen.plan.source.text)?;
    say(|out| writeln!(out, "Written to {}; everything except the updates is unchanged.", loaded.plan.source.name))
}

fn report(
    loaded: &LoadedPlan,
    (replanned, inserted, effort): (&Replanned, &[(Pause, Choice)], Effort),
    before: &Played,
    after: &Played,
    out: &mut dyn Write,
) -> io::Result<()> {
    let plan = &loaded.plan;
    writeln!(out, "{}: {} chosen\n", plan.source.name, counted(replanned.open as u64, "step", "steps"))?;
    let width = output_style().width;
    let own = replanned.choices.iter().map(|choice| (step_name(choice.step, choice.label.as_deref()), choice));
    let new = inserted.iter().map(|(pause, choice)| (inserted_in_words(pause, plan), choice));
    for (step, choice) in own.chain(new) {
        let options = textwrap::Options::new(width).subsequent_indent("    ");
        writeln!(out, "{}", textwrap::fill(&format!("{step}: {}", in_full(&choice.updates, plan)), &options))?;
        let options = options.initial_indent("    ");
        writeln!(out, "{}", textwrap::fill(&format!("because {}", choice.why), options))?;
    }
    writeln!(out, "\n{:<28} {:>10} {:>10}", "", "before", "after")?;
    for Figure { name, digits, of, .. } in FIGURES.into_iter().filter(|figure| !figure.is_of_rules) {
        writeln!(out, "{name:<28} {:>10.digits$} {:>10.digits$}", of(before), of(after))?;
    }
    writeln!(out)?;
    let certainty = certainty_sentences(&[&before.summary, &after.summary]);
    for paragraph in after.never_shown.clone().into_iter().chain(certainty).chain(rests_on(&after.summary)) {
        writeln!(out, "{}", textwrap::fill(&paragraph, width))?;
    }
    if after.summary.error < before.summary.error && after.cost > before.cost {
        writeln!(out, "The cost is higher, but errors count before everything else, and there are fewer of them.")?;
    }
    writeln!(out, "{}", effort_words(replanned, effort))
}

/// What the choice is right only with: limits that are kept if the estimated figures are right, and not if these are off by as
/// much as the display says they may be.
fn rests_on(summary: &Summary) -> Vec<String> {
    let words = |name: &str| match name {
        "residue" => ("the strongest residue", "L*", "residue figures"),
        "answers" => ("the longest answer (lines under a pen aside)", "ms", "times to the first visible change"),
        "flashes" => ("the most flashes within a second", "", "times of flashes"),
        _ => ("the energy", "mJ", "energy figures"),
    };
    let named = summary.margins.named();
    let open =
        named.iter().filter_map(|(name, margin)| Some((*name, margin.filter(|margin| margin.holds() == Holds::Open)?)));
    open.filter_map(|(name, margin)| {
        let (what, unit, figures) = words(name);
        let (reached, limit) = (figure(margin.reached), figure(margin.limit.value));
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        Some(format!(
            "This choice rests on the {figures} of the display: {what} is {reached}{unit} of at most {limit}{unit}, and these \
             figures may be off by a factor of {}. Measure them on the panel before you rely on it.",
            margin.factor?
        ))
    })
    .collect()
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
