//! What a rule sees in a change from one screen to another, kept for the next time that the same change comes.

use std::{cell::RefCell, collections::HashMap, rc::Rc};

use crate::{finding::Observation, panel::PlayedStep, plan::ScreenId};

/// As many changes are kept; a plan with more hardly repeats itself.
const MOST: usize = 4096;

/// The screens before and after a change; nothing before the first one.
type Turn = (Option<ScreenId>, ScreenId);

/// The sights of changes that were seen. Clones share them: what is seen in a change rests on its two pictures alone.
#[derive(Debug, Default, Clone)]
pub(super) struct TransitionCache {
    seen: Rc<RefCell<HashMap<Turn, Option<Observation>>>>,
}

impl TransitionCache {
    /// What is seen in the change that a step brings to memory; `look` may use nothing else of the step.
    pub(super) fn observation(
        &self,
        step: &PlayedStep<'_>,
        look: impl FnOnce() -> Option<Observation>,
    ) -> Option<Observation> {
        let screen = step.planned.screen.filter(|_| !step.introduced.is_empty())?;
        let turn = (step.previous_screen, screen);
        if let Some(seen) = self.seen.borrow().get(&turn) {
            return seen.clone();
        }
        let observation = look();
        let mut seen = self.seen.borrow_mut();
        if seen.len() < MOST {
            seen.insert(turn, observation.clone());
        }
        observation
    }
}
