//! How strong a ghost can be at a node: the residue of every cell against the median of its level.
//!
//! Knows the highest and lowest residue of every cell, worked out elsewhere. Every true median lies between the median of
//! the lows and that of the highs; where a cell may or may not be at a level, the extremes stand for them.

use std::{collections::HashMap, thread};

use super::{
    behaviour::{Behaviour, Quick},
    result::Bound,
    states::States,
};
use crate::{display::Level, panel::Tones};

/// What a cell may show at a node of one level: the lowest and the highest residue, L*.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shows {
    pub(super) level: Level,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// What a cell may show at every node.
#[derive(Debug)]
pub(super) struct CellShows {
    pub(super) pixels: u64,
    /// Whether its residue was proved.
    is_proved: bool,
    /// By node, the number of what it shows, from 1 on; 0 where it never is.
    of_node: Numbers,
    /// All that it shows, one list behind the other, and where each of them ends.
    known: Vec<Shows>,
    ends: Vec<u32>,
}

/// Numbers in as few bytes as they need: a large flow has tens of thousands of nodes for each of thousands of cells.
#[derive(Debug)]
enum Numbers {
    Short(Vec<u8>),
    Middle(Vec<u16>),
    Long(Vec<u32>),
}

impl Numbers {
    fn new(numbers: Vec<u32>) -> Self {
        let most = numbers.iter().copied().max().unwrap_or(0);
        if most <= u8::MAX.into() {
            Self::Short(numbers.into_iter().map(|number| number as u8).collect())
        } else if most <= u16::MAX.into() {
            Self::Middle(numbers.into_iter().map(|number| number as u16).collect())
        } else {
            Self::Long(numbers)
        }
    }

    #[inline]
    fn at(&self, place: usize) -> u32 {
        match self {
            Self::Short(numbers) => numbers[place].into(),
            Self::Middle(numbers) => numbers[place].into(),
            Self::Long(numbers) => numbers[place],
        }
    }
}

impl CellShows {
    pub(super) fn new(
        pixels: u64,
        nodes: usize,
        states: &States,
        behaviour: &Behaviour<'_>,
        [lows, highs]: [&[f64]; 2],
        is_proved: bool,
    ) -> Self {
        let (mut known, mut ends): (Vec<Shows>, Vec<u32>) = (Vec::new(), Vec::new());
        let mut of_node: Vec<u32> = Vec::with_capacity(nodes);
        let mut numbers: HashMap<Vec<(Level, u64, u64)>, u32, Quick> = HashMap::default();
        // Nearly everywhere a cell shows one level.
        let mut singles: HashMap<(Level, u64, u64), u32, Quick> = HashMap::default();
        let mut shows: Vec<Shows> = Vec::new();
        for node in 0..nodes as u32 {
            shows.clear();
            for state in states.of_node(node) {
                let at = state as usize;
                let level = behaviour.level(states.shown[at]);
                let (low, high) = (lows[at], highs[at]);
                match shows.iter_mut().find(|shows| shows.level == level) {
                    Some(shows) => (shows.low, shows.high) = (shows.low.min(low), shows.high.max(high)),
                    None => shows.push(Shows { level, low, high }),
                }
            }
            if shows.is_empty() {
                of_node.push(0);
                continue;
            }
            let next = ends.len() as u32 + 1;
            if let [one] = shows.as_slice() {
                let key = (one.level, one.low.to_bits(), one.high.to_bits());
                let number = *singles.entry(key).or_insert(next);
                if number == next {
                    known.push(*one);
                    ends.push(known.len() as u32);
                }
                of_node.push(number);
                continue;
            }
            shows.sort_unstable_by_key(|shows| shows.level);
            let key = shows.iter().map(|shows| (shows.level, shows.low.to_bits(), shows.high.to_bits())).collect();
            let number = *numbers.entry(key).or_insert(next);
            if number == next {
                known.extend_from_slice(&shows);
                ends.push(known.len() as u32);
            }
            of_node.push(number);
        }
        Self { pixels, is_proved, of_node: Numbers::new(of_node), known, ends }
    }

    /// The same for all nodes, where only those of a smaller graph were walked.
    pub(super) fn spread(mut self, same_as: Option<&[u32]>) -> Self {
        let Some(same_as) = same_as else { return self };
        self.of_node = Numbers::new(same_as.iter().map(|node| self.of_node.at(*node as usize)).collect());
        self
    }

    fn at(&self, node: usize) -> &[Shows] {
        let Some(number) = (self.of_node.at(node) as usize).checked_sub(1) else { return &[] };
        let first = number.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.known[first as usize..self.ends[number] as usize]
    }
}

/// The strongest ghost at a node, and whose it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct StrongestGhost {
    pub(super) bound: Bound,
    pub(super) of: Option<Ghost>,
}

/// Whose ghost it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ghost {
    /// The number of the cell.
    pub(super) cell: usize,
    pub(super) level: Level,
    /// Whether it is lighter than the others of its level.
    pub(super) is_lighter: bool,
    /// Its residue, L*.
    pub(super) residue_l: f64,
}

/// A cell that may be at a level, with what shows of its residue, L*.
#[derive(Clone, Copy, Debug)]
struct AtLevel {
    cell: u32,
    is_sure: bool,
    is_endless: bool,
    pixels: u64,
    low: f64,
    high: f64,
}

/// As many nodes are looked at together: what is known of a cell is then at hand.
const BLOCK: usize = 16;

/// The strongest ghosts of all nodes, from what every cell shows, each with its number.
pub(super) fn strongest_of_all(
    mut shows: Vec<(usize, CellShows)>,
    tones: &Tones,
    panel_px: u64,
    nodes: usize,
    threads: usize,
) -> Vec<StrongestGhost> {
    shows.sort_unstable_by_key(|(number, _)| *number);
    let cells: Vec<CellShows> = shows.into_iter().map(|(_, shows)| shows).collect();
    let nothing = StrongestGhost { bound: Bound::Proved(0.0), of: None };
    let mut ghosts = vec![nothing; nodes];
    let each = nodes.div_ceil(threads.max(1)).max(1);
    thread::scope(|scope| {
        for (part, ghosts) in ghosts.chunks_mut(each).enumerate() {
            let cells = &cells;
            scope.spawn(move || strongest(cells, part * each, tones, panel_px, ghosts));
        }
    });
    ghosts
}

/// The strongest ghosts at some nodes from one on.
fn strongest(cells: &[CellShows], first: usize, tones: &Tones, panel_px: u64, ghosts: &mut [StrongestGhost]) {
    let is_proved = cells.iter().all(|cell| cell.is_proved);
    let mut lists: Vec<LevelLists> = Vec::new();
    lists.resize_with(BLOCK, LevelLists::default);
    for (block, ghosts) in ghosts.chunks_mut(BLOCK).enumerate() {
        let from = first + block * BLOCK;
        let lists = &mut lists[..ghosts.len()];
        for list in lists.iter_mut() {
            list.0.iter_mut().for_each(Vec::clear);
        }
        for (number, cell) in cells.iter().enumerate() {
            for (at, list) in lists.iter_mut().enumerate() {
                list.add(number, cell, from + at, tones);
            }
        }
        for (at, (list, ghost)) in lists.iter().zip(ghosts).enumerate() {
            *ghost = list.strongest(cells, from + at, panel_px);
            if !is_proved && ghost.bound != Bound::Unbounded {
                ghost.bound = Bound::NotProved;
            }
        }
    }
}

fn is_worse(one: Bound, other: Bound) -> bool {
    match (one, other) {
        (Bound::Proved(one), Bound::Proved(other)) => one > other,
        (Bound::Unbounded, Bound::Proved(_)) => true,
        _ => false,
    }
}

/// The cells at each level of one node.
#[derive(Debug, Default)]
struct LevelLists(Vec<Vec<AtLevel>>);

impl LevelLists {
    #[inline]
    fn add(&mut self, number: usize, cell: &CellShows, node: usize, tones: &Tones) {
        let shows = cell.at(node);
        for one in shows {
            let list = usize::from(one.level);
            if self.0.len() <= list {
                self.0.resize_with(list + 1, Vec::new);
            }
            self.0[list].push(AtLevel {
                cell: number as u32,
                is_sure: shows.len() == 1,
                is_endless: !one.low.is_finite() || !one.high.is_finite(),
                pixels: cell.pixels,
                low: tones.cut(one.level, one.low),
                high: tones.cut(one.level, one.high),
            });
        }
    }

    fn strongest(&self, cells: &[CellShows], node: usize, panel_px: u64) -> StrongestGhost {
        let mut strongest = StrongestGhost { bound: Bound::Proved(0.0), of: None };
        for (level, list) in self.0.iter().enumerate().filter(|(_, list)| !list.is_empty()) {
            let [least, most] = medians(list, panel_px);
            for one in list {
                for (off_l, is_lighter) in [(one.high - least, true), (most - one.low, false)] {
                    let bound = if one.is_endless { Bound::Unbounded } else { Bound::Proved(off_l) };
                    if is_worse(bound, strongest.bound) {
                        let (cell, level) = (one.cell as usize, level as Level);
                        let of = Ghost { cell, level, is_lighter, residue_l: 0.0 };
                        strongest = StrongestGhost { bound, of: Some(of) };
                    }
                }
            }
        }
        if let Some(ghost) = &mut strongest.of {
            let shows = cells[ghost.cell].at(node).iter().find(|shows| shows.level == ghost.level);
            ghost.residue_l = shows.map_or(0.0, |shows| if ghost.is_lighter { shows.high } else { shows.low });
        }
        strongest
    }
}

/// The least and the largest median that a level may have, L*.
fn medians(list: &[AtLevel], panel_px: u64) -> [f64; 2] {
    let all_px: u64 = list.iter().map(|one| one.pixels).sum();
    let sure_px: u64 = list.iter().filter(|one| one.is_sure).map(|one| one.pixels).sum();
    // A level on less than a hundredth of the panel has too few pixels for a median of its own.
    if all_px * 100 < panel_px {
        return [0.0, 0.0];
    }
    if sure_px == all_px {
        return [median(list, |one| one.low), median(list, |one| one.high)];
    }
    let mut least = list.iter().map(|one| one.low).fold(f64::INFINITY, f64::min);
    let mut most = list.iter().map(|one| one.high).fold(f64::NEG_INFINITY, f64::max);
    if sure_px * 100 < panel_px {
        (least, most) = (least.min(0.0), most.max(0.0));
    }
    [least, most]
}

/// The median over all pixels, of an even number the mean of the two in the middle.
fn median(list: &[AtLevel], figure: impl Fn(&AtLevel) -> f64) -> f64 {
    let mut all: Vec<(f64, u64)> = list.iter().map(|one| (figure(one), one.pixels)).collect();
    let pixels: u64 = list.iter().map(|one| one.pixels).sum();
    let upper = at_place(&mut all, pixels / 2);
    if pixels % 2 == 1 { upper } else { f64::midpoint(at_place(&mut all, pixels / 2 - 1), upper) }
}

/// The figure of the pixel at a place, if all were put in order; the list is put in order only as far as that takes.
fn at_place(mut list: &mut [(f64, u64)], mut place: u64) -> f64 {
    loop {
        let [(only, _)] = list else {
            let middle = list.len() / 2;
            if middle == 0 {
                return 0.0;
            }
            let (below, one, above) = list.select_nth_unstable_by(middle, |one, other| one.0.total_cmp(&other.0));
            let before: u64 = below.iter().map(|(_, pixels)| pixels).sum();
            if place < before {
                list = below;
            } else if place < before + one.1 {
                return one.0;
            } else {
                place -= before + one.1;
                list = above;
            }
            continue;
        };
        return *only;
    }
}
