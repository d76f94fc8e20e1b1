//! The search: courses of a plan are played side by side, step by step, on the model of the panel; rules and cost judge
//! them, and the best go on.

use std::{cmp::Ordering, collections::BTreeMap, ops::ControlFlow, sync::Arc};

use super::{
    candidates::{Played, candidates},
    cost::{Cost, FLASH_OF_THE_PANEL, Meter, least, of_finding},
    update_text,
};
use crate::{
    change::pipeline::{ScreenSource, Transition},
    finding::{Finding, Severity, SummaryTally, is_accepted},
    panel::{PlayedStep, Player},
    plan::{Plan, PlannedStep, Shows, Step, Update, Updates},
    review::{BrokenScreen, new_player, walk},
    rules::{Looks, RuleRunner, Selection},
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
    /// Those that look at less.
    pub(super) fn lower(self) -> &'static [Self] {
        match self {
            Self::Quick => &[],
            Self::Usual => &[Self::Quick],
            Self::Thorough => &[Self::Quick, Self::Usual],
        }
    }

    /// What goes on side by side where so many pixels, times steps to choose, are looked at: the more, the less.
    pub(super) fn breadth(self, pixel_steps: u64) -> Breadth {
        /// A watch through a few dozen steps, and through many; half a hundred steps of a tablet.
        const SMALLEST: u64 = 1 << 21;
        const SMALL: u64 = 1 << 23;
        const LARGE: u64 = 1 << 27;
        match self {
            Self::Usual if pixel_steps <= SMALLEST => Breadth { courses: 8, within: f64::INFINITY },
            Self::Usual if pixel_steps <= SMALL => Breadth { courses: 3, within: f64::INFINITY },
            Self::Usual if pixel_steps <= LARGE => Breadth { courses: 3, within: FLASH_OF_THE_PANEL },
            Self::Usual | Self::Quick => Breadth { courses: 1, within: f64::INFINITY },
            Self::Thorough => Breadth { courses: 12, within: f64::INFINITY },
        }
    }
}

/// Which courses go on side by side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Breadth {
    /// So many at the most.
    pub(super) courses: usize,
    /// None that costs more than the best by more than this: what it had cleaned, the best can still clean.
    pub(super) within: f64,
}

impl Breadth {
    /// Whether a course goes on beside the best. That it has more errors is no matter: later steps may mend what is left
    /// behind.
    fn takes(self, score: Score, best: Score) -> bool {
        score.errors < best.errors || score.cost <= best.cost + self.within
    }
}

/// A plan's steps that are to be chosen, by their place in the file.
pub(super) struct Open {
    by_pointer: BTreeMap<String, (usize, Played)>,
    /// The steps as they are written.
    steps: Vec<Arc<Step>>,
}

impl Open {
    /// Those that are left to choose, or all.
    pub(super) fn of(plan: &Plan, all: bool) -> Self {
        let mut times: BTreeMap<String, (u64, Arc<Step>)> = BTreeMap::new();
        for planned in plan.steps() {
            if all || planned.step.updates == Updates::Choose {
                let entry = times.entry(planned.step.pointer.clone());
                entry.or_insert_with(|| (0, planned.step.clone())).0 += 1;
            }
        }
        let steps = times.values().map(|(_, step)| step.clone()).collect();
        let played = |times: u64| if times == 1 { Played::Once } else { Played::Often };
        let by_pointer =
            times.into_iter().enumerate().map(|(at, (pointer, (times, _)))| (pointer, (at, played(times))));
        Self { by_pointer: by_pointer.collect(), steps }
    }

    /// The steps as they are written, by place.
    pub(super) fn steps(&self) -> &[Arc<Step>] {
        &self.steps
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

/// A choice for each open step, by place; nothing where it is still to be chosen.
pub(super) type Choices = Vec<Option<Arc<Choice>>>;

/// What the search found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) choices: Choices,
    pub(super) score: Score,
    /// Whether every course there is was played, or could not have been the best.
    pub(super) is_whole: bool,
}

impl Found {
    /// The better of both, which says whether every course was played as this one does.
    pub(super) fn or(self, other: Self) -> Self {
        if other.score.order(&self.score).is_lt() { Self { is_whole: self.is_whole, ..other } } else { self }
    }
}

/// A way through the plan, as far as it was played.
#[derive(Clone)]
struct Course<'p> {
    plan: &'p Plan,
    player: Player<'p>,
    bench: RuleRunner<'p>,
    meter: Meter,
    chosen: Choices,
    /// What is given for the steps to come; several lists go the same way for as long as they agree.
    given: Vec<Choices>,
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

impl<'p> Course<'p> {
    fn new(plan: &'p Plan, begins: Arc<Picture>, open: usize, heeds_budgets: bool) -> Self {
        Self {
            plan,
            player: new_player(plan, begins),
            bench: RuleRunner::new(plan, &Selection::of_those_that(Looks::depends_on_updates)),
            meter: Meter::default(),
            chosen: vec![None; open],
            given: Vec::new(),
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

    /// What may be asked at a step, each with what it costs at the least, and this course after the step without any update.
    fn looked_at(
        &self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        played: Played,
    ) -> (Vec<(Vec<Update>, Cost)>, Self) {
        let mut course = self.clone();
        let mut options = Vec::new();
        let own = planned.step.listed_updates().to_vec();
        let step = with_updates(planned.step, Vec::new());
        let planned = PlannedStep { step: &step, ..planned.clone() };
        course.play_and_see(&planned, transition, |step| {
            let with_least = |updates: Vec<Update>| (updates.clone(), least(&updates, step, self.plan));
            let mut found = candidates(step, self.plan, played);
            // What the plan asks for is one of the ways, whatever the display could do. Where it is left to choose this is
            // nothing, which is one of them already.
            if !found.contains(&own) {
                found.push(own);
            }
            options = found.into_iter().map(with_least).collect();
        });
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
        self.score = self.score_of(self.bench.findings());
        let mut bench = self.bench.clone();
        bench.end();
        // That the last picture must be clean is said of the last one only.
        self.ended = self.score_of(bench.findings_of_those_that(|looks| looks != Looks::LastPicture));
        self.rules = bench.findings().map(|finding| (finding.rule, finding.severity)).collect();
    }

    fn score_of<'f>(&self, findings: impl Iterator<Item = &'f Finding>) -> Score {
        let mut score = Score { errors: self.over_budget(), cost: self.meter.cost().total() };
        for finding in findings.filter(|finding| !is_accepted(finding, &self.plan.accept)) {
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

    fn judged(&self, updates: Vec<Update>) -> update_text::Way {
        update_text::Way { updates, cost: self.cost(), rules: self.rules.clone(), rank: self.rank(), is_played: true }
    }

    /// A way on from this course that is not played, as good as it can be at the best.
    fn not_played(&self, updates: Vec<Update>, least: Cost) -> update_text::Way {
        let rank = self.hope(least);
        update_text::Way { updates, cost: self.cost() + least, rules: Vec::new(), rank, is_played: false }
    }

    /// How good this course can be at the best after a step that costs so much at the least: scores only grow.
    fn hope(&self, least: Cost) -> Score {
        Score { cost: self.score.cost + least.total(), ..self.score }
    }

    fn cost(&self) -> Cost {
        self.meter.cost()
    }

    /// Whether two courses are one for all that counts: a window by name, and the same window by its box. Courses with
    /// something given go different ways later.
    fn is_like(&self, other: &Self) -> bool {
        self.given.is_empty()
            && other.given.is_empty()
            && (self.score, self.cost()) == (other.score, other.cost())
            && self.player.is_like(&other.player)
    }

    /// The courses into which this one parts at a step, by what is given for it.
    fn parted(mut self, place: usize) -> Vec<(Option<Arc<Choice>>, Self)> {
        let mut groups: Vec<(Option<Arc<Choice>>, Vec<Choices>)> = Vec::new();
        for choices in std::mem::take(&mut self.given) {
            let is_of = |(choice, _): &&mut (Option<Arc<Choice>>, _)| *choice == choices[place];
            match groups.iter_mut().find(is_of) {
                Some((_, lists)) => lists.push(choices),
                None => groups.push((choices[place].clone(), vec![choices])),
            }
        }
        if groups.is_empty() {
            return vec![(None, self)];
        }
        groups.into_iter().map(|(choice, given)| (choice, Self { given, ..self.clone() })).collect()
    }
}

/// A panel that comes near its limits will soon have to be cleaned.
fn outlook_of(step: &PlayedStep<'_>, plan: &Plan) -> f64 {
    const FULL: f64 = 14.0;
    let limit = plan.limits.too_many_since_cleaning.updates.map(|limit| limit.value);
    let Some(limit) = limit.filter(|limit| *limit > 0.0) else { return 0.0 };
    let worn = f64::from(step.glass.most_since_cleaning()) / limit;
    FULL * (worn - 0.5).max(0.0)
}

/// A search through a plan.
pub(super) struct Search<'s> {
    pub(super) plan: &'s Plan,
    pub(super) screens: &'s dyn ScreenSource,
    pub(super) threads: usize,
    pub(super) open: &'s Open,
    pub(super) breadth: Breadth,
    /// A score that is known to be had: courses that are worse already are given up.
    pub(super) bound: Option<Score>,
    /// Whether a course that overspends a budget is worse at once, or only in the end: a budget that cannot be kept would
    /// lead astray.
    pub(super) heeds_budgets: bool,
}

impl Search<'_> {
    /// Searches with all steps open.
    pub(super) fn run(&self) -> Result<Found, Vec<BrokenScreen>> {
        self.run_with(Vec::new())
    }

    /// Searches with choices given for some steps, or all; every list is followed.
    pub(super) fn run_with(&self, given: Vec<Choices>) -> Result<Found, Vec<BrokenScreen>> {
        let Self { plan, open, breadth, .. } = *self;
        let mut is_whole = true;
        let begin =
            |begins: Arc<Picture>| vec![Course { given, ..Course::new(plan, begins, open.len(), self.heeds_budgets) }];
        let courses =
            walk(plan, self.screens, self.threads, begin, |courses: &mut Vec<Course<'_>>, planned, transition| {
                let before = std::mem::take(courses);
                for course in before {
                    is_whole &= extend(course, planned, transition.as_ref(), (open, breadth), courses);
                }
                if let Some(bound) = self.bound {
                    courses.retain(|course| course.score.order(&bound).is_le());
                }
                is_whole &= prune(courses, breadth);
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
        let (options, _) = course.looked_at(planned, transition.clone(), played);
        let mut options: Vec<Vec<Update>> = options.into_iter().map(|(updates, _)| updates).collect();
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
    (open, breadth): (&Open, Breadth),
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
    let mut is_whole = true;
    for (choice, mut course) in course.parted(place) {
        if let Some(choice) = choice {
            course.play_with(choice.updates.clone(), planned, transition.cloned());
            course.chosen[place] = Some(choice);
            courses.push(course);
        } else {
            is_whole &= explore(&course, planned, transition, (place, played, breadth), courses);
        }
    }
    is_whole
}

/// Plays one step of a course in every way that may be asked; gives whether all ways go on.
fn explore<'p>(
    course: &Course<'p>,
    planned: &PlannedStep<'_>,
    transition: Option<&Transition>,
    (place, played, breadth): (usize, Played, Breadth),
    courses: &mut Vec<Course<'p>>,
) -> bool {
    let (options, without) = course.looked_at(planned, transition.cloned(), played);
    let plan = course.plan;
    let considered = Arc::new(options.iter().map(|(updates, _)| updates.clone()).collect::<Vec<_>>());
    let mut without = Some(without);
    let mut ways: Vec<(usize, Course<'p>)> = Vec::new();
    let mut judged: Vec<(usize, update_text::Way)> = Vec::new();
    let mut in_order: Vec<usize> = (0..options.len()).collect();
    in_order.sort_by(|one, other| options[*one].1.total().total_cmp(&options[*other].1.total()));
    for at in in_order {
        let (updates, least) = &options[at];
        let hope = course.hope(*least);
        let is_full = ways.len() == breadth.courses;
        let is_hopeless = ways.last().is_some_and(|(_, worst)| is_full && hope.order(&worst.rank()).is_gt())
            || ways.first().is_some_and(|(_, best)| !breadth.takes(hope, best.rank()));
        if is_hopeless {
            judged.push((at, course.not_played(updates.clone(), *least)));
            continue;
        }
        let way = without.take_if(|_| updates.is_empty()).unwrap_or_else(|| {
            let mut way = course.clone();
            way.play_with(updates.clone(), planned, transition.cloned());
            way
        });
        judged.push((at, way.judged(updates.clone())));
        ways.push((at, way));
        // Courses that will not go on are given up at once: each holds a whole panel.
        ways.sort_by(|(one_at, one), (other_at, other)| one.rank().order(&other.rank()).then(one_at.cmp(other_at)));
        ways.truncate(breadth.courses);
    }
    judged.sort_by(|(one_at, one), (other_at, other)| one.rank.order(&other.rank).then(one_at.cmp(other_at)));
    for (at, mut way) in ways {
        way.chosen[place] = Some(Arc::new(Choice {
            pointer: planned.step.pointer.clone(),
            step: planned.index,
            label: planned.step.label.clone(),
            updates: options[at].0.clone(),
            why: update_text::why(&judged, at, plan),
            considered: considered.clone(),
        }));
        courses.push(way);
    }
    options.len() <= breadth.courses
}

/// Keeps the best courses; gives whether all could be kept.
fn prune(courses: &mut Vec<Course<'_>>, breadth: Breadth) -> bool {
    courses.sort_by(|one, other| one.rank().order(&other.rank()));
    // Courses that look alike in all that counts are one: a window by name and the same window by its box.
    let all = courses.len();
    if breadth.courses < super::replan::EXHAUSTIVE {
        courses.dedup_by(|one, other| one.is_like(other));
    }
    // Rules may remember more than can be compared: only where none was left out, none better can be missing.
    let is_whole = all <= breadth.courses;
    courses.truncate(breadth.courses);
    if let Some(best) = courses.first().map(Course::rank) {
        courses.retain(|course| breadth.takes(course.rank(), best));
    }
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
