//! `over-budget`: a figure of the summary above the plan's budget.

use super::{Outcome, Rule, Setup, wording};
use crate::{
    finding::{Figure, Margin, Observation, PlanMargins, Sink, Where},
    plan::Plan,
};

/// Compares the summary with the budgets.
#[derive(Clone)]
pub(super) struct OverBudget<'p> {
    plan: &'p Plan,
}

impl<'p> OverBudget<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
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
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let figures = outcome.summary.figures();
        for (name, budget) in &self.plan.budgets {
            let Some(figure) = figures.get(name.as_str()).filter(|figure| *figure > budget) else { continue };
            let observation = Observation {
                message: message(name, *figure, *budget),
                help: help(name).into(),
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

/// What brings a figure down.
fn help(figure: &str) -> &'static str {
    match figure {
        "flashing_updates" => {
            "use modes without a flash (`needless-flash` names the steps where that is enough) and clean in fewer \
             pauses; or raise the budget and explain why in the review"
        }
        "cleanings" => "clean in fewer pauses; or raise the budget and explain why in the review",
        _ => "reduce it in the plan, or raise the budget and explain why in the review",
    }
}
