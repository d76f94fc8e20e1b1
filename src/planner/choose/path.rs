//! A path through a plan: what was chosen so far is played on the model of the panel, and judged by the rules and the cost.
//!
//! Knows one path; which of several go on is not decided here.

use std::sync::Arc;

use super::{
    candidates::{HowOften, candidates},
    cost::{Cost, Meter, Score, least, of_finding},
    open_steps::{Choice, Choices},
    reasons::Way,
};
use crate::{
    change::pipeline::Transition,
    finding::{Finding, Holds, PlanMargin, Severity, SummaryTally, is_accepted},
    geometry::Rect,
    panel::{PlayedStep, Player},
    plan::{Plan, PlannedStep, Shows, Step, Update, Updates},
    review::new_player,
    rules::{Looks, REPLACED_AFTER_MS, RuleRunner, Selection},
    screen::Picture,
};

/// A way through the plan, as far as it was played.
pub(in crate::planner) struct Path<'p> {
    pub(super) plan: &'p Plan,
    player: Player<'p>,
    runner: RuleRunner<'p>,
    meter: Meter,
    pub(super) chosen: Choices,
    /// What is given for the steps to come; several lists go the same way for as long as they agree.
    given: Vec<Choices>,
    tally: SummaryTally,
    heeds_budgets: bool,
    pub(in crate::planner) score: Score,
    /// What the score would be, were the plan over: what rules still wait for is reported. No part of the score, since a later
    /// step may mend it.
    ended: Score,
    /// The rules that found something, those that wait among them.
    rules: Vec<(&'static str, Severity)>,
    /// What the state of the glass is likely to cost later; no part of the score.
    outlook: f64,
    /// Whether it has taken what was best at every step: it is never given up.
    pub(super) is_straight: bool,
    /// Whether it asks for nothing at the step that it played last, although something may be asked there.
    pub(super) is_idle: bool,
}

/// What a step offers.
pub(super) struct LookedAt<'p> {
    /// What may be asked there, each with what it costs at the least.
    pub(super) options: Vec<(Vec<Update>, Cost)>,
    /// The path after the step without any update.
    pub(super) without: Path<'p>,
    /// What changes or was left there.
    pub(super) places: Vec<Rect>,
}

impl LookedAt<'_> {
    /// What may be asked there alone.
    pub(super) fn updates(self) -> Vec<Vec<Update>> {
        self.options.into_iter().map(|(updates, _)| updates).collect()
    }
}

impl<'p> Path<'p> {
    pub(in crate::planner) fn new(plan: &'p Plan, begins: Arc<Picture>, open: usize, heeds_budgets: bool) -> Self {
        Self {
            plan,
            player: new_player(plan, begins),
            runner: RuleRunner::new(plan, &Selection::of_those_that(Looks::depends_on_updates)),
            meter: Meter::default(),
            chosen: vec![None; open],
            given: Vec::new(),
            tally: SummaryTally::default(),
            heeds_budgets,
            score: Score::default(),
            ended: Score::default(),
            rules: Vec::new(),
            outlook: 0.0,
            is_straight: true,
            is_idle: false,
        }
    }

    /// Another path that goes on from here.
    pub(in crate::planner) fn fork(&self) -> Self {
        Self {
            plan: self.plan,
            player: self.player.fork(),
            runner: self.runner.clone(),
            meter: self.meter.clone(),
            chosen: self.chosen.clone(),
            given: self.given.clone(),
            tally: self.tally.clone(),
            heeds_budgets: self.heeds_budgets,
            score: self.score,
            ended: self.ended,
            rules: self.rules.clone(),
            outlook: self.outlook,
            is_straight: false,
            is_idle: false,
        }
    }

    /// The same path with choices given for some steps to come; it parts where they differ.
    pub(super) fn with_given(self, given: Vec<Choices>) -> Self {
        let is_straight = given.is_empty();
        Self { given, is_straight, ..self }
    }

    /// Plays a step as it stands in the plan.
    pub(super) fn play(&mut self, planned: &PlannedStep<'_>, transition: Option<Transition>) {
        self.play_and_see(planned, transition, |_| {});
    }

    /// Plays a step with other updates.
    pub(super) fn play_with(
        &mut self,
        updates: Vec<Update>,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
    ) {
        let step = with_updates(planned.step, updates);
        self.play(&PlannedStep { step: &step, ..planned.clone() }, transition);
    }

    /// Another path that goes on from here with other updates at a step.
    pub(super) fn played_with(
        &self,
        updates: &[Update],
        planned: &PlannedStep<'_>,
        transition: Option<&Transition>,
    ) -> Self {
        let mut way = self.fork();
        way.play_with(updates.to_vec(), planned, transition.cloned());
        way
    }

    /// What may be asked at a step, each with what it costs at the least, and this path after the step without any update.
    /// Of a step that is played often, `at_all_turns` is what may be asked at any of them.
    pub(super) fn looked_at(
        &self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        (played, at_all_turns): (HowOften, &[Vec<Update>]),
    ) -> LookedAt<'p> {
        let mut path = self.fork();
        let (mut options, mut places) = (Vec::new(), Vec::new());
        let own = planned.step.listed_updates().to_vec();
        let step = with_updates(planned.step, Vec::new());
        let planned = PlannedStep { step: &step, ..planned.clone() };
        path.play_and_see(&planned, transition, |step| {
            let changed = step.changed.bounds(step.grid());
            let with_least = |updates: Vec<Update>| (updates.clone(), least(&updates, (step, changed), self.plan));
            let mut found;
            (found, places) = candidates(step, self.plan, played);
            // What the plan asks for is one of the ways, whatever the display could do. Where it is left to choose this is
            // nothing, which is one of them already.
            for updates in at_all_turns.iter().chain([&own]) {
                if !found.contains(updates) {
                    found.push(updates.clone());
                }
            }
            if played == HowOften::Often {
                // Where the first turn cannot tell one from the other, a flash is not the guess, nor is nothing.
                let flashes = |update: &Update| self.plan.display.modes[update.mode].flashes > 0;
                found.sort_by_key(|updates| (updates.is_empty(), updates.iter().any(flashes)));
            }
            options = found.into_iter().map(with_least).collect();
        });
        LookedAt { options, without: path, places }
    }

    fn play_and_see(
        &mut self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        see: impl FnOnce(&PlayedStep<'_>),
    ) {
        self.play_and_see_unjudged(planned, transition, see);
        self.judge();
    }

    fn play_and_see_unjudged(
        &mut self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        see: impl FnOnce(&PlayedStep<'_>),
    ) {
        let (runner, meter, tally, plan) = (&mut self.runner, &mut self.meter, &mut self.tally, self.plan);
        let mut outlook = 0.0;
        self.player.play(planned, transition, |step| {
            runner.step(step);
            meter.step(step, plan);
            tally.step(step, plan);
            outlook = outlook_of(step, plan);
            see(step);
        });
        self.outlook = outlook;
    }

    /// Plays a step with other updates without judging it: for those who look at the score now and then only.
    pub(in crate::planner) fn play_unjudged(
        &mut self,
        updates: Vec<Update>,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
    ) {
        let step = with_updates(planned.step, updates);
        self.play_and_see_unjudged(&PlannedStep { step: &step, ..planned.clone() }, transition, |_| {});
    }

    /// The score of what was played so far.
    pub(in crate::planner) fn score_so_far(&self) -> Score {
        self.score_of(&self.runner, |_| true)
    }

    pub(in crate::planner) fn end(&mut self) {
        self.runner.end();
        self.meter.end();
        self.heeds_budgets = true;
        self.outlook = 0.0;
        self.judge();
    }

    fn judge(&mut self) {
        self.score = self.score_of(&self.runner, |_| true);
        let mut runner = self.runner.clone();
        runner.end();
        // That the last picture must be clean is said of the last one only.
        self.ended = self.score_of(&runner, |looks| looks != Looks::LastPicture);
        self.rules = runner.findings().map(|finding| (finding.rule, finding.severity)).collect();
    }

    fn score_of(&self, runner: &RuleRunner<'_>, counts: impl Fn(Looks) -> bool) -> Score {
        let mut score = Score { errors: self.over_budget(), cost: self.meter.cost().total() };
        let is_open = |finding: &&Finding| !is_accepted(finding, &self.plan.accept);
        for finding in runner.findings_of_those_that(counts).filter(is_open) {
            score.errors += u64::from(finding.severity == Severity::Error);
            score.cost += of_finding(finding.severity);
        }
        // Whoever chooses updates must not save by hiding a screen, were that only a warning to those who wrote the plan.
        let hidden = runner.findings_of_those_that(|looks| looks == Looks::Showing).filter(is_open);
        let hidden = hidden.filter(|finding| self.could_be_shown(finding));
        let hidden = hidden.map(|finding| finding.times - u64::from(finding.severity == Severity::Error));
        score.errors += hidden.sum::<u64>();
        score
    }

    /// Whether the panel has a mode that is quick enough to show a screen before the next one takes its place.
    fn could_be_shown(&self, finding: &Finding) -> bool {
        let quickest_ms = self.quickest_ms(self.plan.temperature_c);
        let replaced_after_ms = finding.figures.get(REPLACED_AFTER_MS).copied().unwrap_or(f64::INFINITY);
        quickest_ms.is_some_and(|quickest_ms| quickest_ms <= replaced_after_ms)
    }

    /// How long the quickest mode takes at a temperature (degrees C), ms.
    fn quickest_ms(&self, celsius: f64) -> Option<f64> {
        self.plan.display.modes.iter().map(|mode| mode.duration_at(celsius)).reduce(f64::min)
    }

    /// Whether the step after this one comes before any mode could show this one; where there is `time` for more courses, also
    /// whether it comes before this one must have been shown.
    pub(super) fn may_wait(&self, planned: &PlannedStep<'_>, time: bool) -> bool {
        let next = self.plan.step_at(planned.index + 1);
        let settle_ms = self.plan.limits.left_behind.settle_ms.value;
        let least_ms = if time { Some(settle_ms) } else { self.quickest_ms(planned.temperature_c) };
        next.zip(least_ms).is_some_and(|(next, least_ms)| next.after_ms < least_ms)
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

    /// By this paths are kept or given up.
    pub(super) fn rank(&self) -> Score {
        Score { errors: self.ended.errors, cost: self.ended.cost + self.outlook }
    }

    pub(super) fn judged(&self, updates: Vec<Update>) -> Way {
        let (cost, rules, rank) = (self.cost(), self.rules.clone(), self.rank());
        Way { updates, cost, rules, rank, outlook: self.outlook, is_played: true }
    }

    /// A way on from this path that is not played, as good as it can be at the best.
    pub(super) fn not_played(&self, updates: Vec<Update>, least: Cost) -> Way {
        let rank = self.hope(least);
        Way { updates, cost: self.cost() + least, rules: Vec::new(), rank, outlook: 0.0, is_played: false }
    }

    /// How good this path can be at the best after a step that costs so much at the least: scores only grow.
    pub(super) fn hope(&self, least: Cost) -> Score {
        Score { cost: self.score.cost + least.total(), ..self.score }
    }

    /// The same as it is likely to be: what the rules would already report now is not undone, and what brings the panel closer
    /// to its limit of updates stays unless something is cleaned.
    pub(super) fn likely(&self, updates: &[Update], least: Cost) -> Score {
        let cleans = updates.iter().any(|update| self.plan.display.modes[update.mode].cleans);
        let outlook = if cleans { 0.0 } else { self.outlook };
        Score { errors: self.score.errors, cost: self.ended.cost.max(self.score.cost) + outlook + least.total() }
    }

    fn cost(&self) -> Cost {
        self.meter.cost()
    }

    /// How many limits are kept only if the estimated figures that they rest on are right.
    pub(super) fn doubts(&self) -> usize {
        let margins = self.tally.margins(self.plan);
        let is_open = |margin: &&PlanMargin| margin.factor.is_some() && margin.holds() == Holds::Open;
        margins.named().iter().filter_map(|(_, margin)| margin.as_ref()).filter(is_open).count()
    }

    /// Whether two paths are one for all that counts: a window by name, and the same window by its box. Paths with
    /// something given go different ways later.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        self.given.is_empty()
            && other.given.is_empty()
            && (self.score, self.cost()) == (other.score, other.cost())
            && self.player.is_like(&other.player)
    }

    /// The paths into which this one parts at a step, by what is given for it.
    pub(super) fn parted(mut self, place: usize) -> Vec<(Option<Arc<Choice>>, Self)> {
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
        groups.into_iter().map(|(choice, given)| (choice, Self { given, ..self.fork() })).collect()
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

/// The same step with other updates. What it shows is known of the step as it is played: of a list of screens only that
/// there is one counts here.
fn with_updates(step: &Step, updates: Vec<Update>) -> Arc<Step> {
    let shows = match &step.shows {
        Shows::Same => Shows::Same,
        Shows::Screen(screen) => Shows::Screen(*screen),
        Shows::Each(_) => Shows::Each(Vec::new()),
    };
    Arc::new(step.with(shows, Updates::Listed(updates)))
}
