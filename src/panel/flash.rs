//! Flashes: how large an area flashes more often than a limit within any second, as a viewer at a distance sees it.
//!
//! Counts the flashes of modes, and those that the content makes by swinging there and back. Knows levels and boxes, not
//! modes. The thresholds are those of WCAG 2.2, success criterion 2.3.1 and its definition of general and red flash.

use std::collections::{BTreeMap, VecDeque};

use crate::{
    change::{Mask, TileGrid},
    display::{Ink, Level},
    geometry::Rect,
    units::{chromaticity, linear},
};

/// From how many flashes a second on which solid angle breaks the threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlashLimits {
    /// Solid angle, sr.
    pub sr: f64,
    /// That many flashes within a second are still allowed.
    pub per_second: f64,
}

/// Flashes that break the threshold.
#[derive(Clone, Debug, PartialEq)]
pub struct FlashBreak {
    /// Whether they are red flashes; general ones else.
    pub is_red: bool,
    /// Whether one update does it alone.
    pub is_alone: bool,
    /// Whether the content makes them, by swinging there and back.
    pub is_content: bool,
    /// The most flashes within a second.
    pub flashes: usize,
    /// The box around all that flashes too often.
    pub rect: Rect,
    /// The pixels of it that lie in one field of view.
    pub pixels: u64,
    /// Their solid angle, sr.
    pub sr: f64,
}

/// A second, ms.
const SECOND_MS: f64 = 1000.0;
/// A field of 10 degrees, as parts of the viewing distance: WCAG 2.2, technique G176.
const FIELD: [f64; 2] = [0.1745, 0.1309];
/// As many flashes are looked at together.
const MOST_FLASHES: usize = 256;

/// Whether a change between two relative luminances (0 to 1, of the panel's white) is half of a general flash: 0.1 or
/// more apart, the darker below 0.8 (WCAG 2.2, general flash).
fn is_general_swing(one: f64, other: f64) -> bool {
    // The luminances come from divisions: what is meant to be 0.1 apart must not fail by the last bit.
    (one - other).abs() >= 0.1 - 1e-12 && one.min(other) < 0.8
}

/// Whether a change between two encoded sRGB colours is half of a red flash: one of them a saturated red, R / (R + G + B)
/// of 0.8 or more in linear light, and more than 0.2 apart in CIE 1976 u'v' (WCAG 2.2, red flash).
fn is_red_swing(one: [u8; 3], other: [u8; 3]) -> bool {
    let apart = || {
        let ([u, v], [other_u, other_v]) = (chromaticity(one), chromaticity(other));
        (u - other_u).hypot(v - other_v) > 0.2
    };
    (is_saturated_red(one) || is_saturated_red(other)) && apart()
}

fn is_saturated_red(colour: [u8; 3]) -> bool {
    let [red, green, blue] = colour.map(linear);
    red > 0.0 && red / (red + green + blue) >= 0.8
}

/// What kind of half flash a change of level is.
#[derive(Clone, Debug)]
pub(crate) struct SwingTable {
    levels: usize,
    general: Vec<bool>,
    red: Vec<bool>,
}

impl SwingTable {
    pub(crate) fn new(ink: &Ink) -> Self {
        let levels = ink.levels();
        let white = ink.reflectance(ink.white()).max(f64::MIN_POSITIVE);
        let pairs = || (0..levels * levels).map(|at| ((at / levels) as Level, (at % levels) as Level));
        let luminance = |level| ink.reflectance(level) / white;
        Self {
            levels,
            general: pairs().map(|(one, other)| is_general_swing(luminance(one), luminance(other))).collect(),
            red: pairs()
                .map(|(one, other)| ink.colours().is_some() && is_red_swing(ink.srgb(one), ink.srgb(other)))
                .collect(),
        }
    }

    fn is_flash(&self, is_red: bool, one: Level, other: Level) -> bool {
        let table = if is_red { &self.red } else { &self.general };
        table[usize::from(one) * self.levels + usize::from(other)]
    }

    fn has_any(&self, is_red: bool) -> bool {
        if is_red { self.red.contains(&true) } else { self.general.contains(&true) }
    }
}

/// The pixels of a tile that an update swung between two levels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TileSwing {
    pub(crate) tile: u32,
    pub(crate) from: Level,
    pub(crate) to: Level,
    pub(crate) pixels: u64,
}

/// An update as the flashes see it.
#[derive(Debug)]
pub(crate) struct FlashingUpdate<'u> {
    pub(crate) sent: &'u [Rect],
    pub(crate) start_ms: f64,
    pub(crate) duration_ms: f64,
    pub(crate) flashes: u32,
    pub(crate) swings: &'u [TileSwing],
}

/// Follows the flashes of the last second.
#[derive(Debug)]
pub(crate) struct Flashes {
    grid: TileGrid,
    limits: FlashLimits,
    viewing_distance_mm: f64,
    pixel_mm: f64,
    table: SwingTable,
    /// Of general and of red flashes.
    seen: [Seen; 2],
}

#[derive(Debug, Default)]
struct Seen {
    flashes: VecDeque<Flash>,
    /// Each tile's pixels that swung last to the lighter and to the darker side, and when.
    sides: BTreeMap<u32, (f64, u64, u64)>,
}

#[derive(Clone, Debug)]
struct Flash {
    at_ms: f64,
    update: u64,
    place: Place,
}

#[derive(Clone, Debug)]
enum Place {
    Boxes(Vec<Rect>),
    Pixels(Mask),
}

impl Flashes {
    pub(crate) fn new(grid: TileGrid, ink: &Ink, limits: FlashLimits, viewing_distance_mm: f64, pixel_mm: f64) -> Self {
        Self { grid, limits, viewing_distance_mm, pixel_mm, table: SwingTable::new(ink), seen: Default::default() }
    }

    /// Takes the `number`th update of the plan; gives the thresholds that are broken now.
    pub(crate) fn update(&mut self, number: u64, update: &FlashingUpdate<'_>) -> Vec<FlashBreak> {
        let mut broken = Vec::new();
        for is_red in [false, true] {
            if !self.table.has_any(is_red) {
                continue;
            }
            let fresh = self.fresh(is_red, number, update);
            let seen = &mut self.seen[usize::from(is_red)];
            let oldest_ms = update.start_ms - SECOND_MS;
            seen.flashes.retain(|flash| flash.at_ms > oldest_ms);
            if fresh.is_empty() {
                continue;
            }
            seen.flashes.extend(fresh);
            let extra = seen.flashes.len().saturating_sub(MOST_FLASHES);
            seen.flashes.drain(..extra);
            broken.extend(self.worst(is_red, number));
        }
        broken
    }

    fn fresh(&mut self, is_red: bool, number: u64, update: &FlashingUpdate<'_>) -> Vec<Flash> {
        let mut fresh: Vec<Flash> = (0..update.flashes.min(MOST_FLASHES as u32))
            .map(|index| Flash {
                at_ms: update.start_ms + (f64::from(index) + 0.5) * update.duration_ms / f64::from(update.flashes),
                update: number,
                place: Place::Boxes(update.sent.to_vec()),
            })
            .collect();
        let at_ms = update.start_ms + update.duration_ms / 2.0;
        let pixels = self.turn(is_red, at_ms, update.swings);
        if update.flashes == 0 && !pixels.is_empty() {
            fresh.push(Flash { at_ms, update: number, place: Place::Pixels(pixels) });
        }
        fresh
    }

    /// The pixels that swing another way than they did within the last second: each makes half a flash.
    fn turn(&mut self, is_red: bool, at_ms: f64, swings: &[TileSwing]) -> Mask {
        let seen = &mut self.seen[usize::from(is_red)];
        seen.sides.retain(|_, (last_ms, _, _)| at_ms - *last_ms < SECOND_MS);
        let mut turned = Vec::new();
        for swing in swings.iter().filter(|swing| self.table.is_flash(is_red, swing.from, swing.to)) {
            let (last_ms, up, down) = seen.sides.entry(swing.tile).or_insert((at_ms, 0, 0));
            *last_ms = at_ms;
            let (same, opposite) = if swing.to > swing.from { (up, down) } else { (down, up) };
            turned.push((swing.tile, swing.pixels & !*same));
            *same |= swing.pixels;
            *opposite &= !swing.pixels;
        }
        Mask::from_unsorted(turned)
    }

    /// The largest break among the seconds that hold a flash of this update.
    fn worst(&self, is_red: bool, number: u64) -> Option<FlashBreak> {
        let seen = &self.seen[usize::from(is_red)];
        let allowed = self.limits.per_second;
        if halves(seen.flashes.iter()) as f64 <= 2.0 * allowed {
            return None;
        }
        let mut flashes: Vec<&Flash> = seen.flashes.iter().collect();
        flashes.sort_by(|one, other| one.at_ms.total_cmp(&other.at_ms));
        let mut worst: Option<FlashBreak> = None;
        for first in 0..flashes.len() {
            let end_ms = flashes[first].at_ms + SECOND_MS;
            let second: Vec<&Flash> =
                flashes[first..].iter().take_while(|flash| flash.at_ms < end_ms).copied().collect();
            if halves(second.iter().copied()) as f64 <= 2.0 * allowed
                || !second.iter().any(|flash| flash.update == number)
            {
                continue;
            }
            let found = self.measure(is_red, &second);
            if found.as_ref().map_or(0.0, |found| found.sr) > worst.as_ref().map_or(0.0, |worst| worst.sr) {
                worst = found;
            }
        }
        worst
    }

    fn measure(&self, is_red: bool, second: &[&Flash]) -> Option<FlashBreak> {
        let mut too_often = Mask::new();
        let mut most = 0;
        for tile in 0..self.grid.tiles() as u32 {
            let (pixels, flashes) = self.too_often(tile, second);
            too_often.push(tile, pixels);
            most = most.max(flashes);
        }
        let rect = too_often.bounds(&self.grid)?;
        let pixels = self.most_in_field(&too_often);
        let sr = pixels as f64 * self.pixel_mm * self.pixel_mm / (self.viewing_distance_mm * self.viewing_distance_mm);
        (sr >= self.limits.sr).then(|| FlashBreak {
            is_red,
            is_alone: second.iter().all(|flash| flash.update == second[0].update),
            is_content: second.iter().any(|flash| matches!(flash.place, Place::Pixels(_))),
            flashes: most,
            rect,
            pixels,
            sr,
        })
    }

    /// The pixels of a tile that flash more often than allowed, and the most flashes of any.
    fn too_often(&self, tile: u32, second: &[&Flash]) -> (u64, usize) {
        let whole = self.grid.whole(tile);
        // at_least[n]: the pixels with more than n half flashes.
        let mut at_least = vec![0_u64; halves(second.iter().copied())];
        for flash in second {
            let pixels = whole
                & match &flash.place {
                    Place::Boxes(boxes) => boxes.iter().fold(0, |cover, rect| cover | self.grid.cover(tile, *rect)),
                    Place::Pixels(mask) => mask.pixels_of(tile),
                };
            for _ in 0..flash.place.halves() {
                add(pixels, &mut at_least);
            }
        }
        let half_flashes = at_least.iter().take_while(|pixels| **pixels != 0).count();
        let allowed = (2.0 * self.limits.per_second) as usize;
        (at_least.get(allowed).copied().unwrap_or(0), half_flashes.div_ceil(2))
    }

    /// The most pixels of a mask inside a field of view, which is laid on whole tiles, either way up.
    fn most_in_field(&self, mask: &Mask) -> u64 {
        let [long, short] = FIELD.map(|part| {
            let tiles = part * self.viewing_distance_mm / self.pixel_mm / f64::from(crate::change::TILE);
            // Rounded up: rather told once too often.
            tiles.ceil() as u32
        });
        let sums = Sums::new(mask, &self.grid);
        sums.most(long, short).max(sums.most(short, long))
    }
}

impl Place {
    /// A mode swings there and back, the content one way at a time.
    fn halves(&self) -> usize {
        match self {
            Self::Boxes(_) => 2,
            Self::Pixels(_) => 1,
        }
    }
}

fn halves<'f>(flashes: impl Iterator<Item = &'f Flash>) -> usize {
    flashes.map(|flash| flash.place.halves()).sum()
}

/// Counts some pixels once more.
fn add(mut pixels: u64, at_least: &mut [u64]) {
    for known in at_least {
        let both = *known & pixels;
        *known |= pixels;
        pixels = both;
        if pixels == 0 {
            break;
        }
    }
}

/// Sums of pixels over rectangles of tiles.
struct Sums {
    columns: u32,
    rows: u32,
    /// How many pixels lie above and to the left of each corner.
    corners: Vec<u64>,
}

impl Sums {
    fn new(mask: &Mask, grid: &TileGrid) -> Self {
        let (columns, rows) = (grid.columns(), grid.rows());
        let wide = columns as usize + 1;
        let mut corners = vec![0_u64; wide * (rows as usize + 1)];
        for (tile, pixels) in mask.tiles() {
            let (x, y) = ((tile % columns) as usize, (tile / columns) as usize);
            corners[(y + 1) * wide + x + 1] = u64::from(pixels.count_ones());
        }
        for y in 1..=rows as usize {
            for x in 1..wide {
                let above = corners[(y - 1) * wide + x] + corners[y * wide + x - 1] - corners[(y - 1) * wide + x - 1];
                corners[y * wide + x] += above;
            }
        }
        Self { columns, rows, corners }
    }

    fn most(&self, width: u32, height: u32) -> u64 {
        let (width, height) = (width.min(self.columns), height.min(self.rows));
        let corner = |x: u32, y: u32| self.corners[y as usize * (self.columns as usize + 1) + x as usize];
        let places = (0..=self.rows - height).flat_map(|y| (0..=self.columns - width).map(move |x| (x, y)));
        let pixels = places
            .map(|(x, y)| corner(x + width, y + height) + corner(x, y) - corner(x + width, y) - corner(x, y + height));
        pixels.max().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    /// WCAG 2.2, definition of general flash: 10 % or more of the relative luminance, the darker image below 0.80.
    #[test]
    fn a_general_swing_is_a_tenth_of_the_luminance_below_eight_tenths() {
        assert!(is_general_swing(0.79, 0.89) && is_general_swing(0.0, 0.10));
        assert!(!is_general_swing(0.80, 0.95) && !is_general_swing(0.0, 0.0999));
    }

    /// WCAG 2.2, definition of red flash. Measured red pigments lie 0.24 to 0.26 in u'v' from panel white (worked out from
    /// sRGB values published for a six-pigment panel).
    #[test]
    fn a_pigment_red_against_white_is_a_red_swing() {
        assert!(is_red_swing([121, 9, 0], [185, 202, 205]) && is_red_swing([255, 0, 0], [255, 255, 255]));
        assert!(!is_red_swing([202, 184, 0], [185, 202, 205]), "yellow is no saturated red");
        assert!(!is_red_swing([121, 9, 0], [130, 10, 0]), "two reds");
    }

    const SIDE: u32 = 400;

    fn flashes(pixels_per_inch: f64, distance_mm: f64) -> Flashes {
        let grid = TileGrid::new(Size { width: SIDE, height: SIDE });
        let limits = FlashLimits { sr: 0.006, per_second: 3.0 };
        Flashes::new(grid, &Ink::grey_between(2, 0.04, 0.44), limits, distance_mm, 25.4 / pixels_per_inch)
    }

    fn swing_all(to: Level) -> Vec<TileSwing> {
        let grid = TileGrid::new(Size { width: SIDE, height: SIDE });
        (0..grid.tiles() as u32).map(|tile| TileSwing { tile, from: 1 - to, to, pixels: grid.whole(tile) }).collect()
    }

    /// WCAG 2.2, technique G19: seven transitions within a second are more than three flashes, six are not.
    #[test]
    fn seven_swings_within_a_second_fail_and_six_pass() {
        for (transitions, fails) in [(6, false), (7, true)] {
            let mut flashes = flashes(130.0, 400.0);
            let mut broken = Vec::new();
            for transition in 0..transitions {
                let swings = swing_all((transition % 2) as Level);
                let update = FlashingUpdate {
                    sent: &[],
                    start_ms: 120.0 * transition as f64,
                    duration_ms: 100.0,
                    flashes: 0,
                    swings: &swings,
                };
                broken.extend(flashes.update(transition, &update));
            }
            assert_eq!(!broken.is_empty(), fails, "{transitions} transitions");
        }
    }

    /// WCAG 2.2, technique G176: the quarter of a field of 0.1745 by 0.1309 of the viewing distance is safe. The areas in px are
    /// worked out from it: 227 ppi at 350 mm 55,872 px, 300 ppi at 350 mm 97,586 px, 130 ppi at 400 mm 23,934 px.
    #[test]
    fn the_safe_area_is_a_quarter_of_the_field() {
        for (pixels_per_inch, distance_mm, safe_px) in
            [(227.0, 350.0, 55_872_u64), (300.0, 350.0, 97_586), (130.0, 400.0, 23_934)]
        {
            let pixel_mm: f64 = 25.4 / pixels_per_inch;
            let quarter = FIELD[0] * FIELD[1] * distance_mm * distance_mm / 4.0 / (pixel_mm * pixel_mm);
            assert!((quarter - safe_px as f64).abs() < 1.0, "{pixels_per_inch} ppi at {distance_mm} mm: {quarter}");
            // In steradians 0.00571: below the limit of 0.006, and a twentieth more is above it.
            let height = safe_px.div_ceil(u64::from(SIDE)) as u32;
            for (rows, breaks) in [(height, false), (height * 11 / 10 + 1, true)] {
                let sent = [Rect { x: 0, y: 0, width: SIDE, height: rows }];
                let update = FlashingUpdate { sent: &sent, start_ms: 0.0, duration_ms: 900.0, flashes: 4, swings: &[] };
                let broken = flashes(pixels_per_inch, distance_mm).update(0, &update);
                let fits = f64::from(SIDE) * pixel_mm <= FIELD[0] * distance_mm;
                assert_eq!(!broken.is_empty(), breaks && fits, "{rows} rows at {pixels_per_inch} ppi");
            }
        }
    }

    #[test]
    fn two_updates_flash_together_what_neither_does_alone() {
        let sent = [Rect { x: 0, y: 0, width: SIDE, height: SIDE }];
        let update = |start_ms| FlashingUpdate { sent: &sent, start_ms, duration_ms: 450.0, flashes: 2, swings: &[] };
        let mut near = flashes(130.0, 400.0);
        assert!(near.update(0, &update(0.0)).is_empty());
        let broken = near.update(1, &update(460.0));
        assert_eq!(broken.len(), 1);
        assert_eq!((broken[0].flashes, broken[0].is_alone, broken[0].is_red), (4, false, false));
        let mut apart = flashes(130.0, 400.0);
        assert!(apart.update(0, &update(0.0)).is_empty() && apart.update(1, &update(900.0)).is_empty());
    }
}
