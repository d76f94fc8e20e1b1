//! What the eye sees at the end of a step: pixels that look lighter or darker than the others of their level.
//!
//! A ghost is measured against the median of its level, so that a page gone dull as a whole is none. Only tiles that
//! changed, or whose level's median moved, are looked at again.

use std::collections::BTreeSet;

use super::{chunks::Chunked, state::PanelState};
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
    /// The largest difference to the median of its level, L*.
    pub worst_l: f64,
    /// The tile in which that is.
    pub worst_tile: u32,
}

/// From which difference and area on a ghost counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GhostLimits {
    /// Difference, L*.
    pub limit_l: f64,
    /// Area, mm2.
    pub area_mm2: f64,
}

/// Watches the glass. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(crate) struct GhostDetector {
    limits: GhostLimits,
    pixel_area_mm2: f64,
    /// The median of each level as the tiles were last judged by.
    medians: Vec<f64>,
    ghosted: Chunked<u64>,
    worst: Chunked<f64>,
    ghost_tiles: BTreeSet<u32>,
    ghosts: Vec<Ghost>,
}

impl GhostDetector {
    pub(crate) fn new(glass: &PanelState, levels: usize, limits: GhostLimits, pixel_area_mm2: f64) -> Self {
        let tiles = glass.grid().tiles();
        Self {
            limits,
            pixel_area_mm2,
            medians: vec![0.0; levels],
            ghosted: Chunked::new(tiles, 0),
            worst: Chunked::new(tiles, 0.0),
            ghost_tiles: BTreeSet::new(),
            ghosts: Vec::new(),
        }
    }

    /// The ghosts that were seen at the last look.
    pub(crate) fn ghosts(&self) -> &[Ghost] {
        &self.ghosts
    }

    /// From which difference and area on a ghost counts.
    pub(crate) fn limits(&self) -> GhostLimits {
        self.limits
    }

    /// Looks at the glass as it is now; gives the tiles that were moved since the last look, rising.
    pub(crate) fn look(&mut self, glass: &mut PanelState) -> Vec<u32> {
        let touched = glass.take_touched();
        let moved = self.moved_medians(glass);
        if moved.0 == 0 {
            self.look_again(touched.iter().copied(), glass);
        } else {
            let again = (0..glass.grid().tiles() as u32)
                .filter(|tile| glass.levels_in(*tile).0 & moved.0 != 0 || touched.binary_search(tile).is_ok());
            self.look_again(again, glass);
        }
        touched
    }

    fn look_again(&mut self, tiles: impl Iterator<Item = u32>, glass: &PanelState) {
        let mut changed = false;
        for tile in tiles {
            changed |= self.judge(tile, glass);
        }
        if changed {
            self.ghosts = self.group(glass);
        }
    }

    /// The median of each level, L*.
    pub(crate) fn medians(&self) -> &[f64] {
        &self.medians
    }

    fn moved_medians(&mut self, glass: &mut PanelState) -> LevelSet {
        let pixels = glass.pixels();
        let mut moved = LevelSet::default();
        for (level, (median, spread)) in self.medians.iter_mut().zip(glass.spreads_mut()).enumerate() {
            // A level on less than a hundredth of the panel has too few pixels to be judged by their own median.
            let now = if spread.total() * 100 < pixels { 0.0 } else { spread.median() };
            if now.to_bits() != median.to_bits() {
                *median = now;
                moved = moved.with(level as u8);
            }
        }
        moved
    }

    /// Judges the pixels of a tile; gives whether anything is other than before.
    fn judge(&mut self, tile: u32, glass: &PanelState) -> bool {
        let (ghosted, worst) = match glass.uniform_residue(tile) {
            Some(residue) => self.ghosted_alike(tile, residue, glass),
            None => self.ghosted_apart(tile, glass),
        };
        let at = tile as usize;
        let changed = ghosted != self.ghosted[at] || worst.to_bits() != self.worst[at].to_bits();
        if changed {
            self.ghosted[at] = ghosted;
            self.worst[at] = worst;
            if ghosted == 0 {
                self.ghost_tiles.remove(&tile);
            } else {
                self.ghost_tiles.insert(tile);
            }
        }
        changed
    }

    /// The pixels of a tile that are off, and by how much at the most, where all have one residue: a level is off or is not.
    fn ghosted_alike(&self, tile: u32, residue: f64, glass: &PanelState) -> (u64, f64) {
        let off = |level: Level| (glass.shown_of(level, residue) - self.medians[usize::from(level)]).abs();
        let (mut ghosted, mut worst) = (0, 0.0_f64);
        for level in glass.levels_in(tile).iter().filter(|level| off(*level) >= self.limits.limit_l) {
            ghosted |= glass.grid().whole(tile) & !differing_pixels(&[level; 64], glass.levels(tile));
            worst = worst.max(off(level));
        }
        (ghosted, worst)
    }

    /// The same where the residues differ.
    fn ghosted_apart(&self, tile: u32, glass: &PanelState) -> (u64, f64) {
        let (mut ghosted, mut worst) = (0, 0.0_f64);
        // What shows is at most the hidden residue, and off by at most that and the median.
        let most_median = self.medians.iter().fold(0.0_f64, |most, median| most.max(median.abs()));
        if glass.most_residue(tile) + most_median < self.limits.limit_l {
            return (ghosted, worst);
        }
        let levels = glass.levels(tile);
        for bit in bits(glass.grid().whole(tile)) {
            let off = (glass.shown_residue(tile, bit) - self.medians[usize::from(levels[bit as usize])]).abs();
            if off >= self.limits.limit_l {
                ghosted |= 1 << bit;
                worst = worst.max(off);
            }
        }
        (ghosted, worst)
    }

    fn group(&self, glass: &PanelState) -> Vec<Ghost> {
        let mask = Mask::from_sorted(self.ghost_tiles.iter().map(|tile| (*tile, self.ghosted[*tile as usize])));
        let (regions, labels) = regions_with_labels(&mask, glass.grid());
        let mut worst = vec![(0.0_f64, 0_u32); regions.len()];
        for ((tile, _), label) in mask.tiles().iter().zip(labels) {
            let known = &mut worst[label as usize];
            if self.worst[*tile as usize] > known.0 {
                *known = (self.worst[*tile as usize], *tile);
            }
        }
        let ghosts = regions.into_iter().zip(worst).map(|(region, (worst_l, worst_tile))| Ghost {
            rect: region.rect,
            pixels: region.pixels,
            worst_l,
            worst_tile,
        });
        ghosts.filter(|ghost| ghost.pixels as f64 * self.pixel_area_mm2 >= self.limits.area_mm2).collect()
    }
}
