//! The steps of a plan that are to be chosen, and what is chosen for each.
//!
//! Knows places in the plan; how good a choice is, others say.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::candidates::{HowOften, candidates_of_all_turns};
use crate::{
    geometry::Rect,
    plan::{Plan, Step, Update, Updates},
};

/// Which steps of a plan are to be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Which {
    /// All of them.
    All,
    /// Those that are left to choose, and those at these pointers.
    LeftAnd(Vec<String>),
}

impl Which {
    /// Those that are left to choose, or all.
    pub fn left_or_all(all: bool) -> Self {
        if all { Self::All } else { Self::LeftAnd(Vec::new()) }
    }

    fn takes(&self, step: &Step) -> bool {
        match self {
            Self::All => true,
            Self::LeftAnd(pointers) => step.updates == Updates::Choose || pointers.contains(&step.pointer),
        }
    }
}

/// A plan's steps that are to be chosen, by their place in the file.
pub(super) struct Open {
    by_pointer: BTreeMap<String, (usize, HowOften)>,
    /// The steps as they are written.
    steps: Vec<Arc<Step>>,
    /// What may be asked at any turn of a step that is played often, by place.
    at_all_turns: Vec<Vec<Vec<Update>>>,
    /// What changes at any turn of such a step, or was left there, by place: left, top, width and height.
    places: Vec<BTreeSet<[u32; 4]>>,
}

impl Open {
    pub(super) fn of(plan: &Plan, which: &Which) -> Self {
        let mut times: BTreeMap<String, (u64, Arc<Step>)> = BTreeMap::new();
        for planned in plan.steps() {
            if which.takes(planned.step) {
                let entry = times.entry(planned.step.pointer.clone());
                entry.or_insert_with(|| (0, planned.step.clone())).0 += 1;
            }
        }
        let steps: Vec<Arc<Step>> = times.values().map(|(_, step)| step.clone()).collect();
        let played = |times: u64| if times == 1 { HowOften::Once } else { HowOften::Often };
        let by_pointer =
            times.into_iter().enumerate().map(|(at, (pointer, (times, _)))| (pointer, (at, played(times))));
        Self {
            by_pointer: by_pointer.collect(),
            at_all_turns: vec![Vec::new(); steps.len()],
            places: vec![BTreeSet::new(); steps.len()],
            steps,
        }
    }

    /// Adds what may be asked at one turn of a step.
    pub(super) fn add_turn(&mut self, place: usize, options: &[Vec<Update>], rects: &[Rect]) {
        self.places[place].extend(rects.iter().map(|rect| [rect.x, rect.y, rect.width, rect.height]));
        let known = &mut self.at_all_turns[place];
        for updates in options {
            if !known.contains(updates) {
                known.push(updates.clone());
            }
        }
    }

    /// Adds the windows that cover what any turn of a step changes.
    pub(super) fn add_windows(&mut self, plan: &Plan) {
        for (known, places) in self.at_all_turns.iter_mut().zip(&self.places) {
            let rects: Vec<Rect> = places
                .iter()
                .map(|[x, y, width, height]| Rect { x: *x, y: *y, width: *width, height: *height })
                .collect();
            for updates in candidates_of_all_turns(&rects, known, plan) {
                if !known.contains(&updates) {
                    known.push(updates);
                }
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

impl Choice {
    /// The same for a step at another place and with another number.
    #[must_use]
    pub fn at(self, pointer: String, step: u64) -> Self {
        Self { pointer, step, ..self }
    }
}

/// A choice for each open step, by place; `None` if it is still to be chosen.
pub(super) type Choices = Vec<Option<Arc<Choice>>>;
