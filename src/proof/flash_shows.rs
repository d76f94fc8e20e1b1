//! What an edge shows a pixel of one cell: flashes of modes, and swings of the content.
//!
//! Knows levels, no times.

use std::collections::HashMap;

use super::{
    behaviour::Quick,
    cells::Cell,
    kinds::{Kind, Kinds, subsets},
};
use crate::{
    display::{Display, Level},
    panel::{FlashKind, SwingKinds, is_general_swing, moments_of},
};

/// What an update does before a viewer's eye.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sight {
    /// Nothing, but the pixel's next update waits for it.
    Nothing,
    /// The flashes of its mode.
    Flashes,
    /// Half a flash, one of the two ways.
    Swing(u8),
}

/// One of the ways in which an edge may treat a cell that shows a level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Outcome {
    /// The level on the glass afterwards.
    pub(super) to: Level,
    /// By the number of the drive.
    pub(super) seen: Vec<(u8, Sight)>,
}

/// The flashes of one kind, as modes and contents make them.
#[derive(Debug)]
pub(super) struct Flashing {
    kind: FlashKind,
    swings: SwingKinds,
    modes_flash: bool,
    /// By kind of edge and drive: when its flashes are, or its swing is, ms from its start on.
    moments_ms: Vec<Vec<Vec<f64>>>,
    /// By kind of edge and drive: whether its mode flashes by itself.
    flashes: Vec<Vec<bool>>,
    /// Whether all drives stand in each other's way, also those elsewhere.
    is_one_by_one: bool,
}

impl Flashing {
    pub(super) fn new(display: &Display, kinds: &Kinds, kind: FlashKind, is_one_by_one: bool) -> Self {
        let ink = &display.ink;
        let modes_flash = match kind {
            FlashKind::General => {
                is_general_swing(ink.relative_luminance(ink.black()), ink.relative_luminance(ink.white()))
            }
            FlashKind::Red => true,
        };
        let sending = |kind: &Kind| kind.updates.iter().filter(|update| update.region.is_some()).copied().collect();
        let sending: Vec<Vec<_>> = kinds.list.iter().map(sending).collect();
        let moments = |updates: &Vec<super::kinds::KindUpdate>| {
            updates.iter().map(|one| moments_of(&display.modes[one.mode], 0.0, one.duration_ms)).collect()
        };
        let flashes = |updates: &Vec<super::kinds::KindUpdate>| {
            updates.iter().map(|one| display.modes[one.mode].flashes > 0).collect()
        };
        Self {
            kind,
            swings: SwingKinds::new(ink),
            modes_flash,
            moments_ms: sending.iter().map(moments).collect(),
            flashes: sending.iter().map(flashes).collect(),
            is_one_by_one,
        }
    }

    /// When the flashes of a drive are, or its swing is, ms from its start on.
    pub(super) fn moments_ms(&self, kind: usize, drive: u8) -> &[f64] {
        &self.moments_ms[kind][usize::from(drive)]
    }

    /// What the drives of an edge that are not lost show a pixel of a cell.
    fn outcome(&self, kinds: &Kinds, number: usize, lost: u32, cell: &Cell, level: Level) -> Outcome {
        let kind = &kinds.list[number];
        let target = cell.levels[kind.after];
        let mut outcome = Outcome { to: level, seen: Vec::new() };
        for (at, drive) in kind.drives.iter().enumerate().filter(|(at, _)| lost >> at & 1 == 0) {
            if cell.is_inside(drive.region) {
                let before = outcome.to;
                outcome.to = kinds.ways[drive.way].aim(before, target).end.unwrap_or(before);
                let sight = if self.flashes[number][at] {
                    self.flash(before, outcome.to)
                } else {
                    self.swing(before, outcome.to)
                };
                outcome.seen.push((at as u8, sight));
            } else if self.is_one_by_one {
                outcome.seen.push((at as u8, Sight::Nothing));
            }
        }
        outcome
    }

    fn flash(&self, before: Level, after: Level) -> Sight {
        let reds = self.swings.reds();
        let is_seen = match self.kind {
            FlashKind::General => self.modes_flash,
            FlashKind::Red => reds.contains(before) || reds.contains(after),
        };
        if is_seen { Sight::Flashes } else { Sight::Nothing }
    }

    fn swing(&self, before: Level, after: Level) -> Sight {
        let turns = self.swings.turns(before, after);
        let way = self.kind.both_ways().into_iter().position(|turn| turns >> turn as u8 & 1 == 1);
        way.map_or(Sight::Nothing, |way| Sight::Swing(way as u8 + 1))
    }

    /// All that drives can show any pixel, whatever it is and shows: those that cannot be seen in one place together included.
    fn whatever(&self, kinds: &Kinds, number: usize, lost: u32) -> Outcome {
        let sight = |at: usize| match (self.flashes[number][at], self.kind) {
            (true, FlashKind::General) if !self.modes_flash => Sight::Nothing,
            (true, _) => Sight::Flashes,
            (false, _) => Sight::Swing(0),
        };
        let kept = (0..kinds.list[number].drives.len()).filter(|at| lost >> at & 1 == 0);
        Outcome { to: 0, seen: kept.map(|at| (at as u8, sight(at))).collect() }
    }
}

/// What edges show the pixels of one cell, worked out when it is asked for.
pub(super) struct Showing<'k> {
    flashing: &'k Flashing,
    kinds: &'k Kinds,
    losing: &'k [(u32, u32)],
    /// None for any pixel whatever.
    cell: Option<&'k Cell>,
    levels: usize,
    /// By edges that do the same, and by level.
    numbers: HashMap<(u32, Level, u32, u32, Level), u32, Quick>,
    /// By kind of edge that may lose something, and by level: its number, from 1 on.
    of_kind: Vec<u32>,
    list: Vec<Vec<Outcome>>,
}

impl<'k> Showing<'k> {
    pub(super) fn new(
        flashing: &'k Flashing,
        kinds: &'k Kinds,
        losing: &'k [(u32, u32)],
        cell: Option<&'k Cell>,
        levels: usize,
    ) -> Self {
        let levels = if cell.is_some() { levels } else { 1 };
        let of_kind = vec![0; losing.len() * levels];
        Self { flashing, kinds, losing, cell, levels, numbers: HashMap::default(), of_kind, list: Vec::new() }
    }

    /// How many levels are distinguished.
    pub(super) fn levels(&self) -> usize {
        self.levels
    }

    /// Whether each place has its updates one after the other: not where places are not distinguished.
    pub(super) fn has_order(&self) -> bool {
        self.cell.is_some() || self.flashing.is_one_by_one
    }

    /// The level of the cell in a frame.
    pub(super) fn level(&self, frame: usize) -> Level {
        self.cell.map_or(0, |cell| cell.levels[frame])
    }

    /// The number of what a kind of edge shows where this level is.
    pub(super) fn number(&mut self, losing: u32, level: Level) -> usize {
        let at = losing as usize * self.levels + usize::from(level);
        if self.of_kind[at] == 0 {
            self.of_kind[at] = self.work_out(losing, level) + 1;
        }
        self.of_kind[at] as usize - 1
    }

    /// The ways in which edges of a number may treat the cell.
    pub(super) fn outcomes(&self, number: usize) -> &[Outcome] {
        &self.list[number]
    }

    fn work_out(&mut self, losing: u32, level: Level) -> u32 {
        let (number, may_be_lost) = self.losing[losing as usize];
        let kind = &self.kinds.list[number as usize];
        let Some(cell) = self.cell else {
            // What is lost keeps nothing busy, so it does not hold up what comes next.
            let whatever = subsets(may_be_lost).map(|lost| self.flashing.whatever(self.kinds, number as usize, lost));
            self.list.push(whatever.collect());
            return self.list.len() as u32 - 1;
        };
        let drives = kind.drives.iter().enumerate().filter(|(_, drive)| cell.is_inside(drive.region));
        let sent = drives.fold(0, |sent, (at, _)| sent | 1 << at);
        let key = (kind.sequence as u32, cell.levels[kind.after], sent, may_be_lost, level);
        if let Some(known) = self.numbers.get(&key) {
            return *known;
        }
        let mut outcomes: Vec<Outcome> = Vec::new();
        for lost in subsets(may_be_lost) {
            let outcome = self.flashing.outcome(self.kinds, number as usize, lost, cell, level);
            if !outcomes.contains(&outcome) {
                outcomes.push(outcome);
            }
        }
        self.list.push(outcomes);
        self.numbers.insert(key, self.list.len() as u32 - 1);
        self.list.len() as u32 - 1
    }
}
