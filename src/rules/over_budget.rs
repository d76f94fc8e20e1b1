//! `over-budget`: a figure of the summary above the plan's budget.

use std::collections::BTreeMap;

use super::{Outcome, Rule, Setup, agreed, causes::link_causes, wording};
use crate::{
    finding::{
        Asks, Change, ChangeOf, Figure, Finding, Margin, Observation, ResidueModes, ResiduePeak, Sink, Where,
        add_fingerprints, sort_findings,
    },
    panel::PlayedStep,
    plan::Plan,
};

/// Compares the summary with the budgets.
#[derive(Clone)]
pub(super) struct OverBudget<'p> {
    plan: &'p Plan,
    /// The steps of the updates that flash, and of those that clean: one for each update.
    flashes: Vec<u64>,
    cleanings: Vec<u64>,
    /// How sure the largest figures of residue are, of the smallest area that counts and of any ghost.
    modes: ResidueModes,
    residue: ResiduePeak,
    worst_residue: ResiduePeak,
}

impl<'p> OverBudget<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            flashes: Vec::new(),
            cleanings: Vec::new(),
            modes: ResidueModes::default(),
            residue: ResiduePeak::default(),
            worst_residue: ResiduePeak::default(),
        }
    }

    /// Of the figures that are estimates; the others are counts, or follow from the plan's own times.
    fn margin(&self, name: &str, reached: f64, budget: f64) -> Option<Margin> {
        let of = |figure| Margin::of(figure, reached, budget, &self.plan.display);
        let of_residue = |peak: ResiduePeak| Margin::new(Figure::Residue, reached, budget, peak.factor);
        match name {
            "driving_seconds" => of(Figure::Durations),
            "energy_mj" => of(Figure::Energy),
            "longest_answer_ms" => of(Figure::FirstVisible),
            "residue_l" => of_residue(self.residue),
            "worst_residue_l" => of_residue(self.worst_residue),
            _ => None,
        }
    }
}

impl Rule for OverBudget<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if self.plan.budgets.is_empty() {
            return;
        }
        let display = &self.plan.display;
        self.modes.see(step, display);
        self.residue.see(step.residue_l, &self.modes, display);
        self.worst_residue.see(step.worst_residue_l(), &self.modes, display);
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let mode = &self.plan.display.modes[update.mode];
            self.flashes.extend((mode.flashes > 0).then_some(step.planned.index));
            self.cleanings.extend(mode.cleans.then_some(step.planned.index));
        }
    }

    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let figures = outcome.summary.figures();
        for (name, budget) in &self.plan.budgets {
            let Some(figure) = figures.get(name.as_str()).filter(|figure| *figure > budget) else { continue };
            let observation = Observation {
                message: message(name, *figure, *budget),
                help: self.help(name, *figure, *budget, outcome),
                figures: [("figure", *figure), ("budget", *budget)]
                    .into_iter()
                    .filter(|(_, value)| value.is_finite())
                    .collect(),
                margin: self.margin(name, *figure, *budget),
                ..Observation::default()
            };
            sink.report(Where::of_plan(format!("/budgets/{name}")), observation);
        }
    }
}

fn message(name: &str, figure: f64, budget: f64) -> String {
    // Only a figure of all walks through a flow has no end.
    if figure.is_infinite() {
        return format!("`{name}` grows without end on some walk, over the flow's budget of {budget}");
    }
    format!("`{name}` is {}, over the plan's budget of {budget}", figure_words(figure))
}

fn figure_words(figure: f64) -> String {
    if figure.fract() == 0.0 { format!("{figure:.0}") } else { wording::figure(figure) }
}

/// What the other findings make of a count of flashes or cleanings.
struct Balance {
    /// How many they ask for in addition, once each.
    more: u64,
    /// How many cleanings come to that, at least, if places are cleaned again and again before a ghost is seen.
    repeated: u64,
    /// How many they call needless, and at which steps.
    needless: u64,
    needless_at: Vec<u64>,
}

impl Balance {
    fn new(findings: &[Finding], plan: &Plan) -> Self {
        let open = || findings.iter().filter(|finding| finding.is_open());
        let needless = || open().filter(|finding| matches!(finding.asks, Some(Asks::Quiet(_))));
        let begins = open().any(|finding| finding.rule == "unknown-start");
        // What follows from a cause goes with it.
        let mut linked = findings.to_vec();
        sort_findings(&mut linked);
        add_fingerprints(&mut linked);
        link_causes(&mut linked);
        Self {
            more: agreed::cleanings(&linked).len() as u64 + u64::from(begins) + flashing_changes(&linked, plan),
            repeated: repeated_cleanings(&linked),
            needless: needless().map(|finding| finding.times).sum(),
            needless_at: needless().flat_map(|finding| finding.step..=finding.last_step).collect(),
        }
    }
}

/// How many causes begin with a correction that sends a mode that flashes, beside those that ask for a cleaning.
fn flashing_changes(findings: &[Finding], plan: &Plan) -> u64 {
    let flashes = |change: &Change| match change.what {
        ChangeOf::AddUpdate { mode, .. } | ChangeOf::Mode { mode, .. } => plan.display.modes[mode].flashes > 0,
        _ => false,
    };
    let causes = findings.iter().filter(|finding| finding.is_open() && finding.cause.is_none());
    let others = causes.filter(|finding| finding.asks.is_none() && finding.rule != "unknown-start");
    let first = others.filter_map(|finding| finding.corrections.first());
    first.filter(|correction| correction.changes.iter().any(flashes)).count() as u64
}

/// How many times places are to be cleaned, after the first time, so that nothing is seen before: an update of the place
/// comes with each step at most.
fn repeated_cleanings(findings: &[Finding]) -> u64 {
    let causes = findings.iter().filter(|finding| finding.is_open() && finding.cause.is_none());
    let mut of_place: BTreeMap<(&str, u64), u64> = BTreeMap::new();
    for finding in causes {
        let Some(Asks::Cleaning(cleaning)) = &finding.asks else { continue };
        let Some(prevention) = cleaning.prevention else { continue };
        let steps = finding.last_step.saturating_sub(prevention.latest_step);
        let times = of_place.entry((&cleaning.mode, cleaning.after_step)).or_default();
        *times = (*times).max(steps.div_ceil(prevention.updates.max(1)));
    }
    of_place.values().sum()
}

impl OverBudget<'_> {
    /// What brings a figure down, and to what it must be raised otherwise.
    fn help(&self, name: &str, figure: f64, budget: f64, outcome: &Outcome<'_>) -> String {
        let (kind, at) = match name {
            "flashing_updates" => (["flashing update", "flashing updates"], &self.flashes),
            "cleanings" => (["cleaning", "cleanings"], &self.cleanings),
            _ => return "reduce it in the plan, or raise the budget and write the reason into a comment".to_owned(),
        };
        let balance = Balance::new(outcome.findings, self.plan);
        let counted = wording::counted(figure as u64, kind[0], kind[1]);
        let judged = match balance.needless {
            0 if !outcome.ran("needless-flash") => {
                "; `needless-flash`, which did not run, may call some of them needless"
            }
            _ => "",
        };
        let is = if figure <= 1.0 { "is" } else { "are" };
        format!(
            "there {is} now {counted} ({}){judged}: {}",
            wording::steps(at),
            balance.advice(kind, figure as u64, budget)
        )
    }
}

impl Balance {
    /// What to do: first without what is needless, then with what other findings ask for in addition.
    fn advice(&self, noun: [&str; 2], figure: u64, budget: f64) -> String {
        let without = figure.saturating_sub(self.needless);
        let more = without + self.more;
        let all = more + self.repeated;
        let raise = |to: String| format!("raise the budget to {to} and write the reason into a comment");
        let first = self.needless_words(noun, without, budget);
        if self.more + self.repeated == 0 {
            return match first {
                Some(first) if without as f64 <= budget => first,
                Some(first) => {
                    format!("{first}; leave out others that nobody needs, or {}", raise(without.to_string()))
                }
                None => format!("leave out those that nobody needs, or {}", raise(without.to_string())),
            };
        }
        let counted = match (self.more, self.repeated) {
            (more, 0) => format!("Following the help of other findings adds {more}"),
            (0, repeated) => format!("Cleaning before ghosts are seen adds about {repeated}"),
            (more, repeated) => format!(
                "Following the help of other findings adds {more}, and cleaning before ghosts are seen adds about {repeated}"
            ),
        };
        let sum = match all as f64 <= budget {
            true => format!("{counted}: with these there are {all}, and the budget holds"),
            false if self.repeated == 0 => format!("{counted}: if you follow it, {}", raise(all.to_string())),
            false if more as f64 <= budget => format!(
                "{counted}: if you accept the ghosts, there are {more}, and the budget holds; otherwise {}",
                raise(format!("about {all}"))
            ),
            false => format!(
                "{counted}. If you do both, {}; if you accept the ghosts, raise it to {more}",
                raise(format!("about {all}"))
            ),
        };
        let first = first.unwrap_or_else(|| "leave out those that nobody needs".to_owned());
        format!("{first}. {sum}")
    }

    /// That those which are needless come first, in words.
    fn needless_words(&self, [one, several]: [&str; 2], left: u64, budget: f64) -> Option<String> {
        let these = match self.needless {
            0 => return None,
            1 => format!("1 {one} is needless"),
            needless => format!("{needless} {several} are needless"),
        };
        let are_left = if left == 1 { "1 is left".to_owned() } else { format!("{left} are left") };
        let holds = if left as f64 <= budget { ", and the budget holds" } else { "" };
        Some(format!(
            "{these}: correct {}, see `needless-flash`; then {are_left}{holds}",
            wording::steps(&self.needless_at)
        ))
    }
}
