//! The panel as a reader sees it at the end of a step: every pixel in its level's own colour with its residue, or the
//! residue alone.

use std::{collections::HashMap, fmt::Write as _};

use resvg::tiny_skia::PremultipliedColorU8;

use super::{
    picture::scale_and_zoom,
    sentences::count,
    sheet::{Band, opaque, png_of},
};
use crate::{
    display::{Ink, Level},
    geometry::Size,
    panel::PlayedStep,
    units::{lab_of_lightness, lab_of_srgb, lightness_of_reflectance, reflectance_of_lightness, srgb_of_lab},
};

/// The panel one to one, as PNG bytes. Greys have the lightness of their reflectance: panel white is a light grey.
///
/// # Errors
/// A reason in words, where the picture cannot be drawn or encoded.
pub fn look(step: &PlayedStep<'_>, ink: &Ink) -> Result<Vec<u8>, String> {
    let size = step.memory.size();
    let mut colours = Colours::absolute(ink);
    let mut under = |band: &mut Band| {
        for (y, x) in band.rows().flat_map(|y| (0..size.width).map(move |x| (y, x))) {
            let [red, green, blue] = colours.of(step.glass.level(x, y), shown(step, x, y));
            band.set(x, y, opaque(red, green, blue));
        }
    };
    png_of(size, &mut under, None)
}

/// How much lighter than its level a pixel looks, L*.
pub(super) fn shown(step: &PlayedStep<'_>, x: u32, y: u32) -> f64 {
    let (tile, bit) = step.grid().locate(x, y);
    step.glass.shown_residue(tile, bit.trailing_zeros())
}

/// The colours in which pixels are seen, each worked out once.
#[derive(Debug)]
pub(super) struct Colours<'i> {
    ink: &'i Ink,
    /// The reflectance that is drawn as full white.
    white: f64,
    known: HashMap<(Level, u64), [u8; 3]>,
    /// Neighbours are mostly alike.
    last: ((Level, u64), [u8; 3]),
}

impl<'i> Colours<'i> {
    /// As the panel lies beside a white sheet: its own white is a light grey.
    pub(super) fn absolute(ink: &'i Ink) -> Self {
        Self::new(ink, 1.0)
    }

    /// As the eye takes a panel that it has got used to: its own white is white.
    pub(super) fn against_own_white(ink: &'i Ink) -> Self {
        let (_, lightest) = ink.range_l();
        Self::new(ink, reflectance_of_lightness(lightest))
    }

    fn new(ink: &'i Ink, white: f64) -> Self {
        let last = ((0, 0.0_f64.to_bits()), seen_colour(ink, 0, 0.0, white));
        Self { ink, white, known: HashMap::new(), last }
    }

    /// The colour of a level with that residue, L*.
    pub(super) fn of(&mut self, level: Level, residue_l: f64) -> [u8; 3] {
        let key = (level, residue_l.to_bits());
        if self.last.0 != key {
            let (ink, white) = (self.ink, self.white);
            self.last = (key, *self.known.entry(key).or_insert_with(|| seen_colour(ink, level, residue_l, white)));
        }
        self.last.1
    }
}

fn seen_colour(ink: &Ink, level: Level, residue_l: f64, white: f64) -> [u8; 3] {
    if let Some(colours) = ink.colours() {
        let mut lab = lab_of_srgb(colours[usize::from(level)].srgb);
        lab.l += residue_l;
        return srgb_of_lab(lab);
    }
    let reflectance = reflectance_of_lightness(ink.lightness(level) + residue_l) / white;
    srgb_of_lab(lab_of_lightness(lightness_of_reflectance(reflectance.min(1.0))))
}

/// The sheet's measures at a zoom of 1, px.
const MARGIN: f64 = 24.0;
const SCALE_HEIGHT: f64 = 84.0;
const NARROWEST: f64 = 420.0;
/// A pixel without residue.
const MIDDLE: f64 = 128.0;
/// The dashes of a frame around an outline.
const DASH: f64 = 6.0;
/// The scale reaches at least this far, L*: small residue shall not look large.
const LEAST_REACH_L: f64 = 3.0;

/// The residue alone, as PNG bytes: grey where there is none, darker and lighter as the residue is, every ghost framed,
/// with a scale in L*. `limit_l` is the difference from which on a ghost counts.
///
/// # Errors
/// A reason in words, where the picture cannot be drawn or encoded.
pub fn difference(step: &PlayedStep<'_>, limit_l: f64) -> Result<Vec<u8>, String> {
    let size = step.memory.size();
    let values = (0..size.height).flat_map(|y| (0..size.width).map(move |x| shown(step, x, y)));
    let reach = values.fold(LEAST_REACH_L, |reach, value| reach.max(value.abs())).ceil();
    let sheet = Sheet::new(size, reach);
    let mut under = |band: &mut Band| {
        for y in band.rows() {
            sheet.draw_row(step, y, band);
        }
    };
    png_of(Size { width: sheet.width, height: sheet.height }, &mut under, Some(&sheet.overlay(step, limit_l)))
}

/// Where things stand on the picture of the residue, px.
struct Sheet {
    width: u32,
    height: u32,
    margin: u32,
    left: u32,
    /// How wide a pixel of the panel is drawn.
    pixel: u32,
    /// The lower edge of the panel.
    bottom: u32,
    /// By how much texts are larger, so that they are read on a picture that is shown small.
    zoom: f64,
    reach: f64,
}

impl Sheet {
    fn new(size: Size, reach: f64) -> Self {
        let (pixel, zoom) = scale_and_zoom(size.width);
        let (wide, high) = (size.width * pixel, size.height * pixel);
        let zoom = f64::from(zoom);
        let margin = (MARGIN * zoom) as u32;
        let width = wide.max((NARROWEST * zoom) as u32) + 2 * margin;
        let height = high + 2 * margin + (SCALE_HEIGHT * zoom) as u32;
        Self { width, height, margin, left: (width - wide) / 2, pixel, bottom: margin + high, zoom, reach }
    }

    /// The row that lies so far below the panel at a zoom of 1.
    fn below(&self, distance: f64) -> u32 {
        self.bottom + (distance * self.zoom) as u32
    }

    /// Draws what lies under the marks in a row of the sheet: the residue, and its scale.
    fn draw_row(&self, step: &PlayedStep<'_>, y: u32, band: &mut Band) {
        let size = step.memory.size();
        if (self.margin..self.bottom).contains(&y) {
            let row = (y - self.margin) / self.pixel;
            for x in 0..size.width * self.pixel {
                band.set(self.left + x, y, tone(shown(step, x / self.pixel, row) / self.reach));
            }
        }
        if (self.below(30.0)..self.below(44.0)).contains(&y) {
            let wide = self.width - 2 * self.margin;
            for x in 0..wide {
                band.set(self.margin + x, y, tone(2.0 * f64::from(x) / f64::from(wide - 1) - 1.0));
            }
        }
    }

    fn overlay(&self, step: &PlayedStep<'_>, limit_l: f64) -> String {
        let Self { width, height, margin, left, pixel, zoom, reach, .. } = self;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" font-family=\"Arimo\" \
             font-size=\"{}\" fill=\"#1c1f24\">",
            14.0 * zoom
        );
        // A dark line on a light one is seen on any grey.
        for (colour, stroke) in [("#ffffff", 4.0), ("#1c1f24", 1.5)] {
            for ghost in step.ghosts {
                // Around the pixels, not over them.
                let out = f64::from(*pixel) / 2.0 + 3.0 * zoom;
                let [x, y] = [left + ghost.rect.x * pixel, margin + ghost.rect.y * pixel].map(|at| f64::from(at) - out);
                let [wide, high] =
                    [ghost.rect.width * pixel, ghost.rect.height * pixel].map(|side| f64::from(side) + 2.0 * out);
                let dashes =
                    if ghost.is_outline() { format!(" stroke-dasharray=\"{}\"", DASH * zoom) } else { String::new() };
                let _ = write!(
                    svg,
                    "<rect x=\"{x}\" y=\"{y}\" width=\"{wide}\" height=\"{high}\" fill=\"none\" \
                     stroke=\"{colour}\" stroke-width=\"{}\"{dashes}/>",
                    stroke * zoom
                );
            }
        }
        let line =
            |distance: f64, words: &str| format!("<text x=\"{margin}\" y=\"{}\">{words}</text>", self.below(distance));
        let outlines = step.ghosts.iter().filter(|ghost| ghost.is_outline()).count();
        let framed = match step.ghosts.len() - outlines {
            0 if outlines > 0 => format!("no other ghost of {limit_l} L* or more"),
            0 => format!("no ghost of {limit_l} L* or more"),
            1 => format!("1 ghost of {limit_l} L* or more, framed"),
            count => format!("{count} ghosts of {limit_l} L* or more, framed"),
        };
        svg.push_str(&line(22.0, &format!("Residue in L*; {framed}")));
        if outlines > 0 {
            let beside = count(outlines as u64, "outline beside driven ink", "outlines beside driven ink");
            svg.push_str(&line(80.0, &format!("Dashed: {beside}, {limit_l} L* or more")));
        }
        let _ = write!(
            svg,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#5b626c\"/>",
            f64::from(*margin) - 0.5,
            f64::from(self.below(30.0)) - 0.5,
            width - 2 * margin + 1,
            self.below(44.0) - self.below(30.0) + 1
        );
        for (x, anchor, text) in [
            (*margin, "start", format!("-{reach} darker")),
            (width / 2, "middle", "0".to_owned()),
            (width - margin, "end", format!("lighter +{reach}")),
        ] {
            let y = self.below(62.0);
            let _ = write!(svg, "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{text}</text>");
        }
        svg.push_str("</svg>");
        svg
    }
}

fn tone(share: f64) -> PremultipliedColorU8 {
    let grey = (MIDDLE + share * 127.0).round().clamp(0.0, 255.0) as u8;
    opaque(grey, grey, grey)
}
