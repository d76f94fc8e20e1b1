//! Texts with one trouble in common, followed from the first screen that holds them to the last step that shows them.
//!
//! Every distinct screen is looked at once.

use std::collections::BTreeMap;

use crate::{
    finding::{StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::ScreenId,
    screen::DrawnText,
};

/// As many characters of a text are quoted.
const QUOTED: usize = 32;

/// Groups of texts, by what their trouble is.
#[derive(Clone, Debug)]
pub(super) struct Followed<K> {
    groups: BTreeMap<K, Group>,
    /// The groups of each screen that was looked at.
    of_screen: BTreeMap<ScreenId, Vec<K>>,
    now: Option<ScreenId>,
}

/// Texts with one trouble.
#[derive(Clone, Debug)]
pub(super) struct Group {
    /// Where they were seen.
    pub(super) place: Where,
    /// The box around those of the first screen.
    pub(super) rect: Rect,
    /// How many the first screen has.
    pub(super) count: u64,
    /// What the first one says.
    quote: String,
}

impl Group {
    /// The texts in words, the first one quoted.
    pub(super) fn words(&self) -> String {
        match self.count {
            1 => format!("the text `{}`", self.quote),
            2 => format!("the text `{}` and one more", self.quote),
            _ => format!("the text `{}` and {} more", self.quote, self.count - 1),
        }
    }
}

impl<K: Ord + Clone> Followed<K> {
    pub(super) fn new() -> Self {
        Self { groups: BTreeMap::new(), of_screen: BTreeMap::new(), now: None }
    }

    /// Sees a step; `trouble` says what is wrong with a text.
    pub(super) fn step(&mut self, step: &PlayedStep<'_>, trouble: impl Fn(&DrawnText) -> Option<K>) {
        if let Some(screen) = step.planned.screen {
            self.now = Some(screen);
            if !self.of_screen.contains_key(&screen) {
                let found = self.look(step, trouble);
                self.of_screen.insert(screen, found);
            }
        }
        let Some(keys) = self.now.and_then(|screen| self.of_screen.get(&screen)) else { return };
        for key in keys {
            if let Some(group) = self.groups.get_mut(key) {
                group.place.last_step = step.planned.index;
            }
        }
    }

    /// Adds the texts of a screen that has not been looked at; gives their groups.
    fn look(&mut self, step: &PlayedStep<'_>, trouble: impl Fn(&DrawnText) -> Option<K>) -> Vec<K> {
        let mut found: BTreeMap<K, Group> = BTreeMap::new();
        for text in &step.memory.texts {
            let Some(key) = trouble(text) else { continue };
            let group = found.entry(key).or_insert_with(|| Group {
                place: Where::of(step, StepField::Screen),
                rect: text.rect,
                count: 0,
                quote: quote(&text.text),
            });
            group.rect = group.rect.around(text.rect);
            group.count += 1;
        }
        let keys = found.keys().cloned().collect();
        for (key, group) in found {
            self.groups.entry(key).or_insert(group);
        }
        keys
    }

    /// The groups, to be reported.
    pub(super) fn take(&mut self) -> BTreeMap<K, Group> {
        std::mem::take(&mut self.groups)
    }
}

/// The beginning of a text, without what would break a line.
pub(super) fn quote(text: &str) -> String {
    let text = text.trim();
    let mut short: String =
        text.chars().take(QUOTED).map(|character| if character.is_control() { ' ' } else { character }).collect();
    if text.chars().count() > QUOTED {
        short.push('…');
    }
    short
}
