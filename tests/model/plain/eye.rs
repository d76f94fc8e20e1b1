//! What a viewer sees at a step's end: how far every pixel shows from its level, and the ghosts among them.

use super::driving::PanelState;
use super::geometry::{Mask, Size, count};
use super::ink::Ink;
use super::regions::groups;

/// The limit in force, and the area of one pixel.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GhostLimit {
    pub(crate) limit_l: f64,
    pub(crate) area_mm2: f64,
    pub(crate) pixels_per_inch: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seen {
    pub(crate) worst_residue_l: f64,
    /// What half a square millimetre of the panel reaches, L*, a ghost or not.
    pub(crate) residue_l: f64,
    pub(crate) ghost_px: usize,
    /// How close the pixel that comes nearest to the limit is to it. Where this is less than the coarseness of a stored
    /// residue, two right implementations may take that pixel for different things.
    pub(crate) margin_l: f64,
}

pub(crate) fn seen(size: Size, ink: &Ink, glass: &PanelState, limit: GhostLimit) -> Seen {
    let off = off_median(ink, glass);
    let ghosted: Mask = off.iter().map(|&o| o >= limit.limit_l).collect();
    let pixel_mm = 25.4 / limit.pixels_per_inch;
    let mut seen = Seen {
        worst_residue_l: 0.0,
        residue_l: reached_by(&off, HALF_MM2, pixel_mm * pixel_mm),
        ghost_px: 0,
        margin_l: off.iter().map(|o| (o - limit.limit_l).abs()).fold(f64::INFINITY, f64::min),
    };
    for group in groups(size, &ghosted) {
        if count(&group) as f64 * pixel_mm * pixel_mm >= limit.area_mm2 {
            seen.ghost_px += count(&group);
            let strongest = group.iter().zip(&off).filter(|(g, _)| **g).map(|(_, &o)| o).fold(0.0, f64::max);
            seen.worst_residue_l = seen.worst_residue_l.max(strongest);
        }
    }
    seen
}

/// mm2.
const HALF_MM2: f64 = 0.5;

/// What so large an area reaches together: the k-th largest, where k pixels are the fewest that make it.
fn reached_by(off: &[f64], area_mm2: f64, pixel_mm2: f64) -> f64 {
    let mut falling = off.to_vec();
    falling.sort_by(|a, b| b.total_cmp(a));
    let mut k = 1;
    while (k as f64) * pixel_mm2 < area_mm2 {
        k += 1;
    }
    falling[k.min(falling.len()) - 1]
}

/// How far each pixel shows from the median of its level, L*, without the sign.
pub(crate) fn off_median(ink: &Ink, glass: &PanelState) -> Vec<f64> {
    let shown = shown_residue(ink, glass);
    let medians: Vec<f64> = (0..ink.levels()).map(|level| median_at(&glass.nominal, &shown, level)).collect();
    shown.iter().zip(&glass.nominal).map(|(s, &level)| (s - medians[level]).abs()).collect()
}

/// s of `docs/model.md`: what shows, cut to the panel's own range, less the level's lightness.
pub(crate) fn shown_residue(ink: &Ink, glass: &PanelState) -> Vec<f64> {
    glass
        .nominal
        .iter()
        .zip(&glass.residue)
        .map(|(&level, e)| {
            let own = ink.lightness[level];
            (own + e).clamp(ink.darkest(), ink.lightest()) - own
        })
        .collect()
}

/// The median over the pixels at a level, and 0 for a level that holds less than a hundredth of the panel.
fn median_at(nominal: &[usize], shown: &[f64], level: usize) -> f64 {
    let mut at_level: Vec<f64> = nominal.iter().zip(shown).filter(|(n, _)| **n == level).map(|(_, &s)| s).collect();
    if at_level.is_empty() || at_level.len() * 100 < nominal.len() {
        return 0.0;
    }
    at_level.sort_by(f64::total_cmp);
    let middle = at_level.len() / 2;
    if at_level.len() % 2 == 1 { at_level[middle] } else { f64::midpoint(at_level[middle - 1], at_level[middle]) }
}
