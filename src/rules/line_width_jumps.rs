//! `line-width-jumps`: the committed line is thicker or thinner than the one that the controller drew under the pen.

use super::{Rule, Setup, pen::Lasting, wording};
use crate::{
    change::{Mask, TileGrid},
    display::{Ink, Level, ink::MOST_LEVELS},
    finding::{Observation, Sink, StepField, Where},
    panel::{PlayedStep, PlayedStroke},
    plan::{Plan, Stroke},
    units::length_mm,
};

/// Measures both lines across the stroke, from place to place.
#[derive(Clone)]
pub(super) struct LineWidthJumps<'p> {
    plan: &'p Plan,
    limit_px: f64,
    table: [Level; 256],
    lasting: Lasting,
}

/// As many places of a stroke are measured.
const PLACES: usize = 200;
/// Fewer places tell nothing.
const FEWEST_PLACES: usize = 4;
/// Half the pace with which a width is walked, px.
const HALF_PACE: f64 = 0.25;

/// Both widths of a stroke, px.
#[derive(Clone, Copy)]
struct Widths {
    drawn: f64,
    committed: f64,
}

impl Widths {
    fn jump(self) -> f64 {
        self.committed - self.drawn
    }
}

impl<'p> LineWidthJumps<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let table = setup.plan.display.ink.level_table();
        Self { plan: setup.plan, limit_px: setup.limits.line_width_jumps.px.value, table, lasting: Lasting::default() }
    }

    /// The widths at the places where the commit holds the line; `None` if it mostly does not. The mean of the middle
    /// half: crossings and bends are at its ends.
    fn measure(&self, stroke: &Stroke, played: &PlayedStroke, step: &PlayedStep<'_>) -> Option<Widths> {
        let ink = &self.plan.display.ink;
        let line = CommittedLine::of(played, step, ink, &self.table)?;
        let places = places_of(stroke);
        let most_px = 2.0 * stroke.width_px + 16.0;
        let grid = step.grid();
        let mut widths: Vec<Widths> = places
            .iter()
            .filter(|place| line.begins_at(place.at))
            .filter_map(|place| {
                let ground = line.before(place.at)?;
                let drawn = |at| if holds(&played.pixels, grid, at) { Share::Line(1.0) } else { Share::Ground };
                let drawn = place.width(most_px, drawn)?;
                Some(Widths { drawn, committed: place.width(most_px, |at| line.share(at, ground))? })
            })
            .collect();
        if widths.len() < FEWEST_PLACES || 2 * widths.len() < places.len() {
            return None;
        }
        widths.sort_by(|one, other| one.jump().total_cmp(&other.jump()));
        let quarter = widths.len() / 4;
        let middle = &widths[quarter..widths.len() - quarter];
        let mean = |width: fn(&Widths) -> f64| middle.iter().map(width).sum::<f64>() / middle.len() as f64;
        Some(Widths { drawn: mean(|widths| widths.drawn), committed: mean(|widths| widths.committed) })
    }

    fn observation(&self, widths: Widths, stroke: &Stroke, rect: Option<crate::geometry::Rect>) -> Observation {
        let jump_px = widths.jump();
        let width_px = (stroke.width_px + jump_px).max(0.5).round();
        let to_do = format!("set `width_px` to {width_px}, or commit a line of {} px", stroke.width_px);
        Observation {
            rect,
            message: format!(
                "the line under the pen is {} px wide, but the committed one is {} px: it becomes {} px ({} mm) {} \
                when the pen is lifted",
                wording::figure(widths.drawn),
                wording::figure(widths.committed),
                wording::figure(jump_px.abs()),
                wording::figure(length_mm(jump_px.abs(), self.plan.display.pixels_per_inch)),
                if jump_px > 0.0 { "thicker" } else { "thinner" }
            ),
            help: format!("make both lines equally wide: {to_do}"),
            in_short: Some(to_do),
            figures: vec![
                ("drawn_px", widths.drawn),
                ("committed_px", widths.committed),
                ("jump_px", jump_px),
                ("limit_px", self.limit_px),
            ],
            ..Observation::default()
        }
    }
}

/// A place on a stroke, and the direction across it.
#[derive(Clone)]
struct Place {
    at: (f64, f64),
    across: (f64, f64),
}

impl Place {
    /// How wide something is here: walked to both sides until it ends; `None` if it does not end.
    fn width(&self, most_px: f64, share: impl Fn((f64, f64)) -> Share) -> Option<f64> {
        let mut width = 0.0;
        for side in [1.0, -1.0] {
            let mut off = HALF_PACE;
            // What lies over the line belongs to it only where the line goes on behind.
            let mut over = 0.0;
            loop {
                let along = off * side;
                match share((self.at.0 + along * self.across.0, self.at.1 + along * self.across.1)) {
                    Share::Edge => return None,
                    Share::Line(_) if off > most_px => return None,
                    Share::Line(share) => width += share * 2.0 * HALF_PACE + std::mem::take(&mut over),
                    Share::Over if off <= most_px => over += 2.0 * HALF_PACE,
                    Share::Over | Share::Ground => break,
                }
                off += 2.0 * HALF_PACE;
            }
        }
        Some(width)
    }
}

/// What a pixel is to a line.
#[derive(Clone, Copy, PartialEq)]
enum Share {
    /// Covered by it, 0 to 1: soft edges cover a part.
    Line(f64),
    /// Something else lies over it, as letters over a highlighter.
    Over,
    /// The line has ended.
    Ground,
    /// The panel has ended, or another stroke begins: nobody can tell whether the line has ended.
    Edge,
}

/// Places along a stroke, about a pixel apart, at most some number of them.
fn places_of(stroke: &Stroke) -> Vec<Place> {
    let segments = || {
        stroke.points.windows(2).map(|pair| (pair[0], pair[1], (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y)))
    };
    let length: f64 = segments().map(|(_, _, length)| length).sum();
    let pace = (length / PLACES as f64).max(1.0);
    let mut places = Vec::new();
    let mut next = pace / 2.0;
    for (from, to, length) in segments().filter(|(_, _, length)| *length > 0.0) {
        let (along_x, along_y) = ((to.x - from.x) / length, (to.y - from.y) / length);
        while next < length {
            places.push(Place { at: (from.x + next * along_x, from.y + next * along_y), across: (-along_y, along_x) });
            next += pace;
        }
        next -= length;
    }
    places
}

fn pixel_at(grid: &TileGrid, (x, y): (f64, f64)) -> Option<(u32, u32)> {
    let size = grid.size();
    let inside = x >= 0.0 && y >= 0.0 && x < f64::from(size.width) && y < f64::from(size.height);
    inside.then_some((x as u32, y as u32))
}

fn holds(mask: &Mask, grid: &TileGrid, at: (f64, f64)) -> bool {
    pixel_at(grid, at).is_some_and(|(x, y)| {
        let (tile, bit) = grid.locate(x, y);
        mask.pixels_of(tile) & bit != 0
    })
}

/// The line in the committed picture.
#[derive(Clone)]
struct CommittedLine<'s> {
    step: &'s PlayedStep<'s>,
    drawn: &'s Mask,
    table: &'s [Level; 256],
    ink: &'s Ink,
    /// The level that most of it has.
    core: Level,
}

impl<'s> CommittedLine<'s> {
    fn of(played: &'s PlayedStroke, step: &'s PlayedStep<'s>, ink: &'s Ink, table: &'s [Level; 256]) -> Option<Self> {
        let mut pixels = [0_u64; MOST_LEVELS];
        let both = played.pixels.and(step.introduced);
        both.for_each_pixel(step.grid(), |x, y| pixels[usize::from(step.glass.memory_level(x, y))] += 1);
        let levels = ink.all().iter().filter(|level| pixels[usize::from(*level)] > 0);
        // Of two that are as frequent, the lighter one is a soft edge.
        let core = levels.max_by(|one, other| {
            let by_pixels = pixels[usize::from(*one)].cmp(&pixels[usize::from(*other)]);
            by_pixels.then(ink.lightness(*other).total_cmp(&ink.lightness(*one)))
        })?;
        Some(Self { step, drawn: &played.pixels, table, ink, core })
    }

    /// Whether the commit drew the line at a place of the stroke, where it was not drawn before.
    fn begins_at(&self, at: (f64, f64)) -> bool {
        holds(self.step.introduced, self.step.grid(), at)
            && self
                .before(at)
                .is_some_and(|ground| matches!(self.share(at, ground), Share::Line(share) if share >= 0.5))
    }

    /// The level that a place had in memory before.
    fn before(&self, at: (f64, f64)) -> Option<Level> {
        let (x, y) = pixel_at(self.step.grid(), at)?;
        Some(self.table[usize::from(self.step.previous.shade(x, y))])
    }

    /// What a pixel is to the line; `ground` is the level that it was drawn on.
    fn share(&self, at: (f64, f64), ground: Level) -> Share {
        let grid = self.step.grid();
        let (Some((x, y)), Some(before)) = (pixel_at(grid, at), self.before(at)) else { return Share::Edge };
        if !holds(self.drawn, grid, at) && holds(&self.step.pen_line, grid, at) {
            return Share::Edge;
        }
        let now = self.step.glass.memory_level(x, y);
        if before == self.core {
            // Where the line crosses an older one, both go on.
            let goes_on = now == self.core && holds(self.drawn, grid, at);
            return if goes_on { Share::Line(1.0) } else { Share::Ground };
        }
        let share = if self.ink.colours().is_some() {
            f64::from(u8::from(now == self.core))
        } else {
            let (before, now, core) = (f64::from(before), f64::from(now), f64::from(self.core));
            ((before - now) / (before - core)).clamp(0.0, 1.0)
        };
        if share > 0.0 {
            return Share::Line(share);
        }
        if before == ground { Share::Ground } else { Share::Over }
    }
}

impl Rule for LineWidthJumps<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        if step.strokes.is_empty() || step.planned.screen.is_none() {
            return;
        }
        // White ink rubs out: what it leaves has no width of its own.
        let strokes = step.planned.step.strokes.iter().zip(&step.strokes).enumerate();
        let jumps = strokes.filter(|(_, (stroke, _))| !stroke.white).filter_map(|(index, (stroke, played))| {
            let widths = self.measure(stroke, played, step)?;
            (widths.jump().abs() > self.limit_px).then_some((index, stroke, played, widths))
        });
        let worst = jumps.max_by(|one, other| one.3.jump().abs().total_cmp(&other.3.jump().abs()));
        match worst {
            Some((index, stroke, played, widths)) => {
                let observation = self.observation(widths, stroke, played.pixels.bounds(step.grid()));
                let kind = format!("{} {:.0}", stroke.width_px, widths.committed);
                let place = Where::of(step, StepField::StrokeWidth(index));
                self.lasting.see(&kind, place, widths.jump().abs(), observation, sink);
            }
            None => self.lasting.close(sink),
        }
    }

    fn end(&mut self, sink: &mut Sink) {
        self.lasting.close(sink);
    }
}
