//! The most flashes within a second that a large area comes to, over all walks: the most of every cell, and what of them
//! fills an area of the threshold's size.
//!
//! The cells of an area need not have their flashes at the same time; it is taken as if they had. What a pixel sees is
//! counted as it is in plans (`panel`, flashes).

use std::{
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

use super::{
    cells::{Cell, Cells},
    flash_runs::{ENDLESS, Following, FoundRun, MostFlashes},
    flash_shows::{Flashing, Showing},
    flash_times::FlashTimes,
    kinds::Kinds,
    proving::Proving,
    queues::{Controller, Queues},
    result::{Bound, Witness},
    states::Ways,
};
use crate::{
    display::WhenBusy,
    flow::Input,
    panel::{FlashKind, FlashLimits, LargeAreas, SwingKinds, allowed_halves},
};

/// So many edges are followed for all cells together, in all; what remains takes the figure of any pixel whatever.
const MOST_WORK: u64 = 120_000_000;

/// As often all edges are followed for a cell before it is left, at least.
const LEAST_ROUNDS: u64 = 20;

/// As many walks are given, of the largest cells that flash too often.
const MOST_WALKS: usize = 4;

/// What flashes are worked out with.
#[derive(Clone, Copy)]
pub(super) struct FlashWork<'w> {
    pub(super) proving: Proving<'w>,
    pub(super) kinds: &'w Kinds,
    pub(super) controller: &'w Controller<'w>,
    pub(super) queues: &'w Queues,
    pub(super) cells: &'w Cells,
    pub(super) losing: &'w [(u32, u32)],
    pub(super) ways: &'w Ways<'w>,
}

impl FlashWork<'_> {
    /// The most flashes within a second, and walks that are likely to come to more than are allowed.
    pub(super) fn most(&self) -> (Bound, Vec<Witness>) {
        let head = &self.proving.flow.head;
        let limits = &head.limits.flashes_too_fast;
        let limits = FlashLimits { per_second: limits.per_second.value, sr: limits.sr.value };
        let areas = LargeAreas::new(head, limits);
        let pixels = self.cells.of_pixel.len();
        if !areas.may_be_large(pixels as u64) {
            return (Bound::Proved(0.0), Vec::new());
        }
        let times = FlashTimes::new(self.proving, self.kinds, self.controller, self.queues);
        let has_red = SwingKinds::new(&head.display.ink).reds().iter().next().is_some();
        let kinds = [FlashKind::General, FlashKind::Red].into_iter().filter(|kind| *kind != FlashKind::Red || has_red);
        let (mut most, mut walks) = (0, Vec::new());
        for kind in kinds {
            let flashing = Flashing::new(&head.display, self.kinds, kind, times.is_one_by_one);
            let following = self.following(&times, &flashing);
            let of_cells = self.of_cells(&following);
            let halves = |pixel: usize| of_cells[self.cells.of_pixel[pixel] as usize].halves;
            let of_area = areas.most_halves(pixels, halves);
            if of_area as usize > allowed_halves(limits) {
                walks.extend(self.walks(&of_cells, of_area));
            }
            most = most.max(of_area);
        }
        let bound = if most >= ENDLESS { Bound::Unbounded } else { Bound::Proved(f64::from(most) / 2.0) };
        (bound, walks)
    }

    fn following<'f>(&'f self, times: &'f FlashTimes, flashing: &'f Flashing) -> Following<'f> {
        let flow = self.proving.flow;
        Following {
            ways: self.ways,
            times,
            flashing,
            losing: self.losing,
            knows_all_free: flow.input == Input::WhenFree && flow.head.display.when_busy == WhenBusy::Waits,
            knows_clock: flow.moves.iter().any(|one| one.every_ms > 0.0),
        }
    }

    /// The most halves of each cell.
    fn of_cells(&self, following: &Following<'_>) -> Vec<MostFlashes> {
        let levels = self.proving.flow.head.display.ink.levels();
        let showing = |cell| Showing::new(following.flashing, self.kinds, self.losing, cell, levels);
        let endless = MostFlashes { halves: ENDLESS, run: FoundRun::default() };
        let mut work = MOST_WORK;
        let whatever = following.most(&mut showing(None), &mut work).unwrap_or(endless);
        let mut found = vec![whatever; self.cells.list.len()];
        if found.first().is_none_or(|most| most.halves == 0) {
            return found;
        }
        let mut order: Vec<(usize, &Cell)> = self.cells.list.iter().enumerate().collect();
        order.sort_by_key(|(number, cell)| (std::cmp::Reverse(cell.pixels), *number));
        // As much for each, so that it does not matter which of the threads looks at which.
        let each = (MOST_WORK / order.len() as u64).max(self.ways.to.len() as u64 * LEAST_ROUNDS);
        order.truncate((MOST_WORK / each.max(1)) as usize);
        let next = AtomicUsize::new(0);
        let known = Mutex::new(&mut found);
        let work = || {
            while let Some((number, cell)) = order.get(next.fetch_add(1, Ordering::Relaxed)) {
                let mut work = each;
                let most = following.most(&mut showing(Some(cell)), &mut work);
                let known = &mut known.lock().unwrap_or_else(PoisonError::into_inner)[*number];
                if let Some(most) = most.filter(|most| most.halves <= known.halves) {
                    *known = most;
                }
            }
        };
        thread::scope(|scope| {
            (1..self.proving.threads).for_each(|_| {
                scope.spawn(work);
            });
            work();
        });
        found
    }

    /// The walks of the largest cells that come to so many halves.
    fn walks(&self, of_cells: &[MostFlashes], halves: u32) -> Vec<Witness> {
        let mut worst: Vec<(u64, &MostFlashes)> = of_cells
            .iter()
            .zip(&self.cells.list)
            .filter(|(most, _)| most.halves >= halves)
            .map(|(most, cell)| (cell.pixels, most))
            .collect();
        worst.sort_by_key(|(pixels, _)| std::cmp::Reverse(*pixels));
        let mut walks: Vec<Witness> = Vec::new();
        for (_, most) in worst {
            let start = &self.ways.starts[most.run.start];
            let witness = Witness {
                start: start.start,
                at: start.node,
                way: most.run.way.clone(),
                around: Vec::new(),
                rounds: 0,
                rest: most.run.run.clone(),
                figure: f64::from(most.halves) / 2.0,
            };
            if walks.len() < MOST_WALKS && !walks.contains(&witness) {
                walks.push(witness);
            }
        }
        walks
    }
}
