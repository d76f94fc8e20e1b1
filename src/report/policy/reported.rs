//! What is reported of a rule: the rule with what its readers want to know beside it, and figures.

use crate::{
    display::Certainty,
    plan::{Plan, ScreenId},
    planner::FoundPolicy,
};

/// A rule with what its readers want to know beside it.
#[derive(Clone, Copy)]
pub struct PolicyReport<'r> {
    /// The plan that it was found for, as people know it.
    pub name: &'r str,
    /// That plan.
    pub plan: &'r Plan,
    /// The rule.
    pub found: &'r FoundPolicy,
    /// The factors by which the figures of any of the three may be off.
    pub certainty: Certainty,
    /// What a screen is called in the plan's folder.
    pub screen_name: &'r dyn Fn(ScreenId) -> String,
}

impl PolicyReport<'_> {
    /// The name of a mode.
    pub(super) fn mode_name(&self, mode: usize) -> &str {
        &self.plan.display.modes[mode].name
    }
}

/// A figure of the plan as it was, with the free choice, and with the rule.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparedFigure {
    /// What it is, for people.
    pub name: &'static str,
    /// Its name in files.
    pub key: &'static str,
    /// Digits after the point, for people.
    pub digits: usize,
    /// The values, in that order.
    pub values: [f64; 3],
}
