//! `greys-too-close`: touching filled areas whose levels look nearly the same on this panel.

use std::ops::Range;

use super::{
    Rule, Setup,
    shapes::{FilledRow, filled_rows},
    transition_cache::TransitionCache,
    wording,
};
use crate::{
    change::{Mask, TILE, TileGrid},
    display::{Ink, Level, LevelSet},
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// Looks at the edges of what each step changes in memory.
#[derive(Clone)]
pub(super) struct GreysTooClose<'p> {
    plan: &'p Plan,
    limit_l: f64,
    /// For each level the others that lie too close to it.
    close_to: Vec<LevelSet>,
    table: [Level; 256],
    turns: TransitionCache,
}

impl<'p> GreysTooClose<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let (ink, limit_l) = (&setup.plan.display.ink, setup.limits.greys_too_close.l.value);
        let close = |level: Level| {
            ink.all().iter().filter(|other| *other != level && ink.apart(level, *other) < limit_l).collect()
        };
        Self {
            limit_l,
            close_to: ink.all().iter().map(close).collect(),
            table: ink.level_table(),
            turns: TransitionCache::default(),
            plan: setup.plan,
        }
    }

    /// Whether a tile and its neighbours hold levels that lie too close to each other: mostly they do not.
    fn may_touch(&self, tile: u32, step: &PlayedStep<'_>) -> bool {
        let (columns, tiles) = (step.grid().columns(), step.grid().tiles() as u32);
        let own = step.glass.memory_levels_in(tile);
        let beside = [tile.checked_sub(1), Some(tile + 1), tile.checked_sub(columns), Some(tile + columns)];
        let beside = beside.into_iter().flatten().filter(|tile| *tile < tiles);
        let around = beside.fold(own.0, |set, tile| set | step.glass.memory_levels_in(tile).0);
        own.iter().any(|level| self.close_to[usize::from(level)].0 & around != 0)
    }

    /// The pixels at edges between filled areas of levels that lie too close, as far as this step changed one side.
    fn edges(&self, introduced: &Mask, step: &PlayedStep<'_>) -> Edges {
        let grid = *step.grid();
        let mut changed = vec![0_u64; grid.tiles()];
        introduced.tiles().iter().for_each(|(tile, pixels)| changed[*tile as usize] = *pixels);
        let is_changed = |x: u32, y: u32| {
            let (tile, bit) = grid.locate(x, y);
            changed[tile as usize] & bit != 0
        };
        let mut edges = Edges::default();
        let read = &|y: u32, row: &mut [u8]| {
            for (level, shade) in row.iter_mut().zip(step.memory.row(y)) {
                *level = self.table[usize::from(*shade)];
            }
        };
        let mut meets = vec![0; grid.size().width as usize];
        for rows in bands(introduced, &grid) {
            filled_rows(grid.size().width, rows, read, |y, [row, below]| {
                let mut meet = |one: FilledRow<'_>, other: FilledRow<'_>, right: u32, down: u32| {
                    for x in self.meeting(one, other, &mut meets) {
                        let x = x as u32;
                        if is_changed(x, y) || is_changed(x + right, y + down) {
                            let levels = (one.levels[x as usize], other.levels[x as usize]);
                            edges.add(
                                [grid.locate(x, y), grid.locate(x + right, y + down)],
                                levels,
                                &self.plan.display.ink,
                            );
                        }
                    }
                };
                meet(row, FilledRow { levels: &row.levels[1..], filled: &row.filled[1..] }, 1, 0);
                meet(row, below, 0, 1);
            });
        }
        edges
    }

    /// The places at which two rows are filled with levels that lie too close to each other.
    fn meeting(&self, one: FilledRow<'_>, other: FilledRow<'_>, meets: &mut [u8]) -> Vec<usize> {
        let both = one.levels.iter().zip(one.filled).zip(other.levels.iter().zip(other.filled));
        let mut length = 0;
        for (meets, ((own, own_filled), (level, filled))) in meets.iter_mut().zip(both) {
            *meets = u8::from(own != level) & own_filled & filled;
            length += 1;
        }
        // Mostly none does, which is seen many pixels at a time.
        let chunks =
            meets[..length].chunks(64).enumerate().filter(|(_, chunk)| chunk.iter().fold(0, |any, one| any | one) != 0);
        let places = chunks.flat_map(|(at, chunk)| {
            (0..chunk.len()).filter(|place| chunk[*place] != 0).map(move |place| 64 * at + place)
        });
        places.filter(|x| self.close_to[usize::from(one.levels[*x])].contains(other.levels[*x])).collect()
    }

    fn look(&self, step: &PlayedStep<'_>) -> Option<Observation> {
        let ink = &self.plan.display.ink;
        let tiles = step.introduced.tiles().iter().filter(|(tile, _)| self.may_touch(*tile, step));
        let introduced = Mask::from_sorted(tiles.copied());
        if introduced.is_empty() {
            return None;
        }
        let Edges { pixels, closest } = self.edges(&introduced, step);
        let (apart, darker, lighter) = closest?;
        let edge = Mask::from_unsorted(pixels);
        Some(Observation {
            rect: edge.bounds(step.grid()),
            message: format!(
                "{} and {} touch, {} apart on this panel: their edge of {} px will hardly be seen",
                ink.name(darker),
                ink.name(lighter),
                wording::apart(apart, ink),
                edge.count()
            ),
            help: format!(
                "choose levels at least {} apart, or draw a line between the areas",
                wording::apart(self.limit_l, ink)
            ),
            figures: vec![("l", apart), ("px", edge.count() as f64)],
            ..Observation::default()
        })
    }
}

/// Rows of pixels that hold all changes, and as many around them as tell whether a changed pixel and its neighbours lie in a block.
fn bands(introduced: &Mask, grid: &TileGrid) -> Vec<Range<u32>> {
    const AROUND: u32 = 3;
    let mut rows: Vec<u32> = introduced.tiles().iter().map(|(tile, _)| tile / grid.columns()).collect();
    rows.dedup();
    let bands =
        rows.chunk_by(|above, below| above + 1 == *below).filter_map(|rows| Some((rows.first()?, rows.last()?)));
    bands
        .map(|(first, last)| {
            let end = ((last + 1) * TILE + AROUND).min(grid.size().height);
            (first * TILE).saturating_sub(AROUND)..end
        })
        .collect()
}

/// Edges that were found.
#[derive(Debug, Default)]
struct Edges {
    /// The pixels on both sides.
    pixels: Vec<(u32, u64)>,
    /// The two levels that lie closest to each other, and how close, in the unit of the ink.
    closest: Option<(f64, Level, Level)>,
}

impl Edges {
    fn add(&mut self, pixels: [(u32, u64); 2], (own, other): (Level, Level), ink: &Ink) {
        self.pixels.extend(pixels);
        let (darker, lighter) = (own.min(other), own.max(other));
        let (known, pair) = self
            .closest
            .map_or((f64::INFINITY, (Level::MAX, Level::MAX)), |(l, darker, lighter)| (l, (darker, lighter)));
        if pair == (darker, lighter) {
            return;
        }
        /// More than rounding makes of levels that lie evenly.
        const EQUALLY: f64 = 1e-9;
        // Of pairs that lie equally close the darker one is named.
        let apart = ink.apart(darker, lighter);
        if apart < known - EQUALLY || (apart < known + EQUALLY && (darker, lighter) < pair) {
            self.closest = Some((apart, darker, lighter));
        }
    }
}

impl Rule for GreysTooClose<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if let Some(observation) = self.turns.observation(step, || self.look(step)) {
            sink.report(Where::of(step, StepField::Screen), observation);
        }
    }
}
