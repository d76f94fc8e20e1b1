//! The search: courses of a plan are played side by side, step by step, on the model of the panel; rules and cost judge
//! them, and the best go on.

use std::{cmp::Ordering, collections::BTreeMap, ops::ControlFlow, sync::Arc};

use super::{
    candidates::{Played, candidates},
    cost::{Cost, Meter, of_finding},
    words,
};
use crate::{
    change::conveyor::{ScreenSource, Transition},
    finding::{Finding, Severity, SummaryTally, is_accepted},
    panel::{PlayedStep, Player},
    plan::{Plan, PlannedStep, Shows, Step, Update, Updates},
    review::{BrokenScreen, new_player, walk},
    rules::{Bench, Selection},
    screen::Picture,
};

/// How much is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// The best at every step.
    Quick,
    /// A few courses side by side.
    Usual,
    /// Many courses; small plans wholly.
    Thorough,
}

impl Effort {
    /// How many courses go on side by side at the most.
    pub(super) fn width(self) -> usize {
        match self {
            Self::Quick => 1,
            Self::Usual => 3,
            Self::Thorough => 12,
        }
    }
}

/// A plan's steps that are to be chosen, by their place in the file.
pub(super) struct Open {
    by_pointer: BTreeMap<String, (usize, Played)>,
}

impl Open {
    /// Those that are left to choose, or all.
    pub(super) fn of(plan: &Plan, all: bool) -> Self {
        let mut times: BTreeMap<String, u64> = BTreeMap::new();
        for planned in plan.steps() {
            if all || planned.step.updates == Updates::Choose {
                *times.entry(planned.step.pointer.clone()).or_default() += 1;
            }
        }
        let played = |times: u64| if times == 1 { Played::Once } else { Played::Often };
        let by_pointer = times.into_iter().enumerate().map(|(at, (pointer, times))| (pointer, (at, played(times))));
        Self { by_pointer: by_pointer.collect() }
    }

    /// How many there are.
    pub(super) fn len(&self) -> usize {
        self.by_pointer.len()
    }

    /// The places of steps that are played more than once.
    pub(super) fn often(&self) -> Vec<usize> {
        let often = self.by_pointer.values().filter(|(_, played)| *played == Played::Often);
        often.map(|(place, _)| *place).collect()
    }

    fn get(&self, step: &Step) -> Option<(usize, Played)> {
        self.by_pointer.get(&step.pointer).copied()
    }
}

/// What is chosen for a step, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The JSON pointer to the step.
    pub pointer: String,
    /// The step, as it is first played.
    pub step: u64,
    /// Its label.
    pub label: Option<String>,
    /// The updates.
    pub updates: Vec<Update>,
    /// Why, in words.
    pub why: String,
    /// All that was considered for the step.
    pub(super) considered: Arc<Vec<Vec<Update>>>,
}

/// How good a course is: errors come before all else.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Score {
    /// Findings that are errors.
    pub errors: u64,
    /// The cost, with what warnings and notes add.
    pub cost: f64,
}

impl Score {
    /// The better one first.
    pub(super) fn order(&self, other: &Self) -> Ordering {
        self.errors.cmp(&other.errors).then(self.cost.total_cmp(&other.cost))
    }
}

/// What the search found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// By place.
    pub(super) choices: Vec<Option<Arc<Choice>>>,
    pub(super) score: Score,
    /// Whether every course there is was played, or could not have been the best.
    pub(super) is_whole: bool,
}

/// A way through the plan, as far as it was played.
#[derive(Clone)]
struct Course<'p> {
    plan: &'p Plan,
    player: Player<'p>,
    bench: Bench<'p>,
    meter: Meter,
    chosen: Vec<Option<Arc<Choice>>>,
    tally: SummaryTally,
    heeds_budgets: bool,
    score: Score,
    /// What the score would be, were the plan over: what rules still wait for is told. No part of the score, since a later
    /// step may mend it.
    ended: Score,
    /// The rules that found something, those that wait among them.
    rules: Vec<(&'static str, Severity)>,
    /// What the state of the glass is likely to cost later; no part of the score.
    outlook: f64,
}

/// Rules that look at screens and strokes alone: whatever is chosen, they find the same.
const OF_SCREENS: [&str; 10] = [
    "shade-not-on-panel",
    "dither-shimmers",
    "thin-line",
    "greys-too-close",
    "part-segment",
    "line-width-jumps",
    "faint-text",
    "tiny-text",
    "small-target",
    "font-substituted",
];

fn selection() -> Selection {
    Selection { only: Vec::new(), without: OF_SCREENS.map(str::to_owned).to_vec() }
}

impl<'p> Course<'p> {
    fn new(plan: &'p Plan, begins: Arc<Picture>, open: usize, heeds_budgets: bool) -> Self {
        Self {
            plan,
            player: new_player(plan, begins),
            bench: Bench::new(plan, &selection()),
            meter: Meter::default(),
            chosen: vec![None; open],
            tally: SummaryTally::default(),
            heeds_budgets,
            score: Score::default(),
            ended: Score::default(),
            rules: Vec::new(),
            outlook: 0.0,
        }
    }

    /// Plays a step as it stands in the plan.
    fn play(&mut self, planned: &PlannedStep<'_>, transition: Option<Transition>) {
        self.play_and_see(planned, transition, |_| {});
    }

    /// Plays a step with other updates.
    fn play_with(&mut self, updates: Vec<Update>, planned: &PlannedStep<'_>, transition: Option<Transition>) {
        let step = with_updates(planned.step, updates);
        self.play(&PlannedStep { step: &step, ..planned.clone() }, transition);
    }

    /// What may be asked at a step, and this course after the step without any update.
    fn looked_at(
        &self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        played: Played,
    ) -> (Vec<Vec<Update>>, Self) {
        let mut course = self.clone();
        let mut options = Vec::new();
        let step = with_updates(planned.step, Vec::new());
        let planned = PlannedStep { step: &step, ..planned.clone() };
        course.play_and_see(&planned, transition, |step| options = candidates(step, self.plan, played));
        (options, course)
    }

    fn play_and_see(
        &mut self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        see: impl FnOnce(&PlayedStep<'_>),
    ) {
        let (bench, meter, tally, plan) = (&mut self.bench, &mut self.meter, &mut self.tally, self.plan);
        let mut outlook = 0.0;
        self.player.play(planned, transition, |step| {
            bench.step(step);
            meter.step(step, plan);
            tally.step(step, plan);
            outlook = outlook_of(step, plan);
            see(step);
        });
        self.outlook = outlook;
        self.judge();
    }

    fn end(&mut self) {
        self.bench.end();
        self.meter.end();
        self.heeds_budgets = true;
        self.outlook = 0.0;
        self.judge();
    }

    fn judge(&mut self) {
        self.score = self.score_by(&self.bench, None);
        let mut bench = self.bench.clone();
        bench.end();
        // That the last picture must be clean is said of the last one only.
        self.ended = self.score_by(&bench, Some("ends-ghosted"));
        self.rules = bench.findings().map(|finding| (finding.rule, finding.severity)).collect();
    }

    fn score_by(&self, bench: &Bench<'_>, without: Option<&str>) -> Score {
        let mut score = Score { errors: self.over_budget(), cost: self.meter.cost().total() };
        let counts = |finding: &&Finding| Some(finding.rule) != without && !is_accepted(finding, &self.plan.accept);
        for finding in bench.findings().filter(counts) {
            score.errors += u64::from(finding.severity == Severity::Error);
            score.cost += of_finding(finding.severity);
        }
        score
    }

    /// How many of the plan's budgets are overspent already. Figures only grow; those of findings count as findings.
    fn over_budget(&self) -> u64 {
        if self.plan.budgets.is_empty() || !self.heeds_budgets {
            return 0;
        }
        let figures = self.tally.so_far().figures();
        let over = |(name, budget): &(&String, &f64)| figures.get(name.as_str()).is_some_and(|figure| figure > *budget);
        self.plan.budgets.iter().filter(over).count() as u64
    }

    /// By this courses are kept or given up.
    fn rank(&self) -> Score {
        Score { errors: self.ended.errors, cost: self.ended.cost + self.outlook }
    }

    fn judged(&self, updates: Vec<Update>) -> words::Way {
        words::Way { updates, cost: self.cost(), rules: self.rules.clone(), rank: self.rank() }
    }

    fn cost(&self) -> Cost {
        self.meter.cost()
    }

    /// Whether two courses are one for all that counts: a window by name, and the same window by its box.
    fn is_like(&self, other: &Self) -> bool {
        (self.score, self.cost()) == (other.score, other.cost()) && self.player.is_like(&other.player)
    }
}

/// A panel that comes near its limits will soon have to be cleaned.
fn outlook_of(step: &PlayedStep<'_>, plan: &Plan) -> f64 {
    const FULL: f64 = 14.0;
    let Some(limit) = plan.limit_or_display("too-many-since-cleaning", "updates").filter(|limit| *limit > 0.0) else {
        return 0.0;
    };
    let worn = f64::from(step.glass.most_since_cleaning()) / limit;
    FULL * (worn - 0.5).max(0.0)
}

/// A search through a plan.
pub(super) struct Search<'s> {
    pub(super) plan: &'s Plan,
    pub(super) screens: &'s dyn ScreenSource,
    pub(super) threads: usize,
    pub(super) open: &'s Open,
    /// How many courses go on side by side at the most.
    pub(super) width: usize,
    /// A score that is known to be had: courses that are worse already are given up.
    pub(super) bound: Option<Score>,
    /// Whether a course that overspends a budget is worse at once, or only in the end: a budget that cannot be kept would
    /// lead astray.
    pub(super) heeds_budgets: bool,
}

impl Search<'_> {
    /// Searches with all steps open.
    pub(super) fn run(&self) -> Result<Found, Vec<BrokenScreen>> {
        self.run_from(vec![vec![None; self.open.len()]])
    }

    /// Searches from choices that were taken already; a list for each course to begin with.
    pub(super) fn run_from(&self, chosen: Vec<Vec<Option<Arc<Choice>>>>) -> Result<Found, Vec<BrokenScreen>> {
        let Self { plan, open, width, .. } = *self;
        let mut is_whole = true;
        let begin = |begins: Arc<Picture>| {
            let course = Course::new(plan, begins, open.len(), self.heeds_budgets);
            let with = |chosen| Course { chosen, ..course.clone() };
            chosen.into_iter().map(with).collect::<Vec<Course<'_>>>()
        };
        let courses =
            walk(plan, self.screens, self.threads, begin, |courses: &mut Vec<Course<'_>>, planned, transition| {
                let before = std::mem::take(courses);
                for course in before {
                    is_whole &= extend(course, planned, transition.as_ref(), (open, width), courses);
                }
                if let Some(bound) = self.bound {
                    courses.retain(|course| course.score.order(&bound).is_le());
                }
                is_whole &= prune(courses, width);
                (ControlFlow::Continue(()), None)
            })?;
        let mut ended = courses;
        ended.iter_mut().for_each(Course::end);
        let best = ended.into_iter().min_by(|one, other| one.score.order(&other.score));
        let none = Score { errors: u64::MAX, cost: f64::INFINITY };
        let (choices, score) = best.map_or((Vec::new(), none), |best| (best.chosen, best.score));
        Ok(Found { choices, score, is_whole })
    }
}

/// Plays a plan once; `choose` is given what may be asked at each open step, and gives the place of what it takes.
pub(super) fn play_through(
    plan: &Plan,
    screens: &dyn ScreenSource,
    open: &Open,
    choose: &mut dyn FnMut(&[Vec<Update>]) -> usize,
) -> Result<Score, Vec<BrokenScreen>> {
    let begin = |begins| Course::new(plan, begins, open.len(), true);
    let mut course = walk(plan, screens, 1, begin, |course, planned, transition| {
        let Some((_, played)) = open.get(planned.step) else {
            course.play(planned, transition);
            return (ControlFlow::Continue(()), None);
        };
        let (mut options, _) = course.looked_at(planned, transition.clone(), played);
        let taken = choose(&options);
        course.play_with(options.swap_remove(taken), planned, transition);
        (ControlFlow::Continue(()), None)
    })?;
    course.end();
    Ok(course.score)
}

/// Plays one step of a course in every way that is open; gives whether all ways go on.
fn extend<'p>(
    mut course: Course<'p>,
    planned: &PlannedStep<'_>,
    transition: Option<&Transition>,
    (open, width): (&Open, usize),
    courses: &mut Vec<Course<'p>>,
) -> bool {
    let Some((place, played)) = open.get(planned.step) else {
        course.play(planned, transition.cloned());
        courses.push(course);
        return true;
    };
    if let Some(choice) = course.chosen[place].clone() {
        course.play_with(choice.updates.clone(), planned, transition.cloned());
        courses.push(course);
        return true;
    }
    let (options, without) = course.looked_at(planned, transition.cloned(), played);
    let plan = course.plan;
    let considered = Arc::new(options.clone());
    let (mut ways, mut judged) = (Vec::new(), Vec::new());
    let mut without = Some(without);
    for updates in options {
        let way = without.take_if(|_| updates.is_empty()).unwrap_or_else(|| {
            let mut way = course.clone();
            way.play_with(updates.clone(), planned, transition.cloned());
            way
        });
        judged.push(way.judged(updates.clone()));
        ways.push((updates, way));
        // Courses that will not go on are given up at once: each holds a whole panel.
        ways.sort_by(|(_, one): &(Vec<Update>, Course<'_>), (_, other)| one.rank().order(&other.rank()));
        ways.truncate(width);
    }
    judged.sort_by(|one, other| one.rank.order(&other.rank));
    for (at, (updates, mut way)) in ways.into_iter().enumerate() {
        way.chosen[place] = Some(Arc::new(Choice {
            pointer: planned.step.pointer.clone(),
            step: planned.index,
            label: planned.step.label.clone(),
            updates,
            why: words::why(&judged, at, plan),
            considered: considered.clone(),
        }));
        courses.push(way);
    }
    judged.len() <= width
}

/// Keeps the best courses; gives whether all could be kept.
fn prune(courses: &mut Vec<Course<'_>>, width: usize) -> bool {
    courses.sort_by(|one, other| one.rank().order(&other.rank()));
    // Courses that look alike in all that counts are one: a window by name and the same window by its box.
    let all = courses.len();
    if width < super::replan::EXHAUSTIVE {
        courses.dedup_by(|one, other| one.is_like(other));
    }
    // Rules may remember more than can be compared: only where none was left out, none better can be missing.
    let is_whole = all <= width;
    courses.truncate(width);
    is_whole
}

/// The same step with other updates. What it shows is known of the step as it is played: of a list of screens only that
/// there is one counts here.
fn with_updates(step: &Step, updates: Vec<Update>) -> Arc<Step> {
    let shows = match &step.shows {
        Shows::Same => Shows::Same,
        Shows::Screen(screen) => Shows::Screen(*screen),
        Shows::Each(_) => Shows::Each(Vec::new()),
    };
    Arc::new(Step {
        pointer: step.pointer.clone(),
        label: step.label.clone(),
        strokes: step.strokes.clone(),
        updates: Updates::Listed(updates),
        shows,
        ..*step
    })
}
