//! `over-budget`: a figure of the summary above the plan's budget.

use super::{Outcome, Rule, Setup, agreed, causes::link_causes, wording};
use crate::{
    finding::{Asks, Figure, Finding, Margin, Observation, PlanMargins, Sink, Where, add_fingerprints, sort_findings},
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
}

impl<'p> OverBudget<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, flashes: Vec::new(), cleanings: Vec::new() }
    }

    /// Of the figures that are estimates; the others are counts, or follow from the plan's own times.
    fn margin(&self, name: &str, reached: f64, budget: f64, margins: &PlanMargins) -> Option<Margin> {
        let of = |figure| Margin::of(figure, reached, budget, &self.plan.display);
        match name {
            "driving_seconds" => of(Figure::Durations),
            "energy_mj" => of(Figure::Energy),
            "longest_answer_ms" => of(Figure::FirstVisible),
            "residue_l" | "worst_residue_l" => {
                let factor = margins.residue.and_then(|margin| margin.factor);
                Margin::new(Figure::Residue, reached, budget, factor)
            }
            _ => None,
        }
    }
}

impl Rule for OverBudget<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if self.plan.budgets.is_empty() {
            return;
        }
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
                margin: self.margin(name, *figure, *budget, &outcome.summary.margins),
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

/// As many steps, or runs of steps, are named.
const MOST_NAMED: usize = 8;

/// The steps of a plan that do something, in words: runs of them as one.
fn steps_words(steps: &[u64]) -> String {
    let mut runs: Vec<[u64; 2]> = Vec::new();
    for step in steps {
        match runs.last_mut() {
            Some([_, last]) if *step <= *last + 1 => *last = *step,
            _ => runs.push([*step, *step]),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .flat_map(|[first, last]| match last - first {
            0 => vec![first.to_string()],
            1 => vec![first.to_string(), last.to_string()],
            _ => vec![format!("{first} to {last}")],
        })
        .collect();
    let noun = if steps.len() == 1 { "step" } else { "steps" };
    format!("{noun} {}", wording::listed(&words, MOST_NAMED))
}

/// What the other findings make of a count of flashes or cleanings.
struct Balance {
    /// How many they ask for in addition.
    more: u64,
    /// How many they call needless, and at which steps.
    needless: u64,
    needless_at: Vec<u64>,
}

impl Balance {
    fn new(findings: &[Finding]) -> Self {
        let open = || findings.iter().filter(|finding| finding.is_open());
        let needless = || open().filter(|finding| matches!(finding.asks, Some(Asks::Quiet(_))));
        let begins = open().any(|finding| finding.rule == "unknown-start");
        // What follows from a cause goes with it.
        let mut linked = findings.to_vec();
        sort_findings(&mut linked);
        add_fingerprints(&mut linked);
        link_causes(&mut linked);
        Self {
            more: agreed::cleanings(&linked).len() as u64 + u64::from(begins),
            needless: needless().map(|finding| finding.times).sum(),
            needless_at: needless().flat_map(|finding| finding.step..=finding.last_step).collect(),
        }
    }
}

impl OverBudget<'_> {
    /// What brings a figure down, and to what it must be raised otherwise.
    fn help(&self, name: &str, figure: f64, budget: f64, outcome: &Outcome<'_>) -> String {
        let (kind, at) = match name {
            "flashing_updates" => ("flashes", &self.flashes),
            "cleanings" => ("cleanings", &self.cleanings),
            _ => return "reduce it in the plan, or raise the budget and explain why in the review".to_owned(),
        };
        let Balance { more, needless, needless_at } = Balance::new(outcome.findings);
        let needless_words = match needless {
            0 if outcome.ran("needless-flash") => "`needless-flash` calls none of them needless".to_owned(),
            0 => "`needless-flash` did not run and may call some of them needless".to_owned(),
            1 => format!("that at {} is needless, as `needless-flash` says", steps_words(&needless_at)),
            _ => format!("those at {} are needless, as `needless-flash` says", steps_words(&needless_at)),
        };
        let more_words = match more {
            0 => String::new(),
            1 => "; the help of another finding asks for one more".to_owned(),
            more => format!("; the helps of other findings ask for {more} more"),
        };
        let left = (figure as u64).saturating_sub(needless) + more;
        let raise = if left as f64 <= budget {
            let done = if more > 0 { "with all of that done" } else { "without them" };
            let is = if left == 1 { "is" } else { "are" };
            format!("{done} {left} {is} left, and the budget holds")
        } else {
            format!("leave out what nobody needs, or raise the budget to {left} and explain why in the review")
        };
        format!("the {kind} are at {}; {needless_words}{more_words}: {raise}", steps_words(at))
    }
}
