//! A round of reviewing: every plan is loaded and reviewed, or taken from the previous round if nothing that it depends
//! on has changed.

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{self, Write},
    mem,
    ops::ControlFlow,
    path::{Path, PathBuf},
    sync::Arc,
};

use super::{
    arguments::{Format, ReviewArguments},
    flow_run::{self, AskedOfFlow},
    held_against::{Against, hold_against},
    known_list::KnownList,
    pictures::Asked,
};
use crate::cli::{
    files::{
        DecodedCache, Inputs, LoadedPlan, SettingsStore, find_plans, is_flow, load_flow, load_kept_plan, screen_faults,
        working_folder,
    },
    output::{OutputFile, check_is_no_input},
    progress,
    telling::{own_fault, tell},
};
use crate::{
    excerpt::NoExcerpt,
    finding::{Finding, guarded},
    panel::PlayedStep,
    report::{
        PlanOutcome, PlanReport, ReviewedPlan, RunReport,
        facts::{self, FactsOf},
        html::{self, PatchCache, Recorder, Recording},
        paths::from_folder,
    },
    review::{BrokenScreen, Review, play_without_ghosts_until},
    rules::{RULES, Selection},
    source::{Fault, did_you_mean, file_kinds::output_name},
};

/// The checked arguments of the command line.
#[derive(Debug)]
pub(in crate::cli) struct Task<'a> {
    pub(super) arguments: &'a ReviewArguments,
    /// Whether somebody looks at a page.
    is_recorded: bool,
    selection: Selection,
    working_folder: String,
    threads: usize,
    /// At which temperatures each plan is reviewed; `None` for its own.
    temperatures: Vec<Option<f64>>,
    /// Decoded screens and packed patches of the page, if another round may follow.
    cache: Option<Arc<DecodedCache>>,
    patches: Option<PatchCache>,
}

/// The result of a round.
#[derive(Debug)]
pub(in crate::cli) struct ReviewRun {
    pub(super) report: RunReport,
    /// Of each plan of the report, in their order.
    reviews: Vec<Kept>,
    /// Of plans that cannot be read now, by their number: what was reviewed last.
    last_good: BTreeMap<usize, (PlanReport, Kept)>,
    /// The second plan of a page.
    compared: Option<(PlanReport, Kept)>,
    /// Files that matter for all plans.
    shared: Inputs,
}

/// What is kept of a review in addition to its report.
#[derive(Debug)]
struct Kept {
    recording: Option<Recording>,
    inputs: Inputs,
    /// Whether it was made in this round.
    is_new: bool,
}

/// The previous round, and what has changed since then, as absolute paths.
#[derive(Debug)]
pub(super) struct Before<'c> {
    pub(super) run: ReviewRun,
    pub(super) changed: &'c BTreeSet<PathBuf>,
}

impl<'a> Task<'a> {
    /// Checks what was asked.
    pub(super) fn new(arguments: &'a ReviewArguments) -> Result<Self, Fault> {
        Self::with_recordings(arguments, arguments.html.is_some())
    }

    /// The same, with recordings for a page whatever the arguments say.
    pub(in crate::cli) fn with_recordings(arguments: &'a ReviewArguments, is_recorded: bool) -> Result<Self, Fault> {
        let selection = selection(arguments)?;
        check_form(arguments)?;
        check_files(arguments)?;
        // Minus zero is zero.
        let mut given: Vec<f64> = arguments.temperature.iter().map(|celsius| celsius + 0.0).collect();
        // From cold to warm and each once, in whatever order they were given, so that the same question gives the same
        // bytes.
        given.sort_by(f64::total_cmp);
        given.dedup();
        let temperatures = if given.is_empty() { vec![None] } else { given.into_iter().map(Some).collect() };
        let cache = arguments.watch.then(Arc::default);
        let patches = arguments.watch.then(PatchCache::default);
        let threads = arguments.threads.number();
        Ok(Self {
            arguments,
            is_recorded,
            selection,
            working_folder: working_folder(),
            threads,
            temperatures,
            cache,
            patches,
        })
    }

    /// The screens are the same at every temperature, so findings about them are reported with the first one.
    fn leave_screens_to_the_first(&self, report: &mut PlanReport) {
        let Some(first) = self.temperatures[0].filter(|first| report.temperature_c != Some(*first)) else { return };
        if let PlanOutcome::Reviewed(reviewed) = &mut report.outcome
            && !reviewed.screens_reported_before
        {
            reviewed.leave_screens_to(&format!("{first} C"));
        }
    }

    /// Reviews the plans that are asked for; without a round before, all of them.
    pub(super) fn run(&self, before: Option<Before<'_>>) -> Result<ReviewRun, Vec<Fault>> {
        let arguments = self.arguments;
        let mut settings = SettingsStore::new(&self.working_folder, &arguments.paths, arguments.outside);
        let (paths, faults) = find_plans(&arguments.paths, &mut settings);
        faults.iter().for_each(tell);
        check_compared(arguments, &paths)?;
        let mut known = KnownList::load(arguments)?;
        let facts_file = arguments.facts.as_deref().map(OutputFile::create).transpose();
        let mut facts_file = facts_file?;
        let mut old = Old::new(before);
        let report = RunReport {
            plans: Vec::new(),
            faults,
            gate: arguments.gate(),
            working_folder: self.working_folder.clone(),
            known: None,
        };
        let mut run = ReviewRun {
            report,
            reviews: Vec::new(),
            last_good: BTreeMap::new(),
            compared: None,
            shared: Inputs::default(),
        };
        let plans = paths.len() * self.temperatures.len() + usize::from(arguments.compare.is_some());
        let recording_bytes = self.is_recorded.then(|| html::PICTURE_BYTES / plans.max(1));
        for path in &paths {
            for temperature_c in &self.temperatures {
                let at = At { path, temperature_c: *temperature_c, recording_bytes, known: known.as_ref(), task: self };
                let (mut report, kept) = match old.take(&at) {
                    Some(old) => old,
                    None => review_plan(&at, &mut settings, facts_file.as_mut(), arguments.pictures.as_deref())?,
                };
                if let Some(known) = known.as_mut() {
                    known.add(&mut report, &self.selection);
                }
                self.leave_screens_to_the_first(&mut report);
                let is_read = run.add(report, kept);
                if !is_read {
                    run.keep_last_good(old.last_good(path, *temperature_c));
                    // It would be refused for the same reason at every temperature.
                    break;
                }
            }
        }
        if let Some(path) = arguments.compare.as_ref().filter(|_| arguments.html.is_some()) {
            let at = At { path, temperature_c: self.temperatures[0], recording_bytes, known: None, task: self };
            let compared = match old.take(&at) {
                Some(old) => old,
                None => review_plan(&at, &mut settings, None, None)?,
            };
            run.tell_new_faults(&compared.0);
            run.compared = Some(compared);
        }
        if let Some(file) = facts_file {
            file.finish()?;
        }
        if let Some(known) = &known {
            run.report.known = known.is_compared().then(|| known.gone_plans());
            known.write()?;
        }
        if arguments.watch {
            arguments.known.iter().for_each(|file| run.shared.add_file(file));
            settings.files().for_each(|file| run.shared.add_file(file));
            run.shared = run.shared.whole();
        }
        Ok(run)
    }
}

impl ReviewRun {
    /// Adds the result for a plan; returns whether it could be read.
    fn add(&mut self, report: PlanReport, kept: Kept) -> bool {
        if kept.is_new {
            self.tell_new_faults(&report);
        }
        let is_read = matches!(report.outcome, PlanOutcome::Reviewed(_));
        self.report.plans.push(report);
        self.reviews.push(kept);
        is_read
    }

    /// Keeps what was reviewed last of the plan that was just refused; what changes that may also mend the plan.
    fn keep_last_good(&mut self, good: Option<(PlanReport, Kept)>) {
        let (Some(good), Some(refused)) = (good, self.reviews.last_mut()) else { return };
        refused.inputs = mem::take(&mut refused.inputs).and_of(&good.1.inputs);
        self.last_good.insert(self.reviews.len() - 1, good);
    }

    /// Reports why a plan was refused; a fault that several plans share, such as one in the settings of their folder,
    /// is reported once.
    fn tell_new_faults(&self, report: &PlanReport) {
        let PlanOutcome::Refused(faults) = &report.outcome else { return };
        let key = |fault: &Fault| (fault.file.clone(), fault.message.clone(), fault.line_column().map(|at| at.line));
        let known: Vec<_> = self.report.all_faults().map(key).collect();
        faults.iter().filter(|fault| !known.contains(&key(fault))).for_each(tell);
    }

    /// The exit status of everything that was reviewed; findings of a compared plan are shown but do not count.
    pub(super) fn exit_status(&self) -> u8 {
        let is_refused =
            self.compared.as_ref().is_some_and(|(report, _)| matches!(report.outcome, PlanOutcome::Refused(_)));
        if is_refused { 2 } else { self.report.exit_status() }
    }

    /// Returns the report with the compared plan at its end, and the recordings.
    pub(super) fn with_compared<T>(&mut self, use_them: impl FnOnce(&RunReport, &[Option<&Recording>]) -> T) -> T {
        let (compared, kept) = match self.compared.take() {
            Some((report, kept)) => (Some(report), Some(kept)),
            None => (None, None),
        };
        self.report.plans.extend(compared);
        let recordings: Vec<Option<&Recording>> =
            self.reviews.iter().chain(&kept).map(|kept| kept.recording.as_ref()).collect();
        let used = use_them(&self.report, &recordings);
        self.compared = kept.and_then(|kept| Some((self.report.plans.pop()?, kept)));
        used
    }

    /// Returns the report in which what was reviewed last stands in the place of plans that cannot be read now, and the
    /// recordings.
    pub(in crate::cli) fn with_last_good<T>(
        &mut self,
        use_them: impl FnOnce(&RunReport, &[Option<&Recording>]) -> T,
    ) -> T {
        self.exchange_last_good();
        let recordings: Vec<Option<&Recording>> = self.reviews.iter().map(|kept| kept.recording.as_ref()).collect();
        let used = use_them(&self.report, &recordings);
        self.exchange_last_good();
        used
    }

    fn exchange_last_good(&mut self) {
        for (at, (report, kept)) in &mut self.last_good {
            mem::swap(&mut self.report.plans[*at], report);
            mem::swap(&mut self.reviews[*at], kept);
        }
    }

    /// Why plans cannot be read now that could be read before.
    pub(in crate::cli) fn new_troubles(&self) -> Vec<&Fault> {
        let refused = self.last_good.keys().filter_map(|at| match &self.report.plans[*at].outcome {
            PlanOutcome::Refused(faults) => Some(faults),
            PlanOutcome::Reviewed(_) => None,
        });
        refused.flatten().collect()
    }

    /// The plans that were reviewed in this round and not taken from the previous one.
    pub(super) fn is_new(&self, at: usize) -> bool {
        self.reviews.get(at).is_some_and(|kept| kept.is_new)
    }

    /// What everything here depends on.
    fn inputs(&self) -> impl Iterator<Item = &Inputs> {
        let others = self.compared.iter().chain(self.last_good.values()).map(|(_, kept)| kept);
        let reviews = self.reviews.iter().chain(others);
        reviews.map(|kept| &kept.inputs).chain([&self.shared])
    }

    /// The number of plans.
    pub(in crate::cli) fn plans(&self) -> usize {
        self.report.plans.len()
    }

    /// The folders in which something that counts may change.
    pub(super) fn places(&self) -> BTreeSet<PathBuf> {
        self.inputs().flat_map(Inputs::places).collect()
    }

    /// Whether a change of a file may change anything here.
    pub(super) fn is_touched_by(&self, changed: &Path) -> bool {
        self.inputs().any(|inputs| inputs.is_touched_by(changed))
    }
}

/// The reviews of the previous round: those that are still valid, and those that show what there was.
struct Old {
    reviews: Vec<(PlanReport, Kept)>,
    outdated: Vec<(PlanReport, Kept)>,
}

impl Old {
    fn new(before: Option<Before<'_>>) -> Self {
        let Some(Before { run, changed }) = before else { return Self { reviews: Vec::new(), outdated: Vec::new() } };
        let reviews = run.report.plans.into_iter().zip(run.reviews).chain(run.compared);
        let holds = |(_, kept): &(PlanReport, Kept)| !changed.iter().any(|file| kept.inputs.is_touched_by(file));
        let (valid, outdated): (Vec<_>, Vec<_>) = reviews.partition(holds);
        let kept = |(report, kept): (PlanReport, Kept)| (report, Kept { is_new: false, ..kept });
        let outdated = outdated.into_iter().filter(|(report, _)| report.reviewed().is_some());
        Self {
            reviews: valid.into_iter().map(kept).collect(),
            outdated: outdated.chain(run.last_good.into_values()).collect(),
        }
    }

    fn take(&mut self, at: &At<'_>) -> Option<(PlanReport, Kept)> {
        take_of(&mut self.reviews, at.path, at.temperature_c)
    }

    /// What was reviewed last of a plan that cannot be read now.
    fn last_good(&mut self, path: &Path, temperature_c: Option<f64>) -> Option<(PlanReport, Kept)> {
        take_of(&mut self.outdated, path, temperature_c)
    }
}

fn take_of(
    reviews: &mut Vec<(PlanReport, Kept)>,
    path: &Path,
    temperature_c: Option<f64>,
) -> Option<(PlanReport, Kept)> {
    let shown = path.display().to_string();
    let is_it = |report: &PlanReport| report.path == shown && report.temperature_c == temperature_c;
    let found = reviews.iter().position(|(report, _)| is_it(report))?;
    Some(reviews.swap_remove(found))
}

/// Two plans are compared, at one temperature; findings of the second one are shown but do not count.
fn check_compared(arguments: &ReviewArguments, paths: &[PathBuf]) -> Result<(), Fault> {
    let Some(other) = &arguments.compare else { return Ok(()) };
    if let Some(flow) = paths.iter().chain([other]).find(|path| is_flow(path)) {
        let message = "a user flow cannot be compared with another plan";
        let help = "compare plans; `stillpage walk` writes a walk through a flow as a plan";
        return Err(Fault::of_file(flow.display().to_string(), message, help));
    }
    let [_] = paths else {
        let message = format!("{} plans cannot be compared with one", paths.len());
        return Err(Fault::of_file(other.display().to_string(), message, "name one plan before `--compare`"));
    };
    if arguments.temperature.len() > 1 {
        let message = "two plans can be compared only at one temperature";
        return Err(Fault::of_file(other.display().to_string(), message, "give `--temperature` once"));
    }
    Ok(())
}

/// Only text has several forms.
fn check_form(arguments: &ReviewArguments) -> Result<(), Fault> {
    let forms = [(arguments.full, "--full"), (arguments.brief, "--brief")];
    match forms.into_iter().find(|(is_given, _)| *is_given && arguments.format != Format::Text) {
        Some((_, form)) => {
            let message = format!("`{form}` is a form of text, but another format is asked for");
            Err(Fault::of_file("", message, format!("leave out `{form}`, or use `--format text`")))
        }
        None => Ok(()),
    }
}

/// If two reports were written to one file, only the last would remain.
fn check_files(arguments: &ReviewArguments) -> Result<(), Fault> {
    let mut known: Vec<&Path> = Vec::new();
    let also = arguments.also.iter().map(|(_, file)| file.as_path());
    let others = [&arguments.out, &arguments.facts, &arguments.html, &arguments.write_known];
    for file in also.chain(others.into_iter().flatten().map(PathBuf::as_path)) {
        if known.contains(&file) {
            let name = file.display().to_string();
            return Err(Fault::of_file(
                name,
                "two outputs would be written to this file",
                "give each output a file of \
                its own",
            ));
        }
        check_is_no_input(file)?;
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
    let selection =
        Selection { only: arguments.only.clone(), without: arguments.without.clone(), ..Selection::default() };
    if RULES.iter().any(|rule| selection.takes(rule.id)) {
        return Ok(selection);
    }
    Err(Fault::of_file("", "`--only` and `--without` together leave no rule to run", "remove one of them"))
}

/// Which plan is reviewed, and how.
#[derive(Debug)]
struct At<'a> {
    path: &'a Path,
    /// The temperature instead of the plan's own, degrees C.
    temperature_c: Option<f64>,
    /// How much space the pictures of its recording may take; `None` if no recording is wanted.
    recording_bytes: Option<usize>,
    /// What is known from before.
    known: Option<&'a KnownList>,
    task: &'a Task<'a>,
}

/// Reviews one plan; a bug in the program is reported as such and does not stop the other plans.
fn review_plan(
    at: &At<'_>,
    settings: &mut SettingsStore,
    mut facts_file: Option<&mut OutputFile>,
    pictures: Option<&Path>,
) -> Result<(PlanReport, Kept), Fault> {
    let shown = at.path.display().to_string();
    let begin = facts_file.as_mut().map(|file| file.position()).transpose().map_err(|error| writing(&error))?;
    let reviewed = guarded(|| {
        let facts_out = facts_file.as_mut().map(|file| file.writer());
        load_and_play(&shown, at, settings, facts_out, pictures)
    });
    let (outcome, recording, inputs) = match reviewed {
        Ok(Ok(Ok(reviewed))) => reviewed.into_parts(),
        Ok(Err(fault)) => return Err(fault),
        Ok(Ok(Err(faults))) => {
            let inputs = Inputs::of_refused(at.path, &faults);
            (refuse(faults, facts_file, begin)?, None, inputs)
        }
        Err(words) => {
            (refuse(vec![failed(&shown, &words)], facts_file, begin)?, None, Inputs::of_refused(at.path, &[]))
        }
    };
    let report = PlanReport { path: shown, temperature_c: at.temperature_c, outcome };
    Ok((report, Kept { recording, inputs, is_new: true }))
}

/// A plan that was loaded and reviewed.
struct Reviewed {
    plan: ReviewedPlan,
    recording: Option<Recording>,
    inputs: Inputs,
}

impl Reviewed {
    fn into_parts(self) -> (PlanOutcome, Option<Recording>, Inputs) {
        (PlanOutcome::Reviewed(Box::new(self.plan)), self.recording, self.inputs)
    }
}

/// The faults of the plan are the inner ones; the outer one is of a file that could not be written.
fn load_and_play(
    shown: &str,
    at: &At<'_>,
    settings: &mut SettingsStore,
    facts_out: Option<&mut dyn Write>,
    pictures: Option<&Path>,
) -> Result<Result<Reviewed, Vec<Fault>>, Fault> {
    if is_flow(at.path) {
        return load_and_walk(shown, at, settings, facts_out);
    }
    let task = at.task;
    let mut loaded = match load_kept_plan(at.path, settings, task.cache.as_ref()) {
        Ok(loaded) => loaded,
        Err(faults) => return Ok(Err(faults)),
    };
    if let Some(celsius) = at.temperature_c {
        loaded.plan.hold_temperature(celsius);
    }
    if let Some(path) = &task.arguments.against {
        let against = Against { path, temperature_c: at.temperature_c, threads: task.threads };
        if let Err(faults) = hold_against(&mut loaded, against, settings) {
            return Ok(Err(faults));
        }
    }
    let of = FactsOf { path: shown, temperature_c: at.temperature_c };
    let (mut review, recording) = match play(of, &loaded, at, facts_out) {
        Ok(Ok(played)) => played,
        Ok(Err(broken)) => return Ok(Err(screen_faults(&loaded, broken))),
        Err(error) => return Err(writing(&error)),
    };
    if let Err(none) = task.arguments.excerpt().cut(&loaded.plan, &mut review) {
        return Ok(Err(no_excerpt(shown, none).into()));
    }
    let named = from_folder(shown, &task.working_folder);
    let name = at.temperature_c.map_or(named.clone(), |celsius| under_temperature(&named, celsius));
    let drawn = pictures.map(|folder| draw_pictures(folder, &name, at, &loaded, &mut review)).transpose()?;
    // This is needed only if another round may follow.
    let inputs = if task.arguments.watch { loaded.inputs() } else { Inputs::default() };
    let pictures = drawn.unwrap_or_default();
    let plan = ReviewedPlan { pictures, ..ReviewedPlan::new(&loaded.plan, review) };
    Ok(Ok(Reviewed { plan, recording, inputs }))
}

/// Draws the pictures of a plan; gives the path of each by its step. What is left out is said in the summary.
fn draw_pictures(
    folder: &Path,
    name: &str,
    at: &At<'_>,
    loaded: &LoadedPlan,
    review: &mut Review,
) -> Result<BTreeMap<u64, String>, Fault> {
    // New findings come first.
    if let Some(known) = at.known {
        known.mark(at.path, at.temperature_c, &mut review.findings);
    }
    let limit = usize::try_from(at.task.arguments.pictures_limit).unwrap_or(usize::MAX);
    let asked = Asked { folder, name, limit };
    let drawn = super::pictures::write(&asked, loaded, review, at.task.threads)?;
    review.summary.not_checked.extend(drawn.left_out);
    Ok(drawn.paths)
}

/// The same of a flow.
fn load_and_walk(
    shown: &str,
    at: &At<'_>,
    settings: &mut SettingsStore,
    facts_out: Option<&mut dyn Write>,
) -> Result<Result<Reviewed, Vec<Fault>>, Fault> {
    let Task { arguments, selection, threads, cache, .. } = at.task;
    let mut loaded = match load_flow(at.path, settings, cache.as_ref()) {
        Ok(loaded) => loaded,
        Err(faults) => return Ok(Err(faults)),
    };
    if let Some(celsius) = at.temperature_c {
        loaded.flow.head.hold_temperature(celsius);
    }
    if arguments.against.is_some() {
        let message = "only a trace of a device can be held against a plan or a user flow, but this is a flow";
        let help = "name a trace (`*.trace.jsonl`), or leave out `--against`";
        return Ok(Err(Fault::of_file(shown, message, help).into()));
    }
    if !arguments.excerpt().is_all() {
        let message = "`--from` and `--to` are about times, but a flow has none";
        return Ok(Err(
            Fault::of_file(shown, message, "write a walk with `stillpage walk`, and review that plan").into()
        ));
    }
    let of = FactsOf { path: shown, temperature_c: at.temperature_c };
    let asked = AskedOfFlow {
        of,
        selection,
        threads: *threads,
        recording_bytes: at.recording_bytes,
        patches: at.task.patches.as_ref(),
    };
    let (mut plan, recording) = match flow_run::review(&asked, &loaded, facts_out) {
        Ok(Ok(reviewed)) => reviewed,
        Ok(Err(faults)) => return Ok(Err(faults)),
        Err(error) => return Err(writing(&error)),
    };
    if arguments.pictures.is_some() {
        plan.summary
            .not_checked
            .push("pictures of steps, which are drawn for plans: `stillpage walk` writes one".into());
    }
    let inputs = if arguments.watch { loaded.inputs() } else { Inputs::default() };
    Ok(Ok(Reviewed { plan, recording, inputs }))
}

fn no_excerpt(shown: &str, none: NoExcerpt) -> Fault {
    let (message, help) = match none {
        NoExcerpt::NoTimeOfDay => (
            "`--from` or `--to` gives a time of day, but nothing says at what time of day this begins",
            "give seconds since the beginning, or write `starts_at` into the clock of the trace's header",
        ),
        NoExcerpt::NoStep => {
            ("no step lies between `--from` and `--to`", "widen the part; the report of the whole says how long it is")
        }
    };
    Fault::of_file(shown, message, help)
}

/// The name under which the pictures of a plan at another temperature are kept.
fn under_temperature(shown: &str, celsius: f64) -> String {
    format!("{}-at-{celsius}C", output_name(shown))
}

/// A review, and its recording if one is wanted.
type Played = (Review, Option<Recording>);

/// Removes from the facts what a refused plan has written.
fn refuse(faults: Vec<Fault>, facts_file: Option<&mut OutputFile>, begin: Option<u64>) -> Result<PlanOutcome, Fault> {
    if let (Some(file), Some(begin)) = (facts_file, begin) {
        file.cut(begin).map_err(|error| writing(&error))?;
    }
    Ok(PlanOutcome::Refused(faults))
}

/// The bug in the program that stopped the review of a plan.
fn failed(path: &str, words: &str) -> Fault {
    let message = "stillpage itself failed on this plan; the other plans are still reviewed";
    own_fault(path, words, message, "please report it with the plan and its screens")
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
    at: &At<'_>,
    mut facts_out: Option<&mut dyn Write>,
) -> io::Result<Result<Played, Vec<BrokenScreen>>> {
    let plan = &loaded.plan;
    let bar = progress::bar(of.path, plan.step_count);
    let mut written = Ok(());
    let mut recorder = at.recording_bytes.map(|bytes| Recorder::new(plan, bytes, at.task.patches.as_ref()));
    let Task { selection, threads, .. } = at.task;
    let review = crate::review::review(plan, &loaded.screens, selection, *threads, &mut |step: &PlayedStep<'_>| {
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
    let review = match review {
        Ok(review) => review,
        Err(broken) => return Ok(Err(broken)),
    };
    let recording = recorder.map(|recorder| with_room(recorder.finish(), &review.findings, loaded, at)).transpose()?;
    Ok(Ok((review, recording)))
}

/// A recording that has the pictures of steps with findings, where there was no room for those of all steps: what was found is
/// known now, so that the plan is played again for them.
fn with_room(first: Recording, findings: &[Finding], loaded: &LoadedPlan, at: &At<'_>) -> io::Result<Recording> {
    let (plan, bytes, patches) = (&loaded.plan, at.recording_bytes.unwrap_or_default(), at.task.patches.as_ref());
    let (steps, mean) = (html::steps_by_weight(findings, &first), first.mean_bytes());
    let rank = |recording: &Recording| steps.iter().map(|step| recording.has_picture(*step)).collect::<Vec<bool>>();
    let mut best: Option<Recording> = None;
    // Pictures of steps that are far apart are larger, nobody knows how much before.
    for each in [mean, 6 * mean, 24 * mean] {
        let Some(mut recorder) = Recorder::again(plan, bytes, patches, &first, (&steps, each)) else { break };
        let mut result = Ok(());
        // The review played the same pictures a moment ago, so none is broken.
        let _ = play_without_ghosts_until(plan, &loaded.screens, at.task.threads, &mut |step: &PlayedStep<'_>| {
            result = recorder.step(step).map_err(io::Error::other);
            if result.is_err() || recorder.is_over() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        result?;
        let (has_missed, again) = (recorder.has_missed(), recorder.finish());
        if rank(&again) > rank(best.as_ref().unwrap_or(&first)) {
            best = Some(again);
        }
        if !has_missed {
            break;
        }
    }
    Ok(match best {
        Some(best) => first.with_pictures_of(best),
        None => first,
    })
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::{
        cli::{Arguments, Command},
        finding::Finding,
        report::{findings_json, junit, markdown, sarif, text},
        rules::tests::{with_one_that_fails, with_one_that_fails_on_plans_called_so},
    };

    fn folder_of(plans: &[(&str, &str)]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().expect("there is room for a few files");
        for (name, text) in plans {
            let text = format!(r#"{{ "format": "refresh-plan/1", "display": "label-2in1", {text} }}"#);
            std::fs::write(folder.path().join(format!("{name}.plan.json")), text)
                .expect("the folder can be written to");
        }
        folder
    }

    fn review(words: &[&Path]) -> Box<ReviewArguments> {
        let all = ["stillpage", "review"].map(Path::new).into_iter().chain(words.iter().copied());
        let Command::Review(arguments) = Arguments::try_parse_from(all).expect("the arguments are right").command
        else {
            panic!("this is a review");
        };
        arguments
    }

    #[test]
    fn a_plan_on_which_the_program_fails_is_told_and_the_others_are_reviewed() {
        let sound = r#""steps": [{}]"#;
        let fails = r#""title": "called so", "steps": [{}, { "after_ms": 1000 }]"#;
        let folder = folder_of(&[("a", sound), ("b", fails), ("c", sound)]);
        let facts = folder.path().join("facts.jsonl");
        let arguments = review(&[Path::new("--facts"), &facts, folder.path()]);
        let mut task = Task::new(&arguments).expect("the arguments are right");
        task.selection.list = with_one_that_fails_on_plans_called_so();
        let run = task.run(None).expect("the faults are of single plans");
        let outcomes = |report: &PlanReport| match &report.outcome {
            PlanOutcome::Reviewed(_) => "reviewed".to_owned(),
            PlanOutcome::Refused(faults) => faults.iter().map(|fault| fault.message.clone()).collect(),
        };
        let outcomes: Vec<String> = run.report.plans.iter().map(outcomes).collect();
        let failed = "stillpage itself failed on this plan; the other plans are still reviewed: an invented fault";
        assert_eq!(outcomes, ["reviewed", failed, "reviewed"]);
        assert_eq!(run.exit_status(), 2);
        let lines = std::fs::read_to_string(facts).expect("the facts are there");
        assert_eq!(lines.lines().count(), 2, "{lines}");
    }

    fn found(run: &ReviewRun) -> Vec<&Finding> {
        let [PlanReport { outcome: PlanOutcome::Reviewed(plan), .. }] = run.report.plans.as_slice() else {
            panic!("one plan was reviewed")
        };
        plan.findings.iter().collect()
    }

    /// There is its own finding, its earlier findings, and those of the other rules; the status is 2 whatever the gate,
    /// in every format, and it is never a known finding.
    #[test]
    fn a_rule_that_fails_is_a_finding_and_the_others_go_on() {
        // The exception matches nothing, which another rule reports at the end.
        let steps = r#""steps": [{}, { "label": "second" }, { "after_ms": 1000 }],
            "accept": [{ "rule": "left-behind", "because": "nobody looks there" }]"#;
        let folder = folder_of(&[("plan", steps)]);
        let known = folder.path().join("known.json");
        let arguments = review(
            &["--gate", "never", "--write-known"]
                .map(Path::new)
                .into_iter()
                .chain([known.as_path(), folder.path()])
                .collect::<Vec<_>>(),
        );
        let mut task = Task::new(&arguments).expect("the arguments are right");
        let whole = task.run(None).expect("the plan can be read");
        task.selection.list = with_one_that_fails();
        let run = task.run(None).expect("the plan can be read");
        let (own, others): (Vec<&Finding>, Vec<&Finding>) =
            found(&run).into_iter().partition(|finding| finding.is_own_fault());
        let [own] = own.as_slice() else { panic!("one fault, reported once: {own:#?}") };
        assert_eq!((own.step, own.label.as_deref(), own.pointer.as_str()), (1, Some("second"), "/steps/1"));
        assert_eq!(
            own.message,
            "a bug in stillpage itself: the rule `an-invented-rule` failed at step 1 \"second\": an invented fault"
        );
        let rules = |findings: &[&Finding]| findings.iter().map(|finding| finding.rule).collect::<Vec<_>>();
        let sound = rules(&found(&whole));
        assert!(sound.contains(&"unused-accept"), "{sound:?}");
        assert_eq!(
            rules(&others),
            [&["an-invented-rule"], sound.as_slice()].concat(),
            "what it found before, and the others"
        );
        assert_eq!(run.exit_status(), 2, "a gate lets findings pass, no fault of the program's own");
        let listed = std::fs::read_to_string(known).expect("the list is there");
        assert!(listed.contains("unused-accept") && !listed.contains("own-fault"), "{listed}");
        let mut formats = vec![Vec::new(); 5];
        let plain = text::TextStyle::of_files(text::Detail::Causes);
        text::write(&run.report, plain, &mut formats[0]).expect("a vector takes all");
        findings_json::write(&run.report, &mut formats[1]).expect("a vector takes all");
        sarif::write(&run.report, &mut formats[2]).expect("a vector takes all");
        junit::write(&run.report, &mut formats[3]).expect("a vector takes all");
        markdown::write(&run.report, "", &mut formats[4]).expect("a vector takes all");
        for written in formats {
            let written = String::from_utf8(written).expect("it is text");
            assert!(written.contains("own-fault"), "{written}");
        }
    }
}
