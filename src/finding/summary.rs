//! The figures of a whole plan.

use std::collections::BTreeMap;

use super::{Finding, Holds, PlanMargin, PlanMargins, ProvedFigures, ResidueModes, ResiduePeak, Severity};
use crate::{
    display::Certainty,
    panel::{AnswerPeak, PlayedStep},
    plan::{LimitValue, Origin, Plan, RuleLimits},
};

/// The figures of a plan.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Summary {
    /// Findings by severity that were not accepted: errors.
    pub error: u64,
    /// Warnings.
    pub warning: u64,
    /// Notes.
    pub note: u64,
    /// Findings that somebody decided to live with.
    pub accepted: u64,
    /// From the first request to the last finish or request, s.
    pub seconds: f64,
    /// Updates that cleaned something.
    pub cleanings: u64,
    /// Updates that flashed.
    pub flashing_updates: u64,
    /// How long the panel was driven, s.
    pub driving_seconds: f64,
    /// Energy of all updates, mJ.
    pub energy_mj: f64,
    /// The strongest ghost at the end of any step, L*.
    pub worst_residue_l: f64,
    /// How far the pixels of the smallest area that counts are off at least, at the worst step, below the limit too, L*.
    pub residue_l: f64,
    /// The most updates since cleaning of any pixel.
    pub most_since_cleaning: u32,
    /// The longest time from a touch, key or pen to the first visible change of what its own step sends, ms.
    pub longest_answer_ms: f64,
    /// The same of what commits a line that the controller drew under the pen, ms.
    pub longest_commit_ms: f64,
    /// The mean power over the plan's length, mW, and with it the days per charge; where the figures for it are given.
    pub power: Option<Power>,
    /// The factors by which those figures may be off: of residue that of its margin, otherwise the display's.
    pub certainty: Certainty,
    /// How close the plan came to the limits that rest on estimated figures.
    pub margins: PlanMargins,
    /// Of a trace that is held against a plan: how many steps were done as planned, and how many the plan has.
    pub as_planned: Option<[u64; 2]>,
    /// Of a flow: the figures that hold for every walk.
    pub proved: Option<ProvedFigures>,
    /// What was not checked, and why.
    pub not_checked: Vec<String>,
}

impl Summary {
    /// The figures that a budget may name.
    pub fn figures(&self) -> BTreeMap<&'static str, f64> {
        let mut figures = BTreeMap::from([
            ("accepted", self.accepted as f64),
            ("cleanings", self.cleanings as f64),
            ("driving_seconds", self.driving_seconds),
            ("energy_mj", self.energy_mj),
            ("error", self.error as f64),
            ("flashing_updates", self.flashing_updates as f64),
            ("longest_answer_ms", self.longest_answer_ms),
            ("most_since_cleaning", f64::from(self.most_since_cleaning)),
            ("note", self.note as f64),
            ("residue_l", self.residue_l),
            ("seconds", self.seconds),
            ("warning", self.warning as f64),
            ("worst_residue_l", self.worst_residue_l),
        ]);
        // What holds for every walk stands for what some walks showed.
        figures.extend(self.proved.iter().flat_map(ProvedFigures::figures));
        figures
    }

    /// Counts the findings.
    pub fn count(&mut self, findings: &[Finding]) {
        (self.error, self.warning, self.note, self.accepted) = (0, 0, 0, 0);
        for finding in findings {
            match (&finding.accepted, finding.severity) {
                (Some(_), _) => self.accepted += 1,
                (None, Severity::Error) => self.error += 1,
                (None, Severity::Warning) => self.warning += 1,
                (None, Severity::Note) => self.note += 1,
            }
        }
    }
}

/// How much power a plan takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Power {
    /// Mean power over the plan's length, standby included, mW.
    pub mean_mw: f64,
    /// Days per charge of the plan's battery.
    pub days: Option<f64>,
}

/// Adds up the figures of a plan step by step.
#[derive(Clone, Debug, Default)]
pub struct SummaryTally {
    summary: Summary,
    /// When the last update so far ends or was asked for, ms since the plan began.
    ends_ms: f64,
    driven: DrivenTime,
    /// The longest time to an answer as `slow-answer` judges it, without those that the pen gets from the controller.
    answers: AnswerPeak,
    modes: ResidueModes,
    residue: ResiduePeak,
}

/// For how long some update was driven. Updates may begin in another order than they were asked for.
#[derive(Clone, Debug, Default)]
struct DrivenTime {
    /// How much of that is over, ms, and when.
    over_ms: f64,
    over_at_ms: f64,
    /// Times without a pause from one update to the next, begin and end, ms: in order and apart.
    open: Vec<(f64, f64)>,
}

impl DrivenTime {
    /// What ends before a time is over: nothing begins before it any more.
    fn until(&mut self, now_ms: f64) {
        let is_over = |(_, end_ms): &&(f64, f64)| *end_ms <= now_ms;
        let count = self.open.iter().take_while(is_over).count();
        for (begin_ms, end_ms) in self.open.drain(..count) {
            self.over_ms += end_ms - begin_ms;
            self.over_at_ms = end_ms;
        }
    }

    fn add(&mut self, begin_ms: f64, end_ms: f64) {
        let (mut begin_ms, mut end_ms) = (begin_ms.max(self.over_at_ms), end_ms);
        if end_ms <= begin_ms {
            return;
        }
        let from = self.open.partition_point(|(_, end)| *end < begin_ms);
        let to = self.open.partition_point(|(begin, _)| *begin <= end_ms);
        for (begin, end) in &self.open[from..to] {
            (begin_ms, end_ms) = (begin_ms.min(*begin), end_ms.max(*end));
        }
        self.open.splice(from..to, [(begin_ms, end_ms)]);
    }

    fn ms(&self) -> f64 {
        self.over_ms + self.open.iter().map(|(begin_ms, end_ms)| end_ms - begin_ms).sum::<f64>()
    }
}

impl SummaryTally {
    /// Adds a step.
    pub fn step(&mut self, step: &PlayedStep<'_>, plan: &Plan) {
        self.ends_ms = self.ends_ms.max(step.updates_request_ms());
        self.driven.until(step.updates_request_ms());
        let summary = &mut self.summary;
        summary.worst_residue_l = summary.worst_residue_l.max(step.worst_residue_l());
        summary.residue_l = summary.residue_l.max(step.residue_l);
        self.modes.see(step, &plan.display);
        self.residue.see(step.residue_l, &self.modes, &plan.display);
        summary.most_since_cleaning = summary.most_since_cleaning.max(step.glass.most_since_cleaning());
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            let mode = &plan.display.modes[update.mode];
            summary.cleanings += u64::from(mode.cleans);
            summary.flashing_updates += u64::from(mode.flashes > 0);
            summary.energy_mj += update.energy_mj;
            self.ends_ms = self.ends_ms.max(update.times.finish_ms);
            self.driven.add(update.times.start_ms, update.times.finish_ms);
        }
        self.answers.step(step, plan);
        if let Some(first_ms) = step.first_visible_ms().filter(|_| step.planned.step.cause.is_person()) {
            let answer_ms = first_ms - step.awaited_since_ms();
            summary.longest_answer_ms = summary.longest_answer_ms.max(answer_ms);
            if !step.planned.step.strokes.is_empty() {
                summary.longest_commit_ms = summary.longest_commit_ms.max(answer_ms);
            }
        }
    }

    /// The figures so far.
    pub fn so_far(&self) -> Summary {
        Summary { seconds: self.ends_ms / 1000.0, driving_seconds: self.driven.ms() / 1000.0, ..self.summary.clone() }
    }

    /// The figures, with what was not checked for want of figures in the description.
    pub fn finish(mut self, plan: &Plan) -> Summary {
        self.summary.seconds = self.ends_ms / 1000.0;
        self.summary.driving_seconds = self.driven.ms() / 1000.0;
        self.summary.not_checked = not_checked(plan);
        self.summary.margins = self.margins(plan);
        let residue = self.summary.margins.residue.and_then(|margin| margin.factor);
        self.summary.certainty = Certainty { residue, ..plan.display.certainty };
        self.summary.power = power(&self.summary, plan);
        self.summary
    }

    /// Those that follow from the figures; of flashes nothing is known here.
    pub(crate) fn margins(&self, plan: &Plan) -> PlanMargins {
        let (limits, certainty) = (&plan.limits, &plan.display.certainty);
        let answer =
            |reached| PlanMargin { reached, limit: limits.slow_answer.first_ms, factor: certainty.first_visible };
        let energy = |budget: &f64| PlanMargin {
            reached: self.summary.energy_mj,
            limit: LimitValue { value: *budget, origin: Origin::Plan },
            factor: certainty.energy,
        };
        PlanMargins {
            residue: Some(self.residue_margin(plan)),
            answers: self.answers.reached().map(answer),
            flashes: None,
            energy: plan.budgets.get("energy_mj").map(energy),
        }
    }

    /// That of residue. That a limit is broken is as sure as the figure that breaks it; that it is kept must hold after the
    /// least certain mode of the plan, too.
    fn residue_margin(&self, plan: &Plan) -> PlanMargin {
        let limit = plan.limits.visible_ghost.limit_l;
        let ResiduePeak { reached_l, factor } = self.residue;
        let reached = PlanMargin { reached: reached_l, limit, factor };
        match reached.holds() {
            Holds::Broken => reached,
            Holds::Open | Holds::Kept => PlanMargin { factor: self.modes.factor(&plan.display), ..reached },
        }
    }
}

/// Energy is power times time: 1 mWh is 3600 mJ, 1 mW for a second is 1 mJ.
fn power(summary: &Summary, plan: &Plan) -> Option<Power> {
    let standby_mw = plan.display.standby_mw.filter(|_| summary.seconds > 0.0)?;
    let mean_mw = standby_mw + summary.energy_mj / summary.seconds;
    let days = plan.battery_mwh.filter(|_| mean_mw > 0.0).map(|battery| battery / mean_mw / 24.0);
    Some(Power { mean_mw, days })
}

fn not_checked(plan: &Plan) -> Vec<String> {
    let display = &plan.display;
    let mut texts = Vec::new();
    if plan.limits.too_many_since_cleaning.updates.is_none() {
        texts.push(format!(
            "updates since cleaning, because the display `{}` gives no `updates_before_cleaning`",
            display.name
        ));
    }
    texts.extend(limits_not_given(plan));
    if display.temperature_c.is_none() {
        texts.push(format!(
            "the panel's temperature range, because the display `{}` gives no `temperature_c`",
            display.name
        ));
    }
    let modes = |wanted: &dyn Fn(&crate::display::Mode) -> bool| {
        let names: Vec<String> =
            display.modes.iter().filter(|mode| wanted(mode)).map(|mode| format!("`{}`", mode.name)).collect();
        (!names.is_empty()).then(|| names.join(", "))
    };
    if let Some(names) = modes(&|mode| !mode.residue_given) {
        texts.push(format!("residue of {names}: no `residue` is given, so the model takes it as 0"));
    }
    if let Some(names) = modes(&|mode| mode.energy.is_none()) {
        texts.push(format!("energy of {names}: no `energy_mj` is given, so the model takes it as 0"));
    }
    if let (true, Some(names)) =
        (plan.limits.charge_builds_up.net_impulse_vs.is_some(), modes(&|mode| mode.impulse.is_none()))
    {
        texts.push(format!("net impulse of {names}: no `impulse_vs` is given, so the model takes it as 0"));
    }
    texts
}

/// A limit that only the panel's maker can give: what is not checked without it, the display's field, and the limit.
type MakersLimit = (&'static str, &'static str, fn(&RuleLimits) -> Option<LimitValue>);

const MAKERS_LIMITS: [MakersLimit; 3] = [
    ("time between cleanings", "hours_between_cleanings", |limits| limits.cleaning_overdue.hours),
    ("time between updates", "ms_between_updates", |limits| limits.too_soon.ms),
    ("net impulse", "net_impulse_vs", |limits| limits.charge_builds_up.net_impulse_vs),
];

/// The limits that neither the display nor the plan gives, in one line.
fn limits_not_given(plan: &Plan) -> Option<String> {
    let missing: Vec<MakersLimit> =
        MAKERS_LIMITS.into_iter().filter(|(_, _, limit)| limit(&plan.limits).is_none()).collect();
    let names: Vec<String> = missing.iter().map(|(what, field, _)| format!("{what} (`{field}`)")).collect();
    let display = &plan.display.name;
    let these = if missing.len() == 1 { "this limit" } else { "these limits" };
    (!missing.is_empty())
        .then(|| format!("{}, because the display `{display}` does not give {these}", names.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::BUDGET_FIGURES;

    #[test]
    #[expect(clippy::float_cmp, reason = "whole numbers are exact")]
    fn what_is_driven_at_one_time_counts_once_in_whatever_order_it_comes() {
        let of = |times: &[(f64, f64)]| {
            let mut driven = DrivenTime::default();
            for (begin_ms, end_ms) in times {
                driven.add(*begin_ms, *end_ms);
            }
            driven.ms()
        };
        // One update waits for ink, and another one that is asked for later begins before it.
        assert_eq!(of(&[(2020.0, 2320.0), (20.0, 320.0)]), 600.0);
        assert_eq!(of(&[(0.0, 100.0), (200.0, 300.0), (50.0, 250.0), (260.0, 280.0), (300.0, 310.0)]), 310.0);
        let mut driven = DrivenTime::default();
        driven.add(0.0, 100.0);
        driven.add(50.0, 400.0);
        driven.until(500.0);
        driven.add(500.0, 600.0);
        driven.until(550.0);
        assert_eq!(driven.ms(), 500.0);
    }

    #[test]
    fn every_figure_of_the_summary_that_a_budget_may_name_can_be_named_in_a_plan() {
        let figures = Summary::default().figures();
        assert_eq!(figures.keys().copied().collect::<Vec<_>>(), BUDGET_FIGURES);
    }
}
