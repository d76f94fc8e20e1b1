//! The steps of a plan that are to be chosen, and what is chosen for each.
//!
//! Knows places in the plan; how good a choice is, others say.

use std::{collections::BTreeMap, sync::Arc};

use super::candidates::HowOften;
use crate::plan::{Plan, Step, Update, Updates};

/// A plan's steps that are to be chosen, by their place in the file.
pub(super) struct Open {
    by_pointer: BTreeMap<String, (usize, HowOften)>,
    /// The steps as they are written.
    steps: Vec<Arc<Step>>,
    /// What may be asked at any turn of a step that is played often, by place.
    at_all_turns: Vec<Vec<Vec<Update>>>,
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
        let steps: Vec<Arc<Step>> = times.values().map(|(_, step)| step.clone()).collect();
        let played = |times: u64| if times == 1 { HowOften::Once } else { HowOften::Often };
        let by_pointer =
            times.into_iter().enumerate().map(|(at, (pointer, (times, _)))| (pointer, (at, played(times))));
        Self { by_pointer: by_pointer.collect(), at_all_turns: vec![Vec::new(); steps.len()], steps }
    }

    /// Adds what may be asked at one turn of a step.
    pub(super) fn add_turn(&mut self, place: usize, options: &[Vec<Update>]) {
        let known = &mut self.at_all_turns[place];
        for updates in options {
            if !known.contains(updates) {
                known.push(updates.clone());
            }
        }
    }

    /// What may be asked at any turn of a step that is played often.
    pub(super) fn at_all_turns(&self, place: usize) -> &[Vec<Update>] {
        &self.at_all_turns[place]
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
        let often = self.by_pointer.values().filter(|(_, played)| *played == HowOften::Often);
        often.map(|(place, _)| *place).collect()
    }

    pub(super) fn get(&self, step: &Step) -> Option<(usize, HowOften)> {
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

/// A choice for each open step, by place; `None` if it is still to be chosen.
pub(super) type Choices = Vec<Option<Arc<Choice>>>;
