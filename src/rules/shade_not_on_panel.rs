//! `shade-not-on-panel`: filled areas whose shade lies far from every level or colour of the panel.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{Rule, Setup, shapes, wording};
use crate::{
    change::Mask,
    display::{Ink, Level, ink::InkKind},
    finding::{Observation, Sink, StepField, Where},
    panel::PlayedStep,
    plan::{Plan, ScreenId},
};

/// Looks at every distinct screen once.
#[derive(Clone)]
pub(super) struct ShadeNotOnPanel<'p> {
    plan: &'p Plan,
    area_mm2: f64,
    /// How far a shade may lie from the nearest level, in the unit of the ink.
    limit: f64,
    /// How far each colour that was met is off, where it is more than the limit.
    off_by: HashMap<[u8; 3], Option<f64>>,
    /// Whether the ink's levels lie so far apart that some shade can be off.
    can_be_off: bool,
    seen: BTreeSet<ScreenId>,
}

impl<'p> ShadeNotOnPanel<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let ink = &setup.plan.display.ink;
        let is_palette = ink.colours().is_some();
        let limits = &setup.limits.shade_not_on_panel;
        let limit = if is_palette { limits.colour.value } else { limits.grey.value };
        let can_be_off = match ink.kind() {
            InkKind::Grey => (0..=255).any(|shade| distance(ink, [shade; 3]) > limit),
            InkKind::Palette(_) => true,
            InkKind::Segments(_) => false,
        };
        Self {
            area_mm2: limits.area_mm2.value,
            limit,
            can_be_off,
            plan: setup.plan,
            off_by: HashMap::new(),
            seen: BTreeSet::new(),
        }
    }

    fn off_by(&mut self, colour: [u8; 3]) -> Option<f64> {
        if self.plan.display.ink.is_nominal(colour) {
            return None;
        }
        let (ink, limit) = (&self.plan.display.ink, self.limit);
        *self.off_by.entry(colour).or_insert_with(|| Some(distance(ink, colour)).filter(|off| *off > limit))
    }

    fn off_pixels(&mut self, step: &PlayedStep<'_>) -> Mask {
        let size = step.memory.size();
        let mut tiles = Vec::new();
        for y in 0..size.height {
            // Neighbours are mostly of one colour, which is looked up once.
            let mut last = ([0; 3], self.off_by([0; 3]).is_some());
            for x in 0..size.width {
                let colour = step.memory.drawn(x, y);
                if colour != last.0 {
                    last = (colour, self.off_by(colour).is_some());
                }
                if last.1 {
                    tiles.push(step.grid().locate(x, y));
                }
            }
        }
        shapes::filled(&Mask::from_unsorted(tiles), step.grid(), |x, y| number(step.memory.drawn(x, y)))
    }
}

fn number([red, green, blue]: [u8; 3]) -> u32 {
    u32::from_be_bytes([0, red, green, blue])
}

/// How far a colour lies from the nearest of the ink: CIEDE2000 for a palette, 8-bit counts for greys.
fn distance(ink: &Ink, colour: [u8; 3]) -> f64 {
    match ink.nearest_colour(colour) {
        Some((_, far)) => far,
        None => ink.all().iter().map(|level| f64::from(ink.shade(level).abs_diff(colour[0]))).fold(256.0, f64::min),
    }
}

/// A shade as people write it.
fn name(ink: &Ink, [red, green, blue]: [u8; 3]) -> String {
    if ink.colours().is_some() { format!("#{red:02x}{green:02x}{blue:02x}") } else { red.to_string() }
}

impl Rule for ShadeNotOnPanel<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(screen) = step.planned.screen else { return };
        let display = &self.plan.display;
        if !self.can_be_off || !self.seen.insert(screen) {
            return;
        }
        let pixels = self.off_pixels(step);
        let mut by_shade: BTreeMap<[u8; 3], Vec<(u32, u64)>> = BTreeMap::new();
        pixels.for_each_pixel(step.grid(), |x, y| {
            by_shade.entry(step.memory.drawn(x, y)).or_default().push(step.grid().locate(x, y));
        });
        let masks = by_shade.into_iter().map(|(shade, tiles)| (shade, Mask::from_unsorted(tiles)));
        let large = masks.filter(|(_, mask)| display.area_mm2(mask.count()) >= self.area_mm2);
        let mut large: Vec<Area> =
            large.filter_map(|(shade, mask)| Area::new(shade, mask, &display.ink, step)).collect();
        let Some(worst) = large.iter().map(|area| area.off).reduce(f64::max) else { return };
        let all = large.iter().fold(Mask::new(), |all, area| all.or(&area.pixels));
        let vanished: u64 = large.iter().filter(|area| area.vanishes).map(|area| area.pixels.count()).sum();
        // The largest areas are named first; of equal ones the darker.
        large.sort_by_key(|area| (std::cmp::Reverse(area.pixels.count()), area.shade));
        let observation = observation(&display.ink, &large, &wording::area(all.count(), display));
        let observation = Observation {
            rect: all.bounds(step.grid()),
            figures: vec![
                ("px", all.count() as f64),
                ("mm2", display.area_mm2(all.count())),
                (if display.ink.colours().is_some() { "colour" } else { "grey" }, worst),
                ("vanished_px", vanished as f64),
            ],
            ..observation
        };
        sink.report(Where::of(step, StepField::Screen), observation);
    }
}

/// The filled areas of one shade that the panel does not have.
struct Area {
    shade: [u8; 3],
    pixels: Mask,
    /// How far it is off, in the unit of the ink.
    off: f64,
    /// What it becomes.
    level: Level,
    /// Whether what lies around it becomes the same.
    vanishes: bool,
}

/// From this share of its outline on an area vanishes where what lies outside becomes the same level. Common practice, no source.
const VANISHED_OUTLINE: f64 = 0.9;

/// As far outside of an area its ground begins, px: soft edges lie between.
const SOFT_EDGE_PX: i64 = 3;

impl Area {
    fn new(shade: [u8; 3], pixels: Mask, ink: &Ink, step: &PlayedStep<'_>) -> Option<Self> {
        let (tile, bits) = pixels.tiles().first()?;
        let level = step.glass.memory_levels(*tile)[bits.trailing_zeros() as usize];
        let [same, all] = outline(shade, level, &pixels, step);
        let vanishes = all > 0 && same as f64 >= VANISHED_OUTLINE * all as f64;
        Some(Self { off: distance(ink, shade), shade, pixels, level, vanishes })
    }
}

/// The places around areas of a shade: those outside of which the glass is to show the level that the shade becomes, and all.
fn outline(shade: [u8; 3], level: Level, pixels: &Mask, step: &PlayedStep<'_>) -> [u64; 2] {
    let size = step.memory.size();
    let mut found = [0; 2];
    pixels.for_each_pixel(step.grid(), |x, y| {
        for (right, down) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            let at = |far: i64| {
                let (x, y) = (i64::from(x) + far * right, i64::from(y) + far * down);
                let inside = x >= 0 && y >= 0 && x < i64::from(size.width) && y < i64::from(size.height);
                inside.then_some((x as u32, y as u32))
            };
            let Some(beyond) = at(1).filter(|(x, y)| step.memory.drawn(*x, *y) != shade).and_then(|_| at(SOFT_EDGE_PX))
            else {
                continue;
            };
            if step.memory.drawn(beyond.0, beyond.1) != shade {
                found[0] += u64::from(step.glass.memory_level(beyond.0, beyond.1) == level);
                found[1] += 1;
            }
        }
    });
    found
}

fn observation(ink: &Ink, large: &[Area], area: &str) -> Observation {
    let is_palette = ink.colours().is_some();
    let names = large.iter().map(|Area { shade, off, level, .. }| {
        let off = if is_palette { format!("{off:.1} in CIEDE2000") } else { format!("{off:.0}") };
        format!("{} becomes {} (off by {off})", name(ink, *shade), ink.name(*level))
    });
    let names: Vec<String> = names.collect();
    let vanished = large.iter().filter(|area| area.vanishes).map(|Area { shade, level, .. }| {
        let level = ink.name(*level);
        format!("; what is drawn in {} disappears, because what surrounds it becomes {level} too", name(ink, *shade))
    });
    let vanished: String = vanished.take(4).collect();
    let levels: Vec<String> = match ink.colours() {
        Some(colours) => colours.iter().map(|colour| format!("{} {}", colour.name, name(ink, colour.srgb))).collect(),
        None => ink.all().iter().map(|level| ink.shade(level).to_string()).collect(),
    };
    let [what, scale] = if is_palette { ["colours", ""] } else { ["shades", " (0 is black, 255 white)"] };
    Observation {
        message: format!(
            "{area} are filled with {what} that the panel does not have{scale}: {}{vanished}",
            wording::listed(&names, 4)
        ),
        help: format!(
            "draw the areas in the panel's own {what} ({}), or in a pattern of dots, which `stillpage prepare SCREEN --display \
             NAME --out DIR` makes; do not use a pattern for small letters",
            wording::listed(&levels, 16)
        ),
        ..Observation::default()
    }
}
