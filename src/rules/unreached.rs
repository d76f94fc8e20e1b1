//! Pixels that differ from memory because an update could not bring them to their level, and which update that was.
//!
//! Tells them apart from pixels that no update was sent for.

use std::{collections::BTreeMap, rc::Rc};

use crate::{change::Mask, panel::PlayedStep};

/// The pixels that are not at their level although an update was sent there.
#[derive(Clone, Debug, Default)]
pub(super) struct Unreached {
    pixels: Mask,
    /// The tiles that were ever left, rising, with the update that left pixels of theirs last. Shared by copies.
    left_by: Rc<Vec<(u32, LeftBy)>>,
}

/// An update that left pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct LeftBy {
    /// The number of its step.
    pub(super) step: u64,
    /// Which of that step's updates.
    pub(super) update: usize,
    /// The display's mode.
    pub(super) mode: usize,
}

impl Unreached {
    /// Sees what a step puts into memory: what changes there is not what an earlier update could not show.
    pub(super) fn see_memory(&mut self, step: &PlayedStep<'_>) {
        if !step.introduced.is_empty() && !self.pixels.is_empty() {
            self.pixels = self.pixels.without(step.introduced);
        }
    }

    /// Sees what the updates of a step did.
    pub(super) fn see_updates(&mut self, step: &PlayedStep<'_>) {
        for (index, update) in step.updates.iter().enumerate().filter(|(_, update)| !update.out_of_reach.is_empty()) {
            let left_by = LeftBy { step: step.planned.index, update: index, mode: update.mode };
            let newly = update.out_of_reach.without(&self.pixels);
            if !newly.is_empty() {
                self.pixels = self.pixels.or(&newly);
                self.note(&newly, left_by);
            }
        }
        let was_driven = step.updates.iter().any(|update| !update.sent.is_empty());
        if !self.pixels.is_empty() && (was_driven || !step.pen_line.is_empty()) {
            self.pixels = step.glass.unlike_memory_of(&self.pixels);
        }
    }

    /// Puts what an update left in front of what was left before: both lists rise, so that sorting only lays them together.
    /// What was left further away stays as it is.
    fn note(&mut self, newly: &Mask, left_by: LeftBy) {
        let (Some((first, _)), Some((last, _))) = (newly.tiles().first(), newly.tiles().last()) else { return };
        let all = Rc::make_mut(&mut self.left_by);
        let near = all.partition_point(|(tile, _)| tile < first)..all.partition_point(|(tile, _)| tile <= last);
        let newly = newly.tiles().iter().map(|(tile, _)| (*tile, left_by));
        let mut both: Vec<(u32, LeftBy)> = newly.chain(all[near.clone()].iter().copied()).collect();
        both.sort_by_key(|(tile, _)| *tile);
        both.dedup_by_key(|(tile, _)| *tile);
        all.splice(near, both);
    }

    /// The pixels.
    pub(super) fn pixels(&self) -> &Mask {
        &self.pixels
    }

    /// The update that left pixels of a tile last.
    pub(super) fn left_by(&self, tile: u32) -> Option<LeftBy> {
        let at = self.left_by.binary_search_by_key(&tile, |(tile, _)| *tile).ok()?;
        Some(self.left_by[at].1)
    }

    /// The update that left something in most tiles of a mask, of two alike the earlier.
    pub(super) fn mostly_left_by(&self, pixels: &Mask) -> Option<LeftBy> {
        let mut tiles: BTreeMap<LeftBy, u64> = BTreeMap::new();
        for left_by in pixels.tiles().iter().filter_map(|(tile, _)| self.left_by(*tile)) {
            *tiles.entry(left_by).or_default() += 1;
        }
        tiles.into_iter().rev().max_by_key(|(_, tiles)| *tiles).map(|(left_by, _)| left_by)
    }
}
