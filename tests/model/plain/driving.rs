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
    /// Those of them that nobody knew from the beginning on: no old picture helps there.
    pub(crate) never_known: Mask,
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
    pub(crate) temperature_c: f64,
    /// Pixels in a row of the panel.
    pub(crate) width: usize,
}

/// What an update did to a pixel that it drove.
#[derive(Clone, Copy, Debug)]
struct Move {
    from: usize,
    to: usize,
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
            never_known: vec![unknown; pixels],
        }
    }

    pub(crate) fn charge(&self, limit_vs: f64) -> Charge {
        let beyond: Vec<f64> = self.impulse.iter().map(|q| q.abs()).filter(|q| *q > limit_vs).collect();
        Charge { beyond_px: beyond.len(), most_vs: beyond.iter().copied().fold(0.0, f64::max) }
    }

    /// The controller forgets the picture.
    pub(crate) fn forget(&mut self) {
        self.unknown.fill(true);
    }

    /// The old picture comes along: what the controller forgot is known again.
    pub(crate) fn remind(&mut self, covered: &[bool]) {
        for (pixel, unknown) in self.unknown.iter_mut().enumerate() {
            *unknown = if covered[pixel] { self.never_known[pixel] } else { *unknown };
        }
    }

    /// Brings every pixel of the mask towards its wanted level, and then changes what lies beside those that it drove.
    pub(crate) fn update(&mut self, drive: Drive<'_>, covered: &[bool], wanted: &[usize]) -> Tally {
        let mut tally = Tally::default();
        let mut moves: Vec<Option<Move>> = vec![None; self.nominal.len()];
        for pixel in 0..self.nominal.len() {
            if covered[pixel] {
                moves[pixel] = self.update_pixel(drive, pixel, wanted[pixel], &mut tally);
            }
        }
        for pixel in 0..self.nominal.len() {
            if moves[pixel].is_none() {
                self.residue[pixel] = beside(drive, &moves, pixel, self.residue[pixel]);
            }
        }
        tally
    }

    fn update_pixel(&mut self, drive: Drive<'_>, pixel: usize, wanted: usize, tally: &mut Tally) -> Option<Move> {
        let from = self.nominal[pixel];
        tally.changed += usize::from(wanted != self.nominal[pixel]);
        let target = self.target(drive, pixel, wanted, tally);
        if let Some(target) = target {
            self.drive_pixel(drive, pixel, target, tally);
        }
        let cleaned = target.is_some() && drive.mode.cleans && share_of_swing(drive) >= 1.0;
        if cleaned {
            self.since_cleaning[pixel] = 0;
            self.unknown[pixel] = false;
            self.never_known[pixel] = false;
        } else if target.is_some() || drive.counts == Counts::Updates {
            self.since_cleaning[pixel] += 1;
        }
        target.map(|to| Move { from, to })
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
        let law = mode.residue_at(drive.temperature_c);
        let k = if d < 0.0 {
            law.lighter
        } else if d > 0.0 {
            law.darker
        } else {
            0.0
        };
        let mut leaves = k * d;
        for &(from, to, leaves_l) in &law.pairs {
            if from == now && to == target {
                leaves = leaves_l;
            }
        }
        let mut residue = f * (law.keeps * e + leaves) + (1.0 - f) * (d + e);
        if wrong_start && d > 0.0 {
            residue += law.wrong_start;
        }
        if wrong_start && d < 0.0 {
            residue -= law.wrong_start;
        }
        if let Some(impulse) = mode.impulse {
            // Without signs: segments may be lighter where they are on.
            let contrast = (lightness[drive.ink.white] - lightness[drive.ink.black]).abs();
            let swing = (lightness[target] - lightness[now]).abs() / contrast;
            self.impulse[pixel] += time_share(drive)
                * if d < 0.0 {
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

/// What a pixel that was not driven carries after its neighbours were: e' of `docs/model.md`, beside what is driven.
fn beside(drive: Drive<'_>, moves: &[Option<Move>], pixel: usize, e: f64) -> f64 {
    let Some(law) = drive.mode.beside else { return e };
    let lightness = &drive.ink.lightness;
    let mut sum = 0.0;
    for neighbour in side_neighbours(pixel, drive.width, moves.len()) {
        let Some(moved) = moves[neighbour] else { continue };
        let swing = lightness[moved.to] - lightness[moved.from];
        let share = if swing > 0.0 { law.lighter } else { law.darker };
        sum += share_of_swing(drive) * share * swing;
    }
    if sum > 0.0 {
        e.max((e + sum).min(law.most_l))
    } else if sum < 0.0 {
        e.min((e + sum).max(-law.most_l))
    } else {
        e
    }
}

/// Left, right, above and below, as far as the panel goes.
fn side_neighbours(pixel: usize, width: usize, pixels: usize) -> Vec<usize> {
    let mut neighbours = Vec::new();
    let column = pixel % width;
    if column > 0 {
        neighbours.push(pixel - 1);
    }
    if column + 1 < width && pixel + 1 < pixels {
        neighbours.push(pixel + 1);
    }
    if pixel >= width {
        neighbours.push(pixel - width);
    }
    if pixel + width < pixels {
        neighbours.push(pixel + width);
    }
    neighbours
}

/// By how much a drive lasts longer than the mode does, for direct drive; 1 for all other modes, and where a mode takes no time.
pub(crate) fn time_share(drive: Drive<'_>) -> f64 {
    let mode = drive.mode;
    let duration_ms = mode.duration_at(drive.temperature_c);
    if mode.full_swing_ms.is_none() || duration_ms == 0.0 {
        return 1.0;
    }
    drive.for_ms / duration_ms
}

/// f of `docs/model.md`: 1, or for direct drive the share of the way that the drive's time allows.
pub(crate) fn share_of_swing(drive: Drive<'_>) -> f64 {
    drive.mode.full_swing_ms.map_or(1.0, |full| (drive.for_ms / full).min(1.0))
}
