//! Cleanings that come regularly, every so many pages: a policy, and no flash that a page did not need.
//!
//! Knows how many pages lie between two cleanings. What is said of one that is no part of a rhythm is kept until the next
//! cleaning tells.

use crate::finding::{Observation, Where};

/// Follows the pages from one cleaning to the next.
#[derive(Clone, Debug, Default)]
pub(super) struct Rhythm {
    /// The pages since the last cleaning.
    pages: u64,
    /// The pages that the last cleaning came after.
    last: Option<u64>,
    held: Option<Held>,
}

/// What is said of a cleaning, unless the next one comes after as many pages.
#[derive(Clone, Debug)]
struct Held {
    pages: u64,
    said: Vec<(Where, Observation)>,
}

/// Cleanings that follow each other more closely are a flash at about every page, however regular. Common practice, no source.
const FEWEST_PAGES: u64 = 3;

impl Rhythm {
    /// A page comes.
    pub(super) fn page(&mut self) {
        self.pages += 1;
    }

    /// A cleaning comes, with the page that came last; `said` is what there is to say of it where it is no policy. Gives
    /// what is to be reported now.
    pub(super) fn cleaning(&mut self, said: Vec<(Where, Observation)>) -> Vec<(Where, Observation)> {
        let pages = std::mem::take(&mut self.pages);
        let mut now = self.held.take().filter(|held| held.pages != pages).map_or_else(Vec::new, |held| held.said);
        let is_as_before = self.last.replace(pages) == Some(pages);
        if pages < FEWEST_PAGES {
            now.extend(said);
        } else if !is_as_before && !said.is_empty() {
            self.held = Some(Held { pages, said });
        }
        now
    }

    /// No more cleaning comes: gives what is still to be reported.
    pub(super) fn end(&mut self) -> Vec<(Where, Observation)> {
        self.held.take().map_or_else(Vec::new, |held| held.said)
    }
}
