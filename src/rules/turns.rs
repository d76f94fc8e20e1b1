//! What a rule sees in a change from one screen to another, kept for the next time that the same change comes.

use std::collections::HashMap;

use crate::{finding::Sight, panel::PlayedStep, plan::ScreenId};

/// As many changes are kept; a plan with more hardly repeats itself.
const MOST: usize = 4096;

/// The sights of changes that were seen, by the screens before and after.
#[derive(Debug, Default, Clone)]
pub(super) struct Turns {
    seen: HashMap<(Option<ScreenId>, ScreenId), Option<Sight>>,
}

impl Turns {
    /// What is seen in the change that a step brings to memory; `look` may use nothing else of the step.
    pub(super) fn sight(&mut self, step: &PlayedStep<'_>, look: impl FnOnce() -> Option<Sight>) -> Option<Sight> {
        let screen = step.planned.screen.filter(|_| !step.introduced.is_empty())?;
        let turn = (step.previous_screen, screen);
        if let Some(seen) = self.seen.get(&turn) {
            return seen.clone();
        }
        let sight = look();
        if self.seen.len() < MOST {
            self.seen.insert(turn, sight.clone());
        }
        sight
    }
}
