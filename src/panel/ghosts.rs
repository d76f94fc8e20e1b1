//! What the eye sees at the end of a step: pixels that look lighter or darker than the others of their level.
//!
//! A ghost is measured against the median of its level, so that a page gone dull as a whole is none. Only tiles that
//! changed, or whose level's median moved, are looked at again.

use std::collections::BTreeSet;

use super::{chunks::Chunked, law::Residue, state::PanelState};
use crate::{
    change::{Mask, bits, differing_pixels, regions_with_labels},
    display::{Level, LevelSet},
    geometry::Rect,
};

/// A group of pixels that look visibly off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ghost {
    /// The box around its pixels.
    pub rect: Rect,
    /// How many pixels.
    pub pixels: u64,
    /// How many of those were not driven since driven neighbours left their residue.
    pub rim_px: u64,
    /// The largest difference to the median of its level, L*.
    pub worst_l: f64,
    /// The tile in which that is.
    pub worst_tile: u32,
}

/// From this share on of pixels that were not driven since driven neighbours left their residue a ghost is an outline.
const OUTLINE_SHARE: f64 = 0.8;

impl Ghost {
    /// Whether it is an outline: residue beside driven pixels rather than in them.
    pub fn is_outline(&self) -> bool {
        self.rim_px as f64 >= OUTLINE_SHARE * self.pixels as f64
    }
}

/// From which difference and area on a ghost counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GhostLimits {
    /// Difference, L*.
    pub limit_l: f64,
    /// Area, mm2.
    pub area_mm2: f64,
}

/// The least whole number of pixels that make the smallest area which an eye takes in, common practice, no source.
fn least_pixels(pixel_area_mm2: f64) -> u64 {
    const AREA_MM2: f64 = 0.5;
    let near = (AREA_MM2 / pixel_area_mm2).floor() as u64;
    // Rounding may have put the quotient just below a whole number, or on it.
    let enough = |pixels: &u64| *pixels as f64 * pixel_area_mm2 >= AREA_MM2;
    [near, near + 1].into_iter().find(enough).unwrap_or(near + 2).max(1)
}

/// Watches the panel. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(crate) struct GhostDetector {
    limits: GhostLimits,
    is_looking: bool,
    pixel_area_mm2: f64,
    /// The median of each level as the tiles were last judged by.
    medians: Vec<f64>,
    ghosted: Chunked<u64>,
    /// Those of them whose residue came last from driven neighbours.
    rimmed: Chunked<u64>,
    worst: Chunked<f64>,
    /// How far the medians have moved in all, L*: each time by the one that moved most.
    medians_moved_l: f64,
    /// For tiles without a ghost, up to which of these movements there is none.
    clean_until_l: Chunked<f64>,
    ghost_tiles: BTreeSet<u32>,
    ghosts: Vec<Ghost>,
    /// How many pixels the smallest area has that counts for `residue_l`.
    least_px: u64,
    residue_l: f64,
}

impl GhostDetector {
    pub(crate) fn new(state: &PanelState, levels: usize, limits: GhostLimits, pixel_area_mm2: f64) -> Self {
        let tiles = state.grid().tiles();
        Self {
            limits,
            is_looking: true,
            pixel_area_mm2,
            medians: vec![0.0; levels],
            ghosted: Chunked::new(tiles, 0),
            rimmed: Chunked::new(tiles, 0),
            worst: Chunked::new(tiles, 0.0),
            medians_moved_l: 0.0,
            clean_until_l: Chunked::new(tiles, 0.0),
            ghost_tiles: BTreeSet::new(),
            ghosts: Vec::new(),
            least_px: least_pixels(pixel_area_mm2).min(state.grid().size().pixels()),
            residue_l: 0.0,
        }
    }

    /// One that looks for ghosts or does not: then it sees none, and its medians are 0.
    #[must_use]
    pub(crate) fn looking(self, is_looking: bool) -> Self {
        Self { is_looking, ..self }
    }

    /// The ghosts that were seen at the last look.
    pub(crate) fn ghosts(&self) -> &[Ghost] {
        &self.ghosts
    }

    /// From which difference and area on a ghost counts.
    pub(crate) fn limits(&self) -> GhostLimits {
        self.limits
    }

    /// Looks at the panel as it is now; gives the tiles that were moved since the last look, rising.
    pub(crate) fn look(&mut self, state: &mut PanelState) -> Vec<u32> {
        let touched = state.take_touched();
        if !self.is_looking {
            return touched;
        }
        if touched.is_empty() {
            state.spreads.hold_again();
            return touched;
        }
        let moved = self.moved_medians(state);
        if moved.0 == 0 {
            self.look_again(touched.iter().copied(), state);
        } else {
            let mut next_touched = touched.iter().copied().peekable();
            let again: Vec<u32> = (0..state.grid().tiles() as u32)
                .filter(|tile| {
                    let is_touched = next_touched.next_if_eq(tile).is_some();
                    let is_moved = state.levels_in[*tile as usize].0 & moved.0 != 0 && !self.stays_clean(*tile);
                    is_touched || is_moved
                })
                .collect();
            self.look_again(again.into_iter(), state);
        }
        self.residue_l = self.farthest(state);
        touched
    }

    /// Whether the medians moved so little since a tile without a ghost was judged that there can be none yet.
    fn stays_clean(&self, tile: u32) -> bool {
        self.medians_moved_l < self.clean_until_l[tile as usize]
    }

    fn look_again(&mut self, tiles: impl Iterator<Item = u32>, state: &PanelState) {
        // What shows is at most the hidden residue, and off by at most that and the median.
        let most_median_l = self.medians.iter().fold(0.0_f64, |most, median| most.max(median.abs()));
        let mut changed = false;
        for tile in tiles {
            changed |= self.judge(tile, most_median_l, state);
        }
        if changed {
            self.ghosts = self.group(state);
        }
    }

    /// How far the pixels of the smallest area that counts are off at least, L*: right to 1/64 L*.
    pub(crate) fn residue_l(&self) -> f64 {
        self.residue_l
    }

    fn farthest(&self, state: &PanelState) -> f64 {
        let mut found = Vec::new();
        for (spread, median) in state.spreads.iter().zip(&self.medians).filter(|(spread, _)| spread.total() > 0) {
            spread.farthest(*median, self.least_px, &mut found);
        }
        found.sort_by(|one, other| other.0.total_cmp(&one.0));
        let mut before = 0;
        let kth = found.iter().find(|(_, count)| {
            before += count;
            before >= self.least_px
        });
        kth.map_or(0.0, |(off_l, _)| *off_l)
    }

    /// The median of each level, L*.
    pub(crate) fn medians(&self) -> &[f64] {
        &self.medians
    }

    fn moved_medians(&mut self, state: &mut PanelState) -> LevelSet {
        state.know_spreads();
        let pixels = state.grid().size().pixels();
        // A level on less than a hundredth of the panel has too few pixels to be judged by their own median.
        let levels = 0..self.medians.len() as Level;
        let common = levels.filter(|level| state.spreads[usize::from(*level)].total() * 100 >= pixels).collect();
        let mut medians = vec![0.0; self.medians.len()];
        for (level, median) in state.medians(common) {
            medians[usize::from(level)] = median;
        }
        let (mut moved, mut moved_l) = (LevelSet::default(), 0.0_f64);
        for (level, (known, now)) in self.medians.iter_mut().zip(medians).enumerate() {
            if now.to_bits() != known.to_bits() {
                moved_l = moved_l.max((now - *known).abs());
                *known = now;
                moved = moved.with(level as Level);
            }
        }
        self.medians_moved_l += moved_l;
        moved
    }

    /// Judges the pixels of a tile; gives whether anything is other than before.
    fn judge(&mut self, tile: u32, most_median_l: f64, state: &PanelState) -> bool {
        /// More than rounding can make of it.
        const ROUNDING: f64 = 1e-6;
        let (ghosted, most_l) = match state.residue.various(tile) {
            None => self.ghosted_alike(tile, state),
            Some(residues) => self.ghosted_apart(tile, residues, most_median_l, state),
        };
        let at = tile as usize;
        let worst = if ghosted == 0 { 0.0 } else { most_l };
        let clean_until_l =
            if ghosted == 0 { self.medians_moved_l + self.limits.limit_l - most_l - ROUNDING } else { 0.0 };
        if clean_until_l.to_bits() != self.clean_until_l[at].to_bits() {
            self.clean_until_l[at] = clean_until_l;
        }
        let rimmed = ghosted & state.rims(tile);
        let changed =
            ghosted != self.ghosted[at] || rimmed != self.rimmed[at] || worst.to_bits() != self.worst[at].to_bits();
        if changed {
            if (ghosted == 0) != (self.ghosted[at] == 0) {
                if ghosted == 0 {
                    self.ghost_tiles.remove(&tile);
                } else {
                    self.ghost_tiles.insert(tile);
                }
            }
            self.ghosted[at] = ghosted;
            self.rimmed[at] = rimmed;
            self.worst[at] = worst;
        }
        changed
    }

    /// The pixels of a tile that are off by the limit, and by how much the one is that is off most; where none is off by the
    /// limit, this may be more than it is. All have one residue here: a level is off or is not.
    fn ghosted_alike(&self, tile: u32, state: &PanelState) -> (u64, f64) {
        let residue = state.residue.get(tile, 0);
        let (mut ghosted, mut most_l) = (0, 0.0_f64);
        for level in state.levels_in[tile as usize].iter() {
            let off_l = (state.tones().shown(level, residue) - self.medians[usize::from(level)]).abs();
            most_l = most_l.max(off_l);
            if off_l >= self.limits.limit_l {
                ghosted |= state.grid().whole(tile) & !differing_pixels(&[level; 64], state.levels(tile));
            }
        }
        (ghosted, most_l)
    }

    /// The same where the residues differ.
    fn ghosted_apart(&self, tile: u32, residues: &[Residue; 64], most_median_l: f64, state: &PanelState) -> (u64, f64) {
        let hidden_l = largest(residues.iter().map(|residue| residue.lightness().abs()));
        if hidden_l + most_median_l < self.limits.limit_l {
            return (0, hidden_l + most_median_l);
        }
        let off_l = self.offs(tile, residues, state);
        let limit_l = self.limits.limit_l;
        let ghosted = off_l.iter().enumerate().fold(0, |all, (bit, off_l)| all | u64::from(*off_l >= limit_l) << bit);
        let whole = state.grid().whole(tile);
        let most_l = if whole == u64::MAX {
            largest(off_l.iter().copied())
        } else {
            bits(whole).fold(0.0_f64, |most, bit| most.max(off_l[bit as usize]))
        };
        (ghosted & whole, most_l)
    }

    /// How far every pixel of a tile is off the median of its level, L*.
    fn offs(&self, tile: u32, residues: &[Residue; 64], state: &PanelState) -> [f64; 64] {
        let mut off_l = [0.0; 64];
        let pixels = off_l.iter_mut().zip(state.levels(tile).iter().zip(residues));
        let levels = state.levels_in[tile as usize];
        if levels.0.count_ones() > 2 || state.grid().whole(tile) != u64::MAX {
            for (off_l, (level, residue)) in pixels {
                *off_l = (state.tones().shown(*level, *residue) - self.medians[usize::from(*level)]).abs();
            }
            return off_l;
        }
        // Most tiles: figures of two levels, which can be chosen and computed with for several pixels at a time.
        let (low, high) = (levels.0.trailing_zeros() as Level, levels.0.ilog2() as Level);
        let of = |level: Level| (state.tones().near(level), self.medians[usize::from(level)]);
        let (low_tone, low_median) = of(low);
        let (high_tone, high_median) = of(high);
        for (off_l, (level, residue)) in pixels {
            let of_low = low_tone.shown(*residue) - low_median;
            let of_high = high_tone.shown(*residue) - high_median;
            *off_l = if *level == low { of_low } else { of_high }.abs();
        }
        off_l
    }

    fn group(&self, state: &PanelState) -> Vec<Ghost> {
        let mask = Mask::from_sorted(self.ghost_tiles.iter().map(|tile| (*tile, self.ghosted[*tile as usize])));
        let (regions, labels) = regions_with_labels(&mask, state.grid());
        let mut worst = vec![(0.0_f64, 0_u32); regions.len()];
        let mut rim_px = vec![0_u64; regions.len()];
        for ((tile, _), label) in mask.tiles().iter().zip(labels) {
            rim_px[label as usize] += u64::from(self.rimmed[*tile as usize].count_ones());
            let known = &mut worst[label as usize];
            if self.worst[*tile as usize] > known.0 {
                *known = (self.worst[*tile as usize], *tile);
            }
        }
        let ghosts = regions.into_iter().zip(worst).zip(rim_px).map(|((region, (worst_l, worst_tile)), rim_px)| {
            Ghost { rect: region.rect, pixels: region.pixels, rim_px, worst_l, worst_tile }
        });
        ghosts.filter(|ghost| ghost.pixels as f64 * self.pixel_area_mm2 >= self.limits.area_mm2).collect()
    }
}

/// The largest of some figures, at least 0. Several at a time, unlike with `f64::max`, which asks for what is no number.
fn largest(figures: impl Iterator<Item = f64>) -> f64 {
    figures.fold(0.0, |most, figure| if figure > most { figure } else { most })
}
