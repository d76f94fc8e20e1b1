//! `greys-too-close`: touching filled areas whose levels look nearly the same on this panel.

use std::ops::Range;

use super::{
    Rule, Setup,
    shapes::{FilledRow, filled_rows},
    touching::{self, Pair, Side, is_in_gradient},
    transition_cache::TransitionCache,
    wording,
};
use crate::{
    change::{Mask, TILE, TileGrid},
    display::{Ink, Level, LevelSet, ink::InkKind},
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::Plan,
};

/// So many neighbouring pairs of pixels make an edge that people see as one; in photographs they are mostly fewer. Common
/// practice, no source.
const SHORTEST_EDGE: usize = 20;

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

    /// Where filled areas of levels that lie too close touch, as far as this step changed one side.
    fn pairs(&self, introduced: &Mask, step: &PlayedStep<'_>) -> Vec<Pair> {
        let grid = *step.grid();
        let mut changed = vec![0_u64; grid.tiles()];
        introduced.tiles().iter().for_each(|(tile, pixels)| changed[*tile as usize] = *pixels);
        let is_changed = |(x, y): (u32, u32)| {
            let (tile, bit) = grid.locate(x, y);
            changed[tile as usize] & bit != 0
        };
        let mut pairs = Vec::new();
        let read = &|y: u32, row: &mut [u8]| {
            for (level, shade) in row.iter_mut().zip(step.memory.row(y)) {
                *level = self.table[usize::from(*shade)];
            }
        };
        let mut meets = vec![0; grid.size().width as usize];
        for rows in bands(introduced, &grid) {
            filled_rows(grid.size().width, rows, read, |y, [row, below]| {
                let mut meet = |one: FilledRow<'_>, other: FilledRow<'_>, side: Side| {
                    for x in self.meeting(one, other, &mut meets) {
                        let pair = Pair { x: x as u32, y, side, levels: (one.levels[x], other.levels[x]) };
                        if is_changed((pair.x, y)) || is_changed(pair.other()) {
                            pairs.push(pair);
                        }
                    }
                };
                meet(row, FilledRow { levels: &row.levels[1..], filled: &row.filled[1..] }, Side::Right);
                meet(row, below, Side::Below);
            });
        }
        pairs
    }

    /// The edges between two surfaces: long enough to be one, and not between the bands of a gradient.
    fn edges(&self, introduced: &Mask, step: &PlayedStep<'_>) -> Edges {
        let mut edges = Edges::default();
        for edge in touching::edges(&self.pairs(introduced, step), SHORTEST_EDGE) {
            if !self.is_of_gradient(&edge, step) {
                edges.add(&edge, step.grid(), &self.plan.display.ink);
            }
        }
        edges
    }

    /// Whether most of an edge lies between the bands of a gradient, as some places of it show. Colours have no order in which
    /// they could follow each other.
    fn is_of_gradient(&self, edge: &[Pair], step: &PlayedStep<'_>) -> bool {
        const PLACES: usize = 16;
        if !matches!(self.plan.display.ink.kind(), InkKind::Grey) {
            return false;
        }
        let places = edge.len().min(PLACES);
        let in_gradient = (0..places).filter(|place| self.is_in_gradient(edge[place * edge.len() / places], step));
        2 * in_gradient.count() >= places
    }

    fn is_in_gradient(&self, pair: Pair, step: &PlayedStep<'_>) -> bool {
        let level = |x: u32, y: u32| self.table[usize::from(step.memory.row(y)[x as usize])];
        let follows = |one: Level, other: Level| self.close_to[usize::from(one)].contains(other);
        let (Pair { x, y, levels, .. }, size) = (pair, step.memory.size());
        match pair.side {
            Side::Right => {
                let (back, ahead) = ((0..=x).rev(), x + 1..size.width);
                is_in_gradient(levels, back.map(|x| level(x, y)), ahead.map(|x| level(x, y)), follows)
            }
            Side::Below => {
                let (back, ahead) = ((0..=y).rev(), y + 1..size.height);
                is_in_gradient(levels, back.map(|y| level(x, y)), ahead.map(|y| level(x, y)), follows)
            }
        }
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
                "{} and {} touch and are only {} apart on this panel: the edge of {} px between them will hardly be \
                seen",
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

/// More than rounding makes of levels that lie evenly.
const EQUALLY: f64 = 1e-9;

/// Edges that were found.
#[derive(Debug, Default)]
struct Edges {
    /// The pixels on both sides.
    pixels: Vec<(u32, u64)>,
    /// The two levels that lie closest to each other, and how close, in the unit of the ink.
    closest: Option<(f64, Level, Level)>,
}

impl Edges {
    /// Takes the pairs of one edge, which are all of one contrast.
    fn add(&mut self, edge: &[Pair], grid: &TileGrid, ink: &Ink) {
        for pair in edge {
            let (x, y) = pair.other();
            self.pixels.extend([grid.locate(pair.x, pair.y), grid.locate(x, y)]);
        }
        let Some((darker, lighter)) = edge.first().map(|pair| pair.contrast()) else { return };
        let (known, pair) = self
            .closest
            .map_or((f64::INFINITY, (Level::MAX, Level::MAX)), |(l, darker, lighter)| (l, (darker, lighter)));
        if pair == (darker, lighter) {
            return;
        }
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
