//! Which of its updates answers a person who asks for a move, on every walk: the one by which enough of the change is seen.
//!
//! As in plans (`slow-answer`), a change is answered once 1 mm2 of it is seen, or all of it where it is smaller.

use std::collections::HashMap;

use super::{behaviour::Parts, cells::Cell};
use crate::{display::Display, panel::least_answer_px, side_by_side::in_order};

/// What answers a move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Answered {
    /// There is nothing to answer: no pixel changes, and none was wrong before.
    Nothing,
    /// Enough is seen at the latest when this drive, and all before it, show something.
    By(u32),
    /// On some walk too little of the change may be seen.
    Unsure,
}

/// The pixels that surely look otherwise after a drive, whatever the walk.
#[derive(Debug, Default)]
pub(super) struct SurelySeen {
    /// By cell, its pixels that always show what is in memory before a move.
    right_px: HashMap<u32, u64>,
    /// By kind of edge and drive, the pixels of all others that change there or before.
    px: HashMap<(u32, u32), u64>,
    /// Whether any pixel may show something else than what is in memory.
    may_be_wrong: bool,
}

impl SurelySeen {
    /// Adds pixels of a cell that always show what is in memory.
    pub(super) fn add_right(&mut self, cell: u32, pixels: u64) {
        *self.right_px.entry(cell).or_default() += pixels;
    }

    /// Takes note that some pixels may show something else than what is in memory.
    pub(super) fn note_wrong(&mut self) {
        self.may_be_wrong = true;
    }

    /// Adds pixels that look otherwise after a drive of a kind of edge.
    pub(super) fn add(&mut self, kind: u32, drive: u32, pixels: u64) {
        *self.px.entry((kind, drive)).or_default() += pixels;
    }

    /// Takes in what another part of the work found.
    pub(super) fn join(&mut self, other: Self) {
        other.right_px.into_iter().for_each(|(cell, pixels)| self.add_right(cell, pixels));
        self.may_be_wrong |= other.may_be_wrong;
        other.px.into_iter().for_each(|((kind, drive), pixels)| self.add(kind, drive, pixels));
    }

    /// What answers each kind of edge, by its number among those that may lose something.
    pub(super) fn answered(&self, parts: Parts<'_>, display: &Display, threads: usize) -> Vec<Answered> {
        let right: Vec<(&Cell, u64)> =
            self.right_px.iter().map(|(cell, pixels)| (&parts.cells[*cell as usize], *pixels)).collect();
        let numbers: Vec<usize> = (0..parts.losing.len()).collect();
        in_order(&numbers, threads, &|number| self.of_kind(parts, *number, &right, display))
    }

    fn of_kind(&self, parts: Parts<'_>, number: usize, right: &[(&Cell, u64)], display: &Display) -> Answered {
        let (kind, may_be_lost) = parts.losing[number];
        let kind = &parts.kinds.list[kind as usize];
        let changes = |cell: &&Cell| cell.levels[kind.before] != cell.levels[kind.after];
        let all_px: u64 = parts.cells.iter().filter(changes).map(|cell| cell.pixels).sum();
        if all_px == 0 {
            // A move that changes nothing may still show what was left before.
            return if self.may_be_wrong { Answered::Unsure } else { Answered::Nothing };
        }
        if may_be_lost != 0 {
            return Answered::Unsure;
        }
        let mut seen_px = vec![0; kind.drives.len()];
        for (cell, pixels) in right.iter().filter(|(cell, _)| changes(cell)) {
            let (level, after) = (cell.levels[kind.before], cell.levels[kind.after]);
            let drives = kind.drives.iter().enumerate().filter(|(_, drive)| cell.is_inside(drive.region));
            let mut ends = drives.map(|(at, drive)| (at, parts.kinds.ways[drive.way].aim(level, after).end));
            if let Some((at, _)) = ends.find(|(_, end)| end.is_some_and(|end| end != level)) {
                seen_px[at] += pixels;
            }
        }
        let enough_px = least_answer_px(all_px, display);
        let mut together_px = 0;
        for (drive, px) in seen_px.into_iter().enumerate() {
            together_px += px + self.px.get(&(number as u32, drive as u32)).copied().unwrap_or(0);
            if together_px >= enough_px {
                return Answered::By(drive as u32);
            }
        }
        Answered::Unsure
    }
}
