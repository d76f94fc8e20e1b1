//! `stillpage explain`: the story of a place, for somebody who never read a data sheet.

use std::path::PathBuf;

use clap::{Args, ValueEnum, ValueHint};

use super::{
    files::{
        Inputs, LoadedScreens, Outside, SettingsStore, faults_of_screens, is_flow, is_trace, load_flow, load_kept_plan,
        load_plan, real, working_folder,
    },
    output::{check_is_png, tell_written, write_file, write_out},
    telling::{output_style, status_of},
    threads::cores,
};
use crate::{
    excerpt::TimePoint,
    explain::{Complaint, Moment, NoStory, Question, explain as tell, worst_about},
    flow_review::{DecodedScreens, FlowReview, FlowTask, review_flow, words_of},
    geometry::{Rect, Window},
    plan::{Plan, ScreenId},
    proof::Bound,
    report::{
        story::{StoryReport, ToldWalk, write_story},
        story_json::story_json,
        story_page::story_page,
        story_strip::{pictures, strip},
    },
    rules::Selection,
    source::Fault,
    trace::time_of_day,
};

/// What `explain` takes.
#[derive(Debug, Args)]
pub(crate) struct ExplainArguments {
    /// A plan, a trace or a user flow; of a flow, the program explains the walk (a sequence of moves) that leads to the flow's worst finding
    #[arg(value_name = "PLAN|TRACE|FLOW", value_hint = ValueHint::FilePath)]
    plan: PathBuf,
    /// The step, counted from 0 in the order in which the steps are played, repeats included [default: the step of the worst finding; with `--complaint`, the step at which the complaint fits best]
    #[arg(long, value_name = "N", conflicts_with = "when")]
    step: Option<u64>,
    /// The time: seconds since the beginning, such as `72.5`, or the time of day in a trace, such as `09:31:12`
    #[arg(long, value_name = "TIME")]
    when: Option<String>,
    /// The place on the screen in pixels: left, top, width, height [default: the worst place at that moment]
    #[arg(long, value_name = "X,Y,W,H", value_parser = read_box)]
    r#where: Option<Window>,
    /// Begin this many seconds before the step or time that is explained
    #[arg(long, value_name = "SECONDS", default_value = "10", value_parser = read_seconds)]
    before: f64,
    /// What somebody complains about: the answer then also says what is normal, and what this model does not know
    #[arg(long, value_name = "KIND", value_enum, ignore_case = true)]
    complaint: Option<ComplaintWord>,
    /// The format of the explanation
    #[arg(long, value_name = "FORM", value_enum, default_value = "text", ignore_case = true)]
    format: StoryFormat,
    /// A PNG to write, with four pictures of the place: before, as meant, as seen, and the difference, which makes ghosts visible
    #[arg(long, value_name = "F.png", value_hint = ValueHint::FilePath)]
    out: Option<PathBuf>,
    /// A page to write, with the story and these pictures: one file to send
    #[arg(long, value_name = "F.html", value_hint = ValueHint::FilePath)]
    html: Option<PathBuf>,
    #[command(flatten)]
    outside: Outside,
}

/// The forms of a story.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum StoryFormat {
    /// For people
    Text,
    /// For programs
    Json,
}

/// The words for complaints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct ComplaintWord(Complaint);

impl ValueEnum for ComplaintWord {
    fn value_variants<'a>() -> &'a [Self] {
        const ALL: [ComplaintWord; Complaint::ALL.len()] = {
            let mut all = [ComplaintWord(Complaint::Flicker); Complaint::ALL.len()];
            let mut at = 0;
            while at < all.len() {
                all[at] = ComplaintWord(Complaint::ALL[at]);
                at += 1;
            }
            all
        };
        &ALL
    }

    fn to_possible_value(&self) -> Option<clap::builder::PossibleValue> {
        Some(clap::builder::PossibleValue::new(self.0.word()).help(self.0.about()))
    }
}

fn read_box(text: &str) -> Result<Window, String> {
    let numbers: Result<Vec<i64>, _> = text.split(',').map(|number| number.trim().parse::<i64>()).collect();
    match numbers.as_deref() {
        Ok([x, y, width, height]) if *width > 0 && *height > 0 => {
            Ok(Window { x: *x, y: *y, width: *width, height: *height })
        }
        _ => Err("write four whole numbers: left, top, width, height, such as `100,40,64,32`".to_owned()),
    }
}

fn read_seconds(text: &str) -> Result<f64, String> {
    let seconds = text.parse::<f64>().ok().filter(|seconds| seconds.is_finite() && *seconds >= 0.0);
    seconds.ok_or_else(|| "write seconds as a number that is not negative, such as `10` or `0.5`".to_owned())
}

/// Runs the command and gives the exit status.
pub(super) fn explain(arguments: &ExplainArguments) -> u8 {
    status_of(run(arguments))
}

fn run(arguments: &ExplainArguments) -> Result<(), Vec<Fault>> {
    if let Some(out) = &arguments.out {
        check_is_png(out)?;
    }
    let subject = Subject::load(arguments)?;
    let (plan, screens) = (&subject.plan, &subject.screens);
    let mut question = question(arguments, plan)?;
    if subject.walk.as_ref().is_some_and(|walk| walk.is_about_question) {
        // The walk ends with what it leads to.
        question.moment = question.moment.or(plan.step_count.checked_sub(1).map(Moment::Step));
    }
    let story = tell(plan, screens, cores(), &question).map_err(|none| match none {
        NoStory::Broken(broken) => faults_of_screens(&plan.source, screens, broken),
        NoStory::NoStep(last) => vec![no_step(arguments, last)],
        NoStory::NoTime { last, at_ms } => vec![no_time(arguments, plan, last, at_ms)],
    })?;
    if let Some(out) = arguments.out.iter().chain(&arguments.html).find(|out| subject.inputs.reads(&real(out))) {
        let message = "the plan uses this file, which would be overwritten";
        return Err(vec![Fault::of_file(out.display().to_string(), message, "give the output another name")]);
    }
    let complaint = arguments.complaint.map(|word| word.0);
    let report = StoryReport { path: &plan.source.name, plan, story: &story, complaint, walk: subject.walk.as_ref() };
    write_out(|out| match arguments.format {
        StoryFormat::Text => write_story(report, output_style(), out),
        StoryFormat::Json => writeln!(out, "{:#}", story_json(report)),
    })
    .map_err(Vec::from)?;
    write_pictures(arguments, report)
}

/// What a story is about: a plan, a trace, or a walk through a flow.
struct Subject {
    plan: Plan,
    screens: LoadedScreens,
    inputs: Inputs,
    walk: Option<ToldWalk>,
}

impl Subject {
    fn load(arguments: &ExplainArguments) -> Result<Self, Vec<Fault>> {
        let mut settings = SettingsStore::new(&working_folder(), &[], arguments.outside);
        if !is_flow(&arguments.plan) {
            let path = &arguments.plan;
            let loaded = if is_trace(path) {
                load_kept_plan(path, &mut settings, None)
            } else {
                load_plan(path, &mut settings)
            }?;
            let inputs = loaded.inputs();
            return Ok(Self { plan: loaded.plan, screens: loaded.screens, inputs, walk: None });
        }
        let loaded = load_flow(&arguments.plan, &mut settings, None)?;
        let (flow, selection) = (&loaded.flow, Selection::default());
        let screens = DecodedScreens::decode(flow, &loaded.screens, cores())
            .map_err(|broken| faults_of_screens(&flow.head.source, &loaded.screens, broken))?;
        let picture_name = |screen: ScreenId| loaded.picture_name(screen);
        let task =
            FlowTask { flow, screens: &screens, selection: &selection, threads: cores(), picture_name: &picture_name };
        let reviewed = review_flow(&task, &mut |_, _| {}).map_err(|no_map| {
            let (message, help) = no_map.words();
            vec![fault(arguments, message, help)]
        })?;
        let inputs = loaded.inputs();
        let with_walk =
            || reviewed.review.findings.iter().filter(|finding| reviewed.walks.contains_key(&finding.fingerprint));
        let about = arguments.complaint.and_then(|word| worst_about(word.0, with_walk()));
        let proved =
            proved_ghost(&reviewed).filter(|_| arguments.complaint.is_none_or(|word| word.0 == Complaint::Ghost));
        let proved = proved.unwrap_or_default();
        let has_findings = with_walk().next().is_some();
        let (plan, words) = match about {
            Some(finding) => {
                let walk = &reviewed.walks[&finding.fingerprint];
                let words = words_of(flow, &reviewed.map, walk, &picture_name);
                (walk.plan(flow, &reviewed.map.graph, &screens).plan, words)
            }
            None => (reviewed.shown.plan, reviewed.of_flow.shown),
        };
        let is_about_question = about.is_some() || arguments.complaint.is_none();
        let why = match about {
            Some(_) => "which leads to the worst finding about this complaint".to_owned(),
            None if !has_findings => {
                format!("as an example (no walk leads to a finding{proved})")
            }
            None if is_about_question => "which leads to its worst finding".to_owned(),
            None => {
                let none = "no walk leads to a finding about this complaint";
                format!("which leads to its worst finding ({none}{proved})")
            }
        };
        let walk = ToldWalk { why, words, is_about_question };
        Ok(Self { plan, screens: loaded.screens, inputs, walk: Some(walk) })
    }
}

/// How much of an older picture is left at most on any walk, if that is proved: in words behind what is said of the findings.
fn proved_ghost(reviewed: &FlowReview) -> Option<String> {
    let proved = reviewed.nodes.iter().map(|node| match node.proof.ghost_l {
        Bound::Proved(most_l) => Some(most_l),
        Bound::Unbounded | Bound::NotProved => None,
    });
    let most_l = proved.reduce(|one, other| Some(one?.max(other?)))??;
    // What is rounded down would not be proved.
    Some(format!(", and none leaves more than {:.2} L* of an older picture", (most_l * 100.0).ceil() / 100.0))
}

fn write_pictures(arguments: &ExplainArguments, report: StoryReport<'_>) -> Result<(), Vec<Fault>> {
    let (story, ink) = (report.story, &report.plan.display.ink);
    let not_drawn = |reason: String| vec![fault(arguments, format!("cannot be drawn: {reason}"), "")];
    if let Some(out) = &arguments.out {
        let pictures = strip(story, ink).map_err(not_drawn)?;
        write_file(out, |file| file.write_all(&pictures))?;
        tell_written(out, "the place before, as it is meant, as it is seen, and the difference").map_err(Vec::from)?;
    }
    if let Some(html) = &arguments.html {
        let page = story_page(report, &pictures(story, ink).map_err(not_drawn)?);
        write_file(html, |file| file.write_all(page.as_bytes()))?;
        tell_written(html, "the story with its pictures").map_err(Vec::from)?;
    }
    Ok(())
}

/// Times are compared in steps of this, ms.
const LEAST_MS: f64 = 0.001;

fn question(arguments: &ExplainArguments, plan: &Plan) -> Result<Question, Vec<Fault>> {
    let time = arguments.when.as_ref().map(|text| {
        let point =
            TimePoint::read(text).map_err(|reason| vec![fault(arguments, format!("`--when {text}`"), reason)])?;
        point.since_beginning(plan).map_err(|_| {
            let help = "give seconds since the beginning, such as `12.5`, or set `starts_at` in the trace's `clock`";
            vec![fault(arguments, "it is not known at what time of day this begins", help)]
        })
    });
    let length_ms = arguments.when.as_deref().map_or(0.0, TimePoint::length_ms);
    let whole = |from_ms| Moment::Time { from_ms, until_ms: from_ms + (length_ms - LEAST_MS).max(0.0) };
    let time = time.transpose()?.map(whole);
    let place = arguments.r#where.map(|window| place(arguments, window, plan)).transpose()?;
    Ok(Question {
        moment: arguments.step.map(Moment::Step).or(time),
        place,
        place_is_cut: place.map(Rect::to_window) != arguments.r#where,
        before_ms: Some(arguments.before * 1000.0),
        complaint: arguments.complaint.map(|word| word.0),
    })
}

fn place(arguments: &ExplainArguments, window: Window, plan: &Plan) -> Result<Rect, Vec<Fault>> {
    let size = plan.screen_size();
    window.cut(size).ok_or_else(|| {
        let message = "this place lies outside the screen";
        vec![fault(arguments, message, format!("the screen has {} x {} px", size.width, size.height))]
    })
}

fn no_step(arguments: &ExplainArguments, last: Option<u64>) -> Fault {
    match last {
        None => fault(arguments, "there are no steps", "add a step that shows a screen"),
        Some(last) => {
            let message = format!("there is no step {}", arguments.step.unwrap_or_default());
            fault(arguments, message, format!("steps count from 0; the last one is {last}"))
        }
    }
}

/// That a time lies after the last step; a time of day may lie before the beginning instead.
fn no_time(arguments: &ExplainArguments, plan: &Plan, last: u64, at_ms: f64) -> Fault {
    let asked = arguments.when.as_deref().unwrap_or_default();
    let begins_ms = plan.recorded.as_ref().and_then(|recorded| recorded.begins_at_ms).filter(|_| asked.contains(':'));
    let message = match begins_ms {
        None => {
            let seconds = at_ms / 1000.0;
            format!("`--when {asked}` lies after the end: the last step is step {last}, at {seconds} s")
        }
        Some(begins_ms) => format!(
            "`--when {asked}` lies outside this {}: it begins at {}, and its last step is step {last}, at {}",
            plan.kind().word(),
            time_of_day(begins_ms),
            time_of_day(begins_ms + at_ms)
        ),
    };
    let help = "count seconds since the beginning, not the counts of the device's own clock; for what stays on the panel after \
                the last step, ask with";
    fault(arguments, message, format!("{help} `--step {last}`"))
}

fn fault(arguments: &ExplainArguments, message: impl Into<String>, help: impl Into<String>) -> Fault {
    Fault::of_file(arguments.plan.display().to_string(), message, help)
}
