//! The state of every pixel, and what one update does to it. Knows no time beyond the length of a drive.

use super::geometry::Mask;
use super::ink::Ink;
use super::reading::{Counts, Drives, Mode, Otherwise};
use super::screens::Levels;

/// The panel's glass: one entry a pixel in every list.
#[derive(Clone, Debug)]
pub(crate) struct PanelState {
    /// What the controller believes.
    pub(crate) nominal: Levels,
    /// L*: how much lighter than its level the pixel would be without the panel's limits.
    pub(crate) residue: Vec<f64>,
    /// Updates since the last cleaning.
    pub(crate) since_cleaning: Vec<u64>,
    /// Net impulse, volt-seconds.
    pub(crate) impulse: Vec<f64>,
    pub(crate) unknown: Mask,
}

/// The pixels whose net impulse is beyond the limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Charge {
    pub(crate) beyond_px: usize,
    /// The largest net impulse of those, without its sign, volt-seconds; 0 where there is none.
    pub(crate) most_vs: f64,
}

/// How many pixels of the sent boxes are what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    pub(crate) changed: usize,
    pub(crate) driven: usize,
    pub(crate) out_of_reach: usize,
    pub(crate) wrong_start: usize,
}

/// One drive of the panel: how, and for how long.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drive<'a> {
    pub(crate) ink: &'a Ink,
    pub(crate) counts: Counts,
    pub(crate) mode: &'a Mode,
    pub(crate) for_ms: f64,
}

impl PanelState {
    pub(crate) fn clean(nominal: Levels, unknown: bool) -> PanelState {
        let pixels = nominal.len();
        PanelState {
            nominal,
            residue: vec![0.0; pixels],
            since_cleaning: vec![0; pixels],
            impulse: vec![0.0; pixels],
            unknown: vec![unknown; pixels],
        }
    }

    pub(crate) fn charge(&self, limit_vs: f64) -> Charge {
        let beyond: Vec<f64> = self.impulse.iter().map(|q| q.abs()).filter(|q| *q > limit_vs).collect();
        Charge { beyond_px: beyond.len(), most_vs: beyond.iter().copied().fold(0.0, f64::max) }
    }

    /// Brings every pixel of the mask towards its wanted level.
    pub(crate) fn update(&mut self, drive: Drive<'_>, covered: &[bool], wanted: &[usize]) -> Tally {
        let mut tally = Tally::default();
        for pixel in 0..self.nominal.len() {
            if covered[pixel] {
                self.update_pixel(drive, pixel, wanted[pixel], &mut tally);
            }
        }
        tally
    }

    fn update_pixel(&mut self, drive: Drive<'_>, pixel: usize, wanted: usize, tally: &mut Tally) {
        tally.changed += usize::from(wanted != self.nominal[pixel]);
        let target = self.target(drive, pixel, wanted, tally);
        if let Some(target) = target {
            self.drive_pixel(drive, pixel, target, tally);
        }
        let cleaned = target.is_some() && drive.mode.cleans && share_of_swing(drive) >= 1.0;
        if cleaned {
            self.since_cleaning[pixel] = 0;
            self.unknown[pixel] = false;
        } else if target.is_some() || drive.counts == Counts::Updates {
            self.since_cleaning[pixel] += 1;
        }
    }

    /// The level that the pixel is driven to; none where it is not driven.
    fn target(&self, drive: Drive<'_>, pixel: usize, wanted: usize, tally: &mut Tally) -> Option<usize> {
        let mode = drive.mode;
        let now = self.nominal[pixel];
        if mode.drives == Drives::Changed && wanted == now {
            return None;
        }
        if mode.to.contains(&wanted) {
            return Some(wanted);
        }
        tally.out_of_reach += 1;
        if mode.otherwise == Otherwise::Skipped {
            return None;
        }
        let nearest = drive.ink.nearest(wanted, &mode.to)?;
        if mode.drives == Drives::Changed && nearest == now { None } else { Some(nearest) }
    }

    fn drive_pixel(&mut self, drive: Drive<'_>, pixel: usize, target: usize, tally: &mut Tally) {
        let lightness = &drive.ink.lightness;
        let mode = drive.mode;
        let now = self.nominal[pixel];
        let wrong_start = !mode.from.contains(&now);
        tally.driven += 1;
        tally.wrong_start += usize::from(wrong_start);

        let f = share_of_swing(drive);
        let e = self.residue[pixel];
        let d = lightness[now] - lightness[target];
        let k = if d < 0.0 {
            mode.residue.lighter
        } else if d > 0.0 {
            mode.residue.darker
        } else {
            0.0
        };
        let mut residue = f * (mode.residue.keeps * e + k * d) + (1.0 - f) * (d + e);
        if wrong_start && d > 0.0 {
            residue += mode.residue.wrong_start;
        }
        if wrong_start && d < 0.0 {
            residue -= mode.residue.wrong_start;
        }
        if let Some(impulse) = mode.impulse {
            // Without signs: segments may be lighter where they are on.
            let contrast = (lightness[drive.ink.white] - lightness[drive.ink.black]).abs();
            let swing = (lightness[target] - lightness[now]).abs() / contrast;
            self.impulse[pixel] += if d < 0.0 {
                impulse.lighter * swing
            } else if d > 0.0 {
                impulse.darker * swing
            } else {
                impulse.same
            };
        }
        self.residue[pixel] = residue;
        self.nominal[pixel] = target;
    }
}

/// f of `docs/model.md`: 1, or for direct drive the share of the way that the drive's time allows.
pub(crate) fn share_of_swing(drive: Drive<'_>) -> f64 {
    drive.mode.full_swing_ms.map_or(1.0, |full| (drive.for_ms / full).min(1.0))
}
