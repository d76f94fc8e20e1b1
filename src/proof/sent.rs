//! What each move sends where: the windows of its updates, widened to the grid, for every pair of screens that it can lead
//! from and to, and the same of starts and cleanings.

use std::collections::HashMap;

use super::frames::Frames;
use crate::{
    change::{TileCover, TileGrid, sent_windows},
    flow::{Flow, Passage},
    geometry::Rect,
    plan::{ScreenId, Update, Updates, WindowAsk},
};

/// Boxes that are sent together; each list of boxes once.
#[derive(Clone, Debug, Default)]
pub(super) struct Regions {
    pub(super) boxes: Vec<Vec<Rect>>,
    /// How many pixels each of them has.
    pub(super) pixels: Vec<u64>,
    numbers: HashMap<Vec<Rect>, usize>,
}

impl Regions {
    fn number(&mut self, grid: &TileGrid, boxes: Vec<Rect>) -> Option<usize> {
        if boxes.is_empty() {
            return None;
        }
        if let Some(known) = self.numbers.get(&boxes) {
            return Some(*known);
        }
        self.pixels.push(TileCover::new(*grid, &boxes).pixels());
        self.boxes.push(boxes.clone());
        self.numbers.insert(boxes, self.boxes.len() - 1);
        Some(self.boxes.len() - 1)
    }
}

/// Which regions the updates of moves, starts and cleanings send; `None` for an update that sends nothing.
#[derive(Clone, Debug)]
pub struct SentTable {
    pub(super) regions: Regions,
    /// By the move's pointer order in the flow, and the screens before and after.
    moves: HashMap<(usize, ScreenId, ScreenId), Vec<Option<usize>>>,
    /// By start and screen.
    starts: HashMap<(usize, ScreenId), Vec<Option<usize>>>,
    pub(super) cleanings: Vec<Option<usize>>,
}

/// The updates of a move or a start; none if they are still to be chosen.
pub(super) fn listed(updates: &Updates) -> &[Update] {
    match updates {
        Updates::Listed(updates) => updates,
        Updates::Choose => &[],
    }
}

impl SentTable {
    /// The table of a flow.
    pub fn new(flow: &Flow, frames: &Frames) -> Self {
        let mut making = Making { flow, frames, regions: Regions::default(), changed: HashMap::new() };
        let mut moves = HashMap::new();
        for (number, one) in flow.moves.iter().enumerate() {
            for from in &one.from {
                for (before, after) in screens_of(flow, *from, one.to) {
                    moves.entry((number, before, after)).or_insert_with(|| {
                        listed(&one.updates).iter().map(|update| making.region(update, before.0, after.0)).collect()
                    });
                }
            }
        }
        let mut starts = HashMap::new();
        for (number, start) in flow.starts.iter().enumerate() {
            for screen in &flow.states[start.at].screens {
                let updates = listed(&start.updates).iter();
                let regions = updates.map(|update| making.region(update, frames.begins(), screen.0)).collect();
                starts.insert((number, *screen), regions);
            }
        }
        let cleanings = flow.cleanings.iter();
        let cleanings = cleanings.map(|cleaning| making.asked(&cleaning.window, cleaning.mode, None)).collect();
        Self { regions: making.regions, moves, starts, cleanings }
    }

    /// Whether some update of a passage sends anything, which is what counters count; see [`crate::flow::Graph::new`].
    pub fn sends(&self, flow: &Flow, passage: Passage<'_>) -> bool {
        let number = flow.moves.iter().position(|one| std::ptr::eq(one, passage.by));
        let regions = number.map(|number| self.of_move(number, passage.from, passage.to));
        regions.is_some_and(|regions| regions.iter().any(Option::is_some))
    }

    /// The boxes that each update of a move between two screens sends.
    pub fn boxes_of_move(&self, number: usize, from: ScreenId, to: ScreenId) -> Vec<&[Rect]> {
        self.boxes(self.of_move(number, from, to))
    }

    /// The boxes that each update of a start sends that brings a screen.
    pub fn boxes_of_start(&self, number: usize, screen: ScreenId) -> Vec<&[Rect]> {
        self.boxes(self.of_start(number, screen))
    }

    /// The boxes that each cleaning sends.
    pub fn boxes_of_cleanings(&self) -> Vec<&[Rect]> {
        self.boxes(&self.cleanings)
    }

    fn boxes(&self, regions: &[Option<usize>]) -> Vec<&[Rect]> {
        regions.iter().map(|region| region.map_or(&[][..], |region| &self.regions.boxes[region])).collect()
    }

    /// What a move can send: for every way in which it can be made, its updates with the pixels that each sends.
    pub fn ways_of_move<'f>(&self, flow: &'f Flow, number: usize) -> Vec<Vec<(&'f Update, u64)>> {
        let one = &flow.moves[number];
        let ways = one.from.iter().flat_map(|from| screens_of(flow, *from, one.to));
        let sent = |(before, after)| {
            let regions = self.of_move(number, before, after).iter();
            listed(&one.updates).iter().zip(regions.map(|region| self.pixels(*region))).collect()
        };
        ways.map(sent).collect()
    }

    /// The pixels that a cleaning sends, by its number.
    pub fn pixels_of_cleaning(&self, number: usize) -> u64 {
        self.pixels(self.cleanings[number])
    }

    fn pixels(&self, region: Option<usize>) -> u64 {
        region.map_or(0, |region| self.regions.pixels[region])
    }

    /// The region of each update of a move between two screens.
    pub(super) fn of_move(&self, number: usize, from: ScreenId, to: ScreenId) -> &[Option<usize>] {
        self.moves.get(&(number, from, to)).map_or(&[], Vec::as_slice)
    }

    /// The region of each update of a start that brings a screen.
    pub(super) fn of_start(&self, number: usize, screen: ScreenId) -> &[Option<usize>] {
        self.starts.get(&(number, screen)).map_or(&[], Vec::as_slice)
    }
}

/// The screens before and after, of all ways in which a move can lead from one state to another.
fn screens_of(flow: &Flow, from: usize, to: usize) -> Vec<(ScreenId, ScreenId)> {
    let (before, after) = (&flow.states[from].screens, &flow.states[to].screens);
    if from == to {
        let next = after.iter().cycle().skip(1);
        return before.iter().copied().zip(next.copied()).collect();
    }
    before.iter().flat_map(|one| after.iter().map(|other| (*one, *other))).collect()
}

struct Making<'f> {
    flow: &'f Flow,
    frames: &'f Frames,
    regions: Regions,
    /// The boxes around what differs between two frames, the lower number first: the order does not matter.
    changed: HashMap<(usize, usize), Option<Rect>>,
}

impl Making<'_> {
    fn region(&mut self, update: &Update, before: usize, after: usize) -> Option<usize> {
        let frames = self.frames;
        let changed = if update.window == WindowAsk::Changed {
            let pair = (before.min(after), before.max(after));
            *self.changed.entry(pair).or_insert_with(|| frames.difference(pair.0, pair.1))
        } else {
            None
        };
        self.asked(&update.window, update.mode, changed)
    }

    fn asked(&mut self, window: &WindowAsk, mode: usize, changed: Option<Rect>) -> Option<usize> {
        let head = &self.flow.head;
        let display = &head.display;
        let sent = sent_windows(window, &display.modes[mode], display, head.rotation, changed).sent;
        self.regions.number(&TileGrid::new(self.frames.size()), sent)
    }
}
