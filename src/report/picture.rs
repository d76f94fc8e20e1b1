//! Annotated pictures: the screen, what changed, the windows, and every finding numbered at its place with a legend.
//!
//! Readable without colour: kinds of marks differ by hatching, dashes and numbers, colour only helps. Marks of findings
//! stand at the corners of their boxes, outside, so that little of the screen is covered.

use std::{collections::HashSet, fmt::Write as _};

use resvg::tiny_skia::PremultipliedColorU8;

use super::{
    help_with_caution,
    sentences::{clock, pieces},
    sheet::{Band, drawn, opaque},
};
use crate::{
    change::{Mask, bits},
    display::Ink,
    finding::{Finding, Severity},
    geometry::{Rect, Size, Window},
    panel::PlayedStep,
    plan::Plan,
    screen::text_width,
};

pub use super::sheet::Drawn;

const MARGIN: f32 = 36.0;
const NARROWEST: f32 = 820.0;
const INK: &str = "#1c1f24";
const FAINT: &str = "#5b626c";
/// Colour of the hatching over changed pixels.
const HATCH: (u8, u8, u8) = (0, 118, 130);
/// Findings are marked in one colour; how bad they are is said by the disc of their number, and in words.
const MARK: &str = "#a3174f";
/// Colour of the hatching, the other way, over pixels that were wrong before.
const STALE: (u8, u8, u8) = (122, 74, 156);
/// A tile with so many of its 64 pixels, between four others like it, belongs to an area: it is hatched more sparsely, so
/// that what is drawn there stays visible.
const AREA_PX: u32 = 24;
const DISC: f32 = 11.0;
const LINE: f32 = 21.0;

/// Draws a step with its findings. `findings` are those of this step, in order.
///
/// # Errors
/// A reason in words, where the picture cannot be drawn or encoded.
pub fn draw(plan: &Plan, step: &PlayedStep<'_>, findings: &[&Finding]) -> Result<Drawn, String> {
    let sheet = Sheet::lay_out(plan, step, findings);
    let size = Size { width: (sheet.width * sheet.zoom) as u32, height: (sheet.height * sheet.zoom) as u32 };
    drawn(size, &mut |band| sheet.draw_screen(&plan.display.ink, step, band), Some(&sheet.overlay()))
}

/// How many pixels of a picture a pixel of a screen of that width takes, and by how much texts on it are larger, so that
/// they are read on a picture that is shown small.
pub(super) fn scale_and_zoom(width: u32) -> (u32, f32) {
    let scale = 480_u32.div_ceil(width).clamp(1, 4);
    (scale, ((width * scale) as f32 / 1000.0).max(1.0))
}

/// The measures of a picture and what stands on it.
struct Sheet<'a> {
    width: f32,
    height: f32,
    scale: u32,
    /// By how much texts and marks are larger, so that they are read on a picture that is shown small.
    zoom: f32,
    /// Where the screen's top left corner lies, before the zoom.
    left: f32,
    top: f32,
    heading: Vec<String>,
    lines_under: Vec<String>,
    entries: Vec<Entry<'a>>,
    asked: Vec<Window>,
    sent: Vec<Rect>,
    screen: Rect,
    /// Whether pixels were wrong before the step already.
    has_stale: bool,
}

/// A finding in the legend.
struct Entry<'a> {
    finding: &'a Finding,
    message: Vec<String>,
    help: Vec<String>,
    /// Where its number stands on the screen.
    disc: Option<(f32, f32)>,
}

impl<'a> Sheet<'a> {
    fn lay_out(plan: &Plan, step: &PlayedStep<'_>, findings: &[&'a Finding]) -> Self {
        let screen = step.memory.size().whole();
        let (scale, zoom) = scale_and_zoom(screen.width);
        let screen_width = (screen.width * scale) as f32 / zoom;
        let width = (screen_width + 2.0 * MARGIN).max(NARROWEST);
        let room = width - 2.0 * MARGIN;
        let title = if plan.title.is_empty() { "Untitled plan" } else { &plan.title };
        let heading = wrap(title, 23.0, room);
        let label = step.planned.step.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\""));
        let under = format!(
            "step {}{label}, requested at {}, on {}",
            step.planned.index,
            clock(step.planned.request_ms),
            plan.display.name
        );
        let lines_under = wrap(&under, 16.0, room);
        let top = MARGIN + 30.0 * heading.len() as f32 + 20.0 + 20.0 * lines_under.len().max(1) as f32;
        let mut sheet = Self {
            width,
            height: 0.0,
            scale,
            zoom,
            // On whole pixels, so that the outlines lie on the screen's own.
            left: ((width - screen_width) / 2.0 * zoom).floor() / zoom,
            top: (top * zoom).floor() / zoom,
            heading,
            lines_under,
            entries: Vec::new(),
            asked: step.updates.iter().flat_map(|update| update.asked.iter().copied()).collect(),
            sent: step.updates.iter().flat_map(|update| update.sent.iter().copied()).collect(),
            screen,
            has_stale: !step.changed.without(step.introduced).is_empty(),
        };
        let text_room = room - 44.0;
        let mut worst_first = findings.to_vec();
        worst_first.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        for finding in worst_first {
            let disc = finding.rect.map(|rect| sheet.place_for_disc(rect));
            sheet.entries.push(Entry {
                finding,
                message: wrap(&with_names(&finding.message), 16.0, text_room),
                help: wrap(&with_names(&help_with_caution(finding)), 16.0, text_room),
                disc,
            });
        }
        let legend: f32 = sheet.entries.iter().map(Entry::height).sum();
        sheet.height = (sheet.legend_top() + legend + MARGIN).ceil();
        sheet
    }

    fn screen_bottom(&self) -> f32 {
        self.top + (self.screen.height * self.scale) as f32 / self.zoom
    }

    fn legend_top(&self) -> f32 {
        self.screen_bottom() + 102.0 + self.second_key_row()
    }

    /// The room of a second row of the key: the two hatchings stand in a row of their own.
    fn second_key_row(&self) -> f32 {
        if self.has_stale { 26.0 } else { 0.0 }
    }

    /// The first corner of a box where a number covers no other number, else its middle.
    fn place_for_disc(&self, rect: Rect) -> (f32, f32) {
        let (left, top, right, bottom) = self.on_sheet(rect);
        let low = (self.left - 6.0, self.top - 6.0);
        let high = (self.left + (self.screen.width * self.scale) as f32 / self.zoom + 6.0, self.screen_bottom() + 6.0);
        let out = DISC * 0.8;
        let corners = [
            (left - out, top - out),
            (right + out, top - out),
            (left - out, bottom + out),
            (right + out, bottom + out),
            (f32::midpoint(left, right), top - out),
            (f32::midpoint(left, right), bottom + out),
            (f32::midpoint(left, right), f32::midpoint(top, bottom)),
        ];
        let within = corners.map(|(x, y)| (x.clamp(low.0, high.0), y.clamp(low.1, high.1)));
        let taken: Vec<(f32, f32)> = self.entries.iter().filter_map(|entry| entry.disc).collect();
        let free =
            |place: &(f32, f32)| taken.iter().all(|other| (place.0 - other.0).hypot(place.1 - other.1) > 2.1 * DISC);
        within.into_iter().find(free).unwrap_or_else(|| {
            // All corners are taken: beside the last number, in a row.
            let shift = 2.2 * DISC * taken.len() as f32;
            ((within[0].0 + shift).min(high.0), within[0].1)
        })
    }

    fn on_sheet(&self, rect: Rect) -> (f32, f32, f32, f32) {
        let scale = self.scale as f32 / self.zoom;
        (
            self.left + rect.x as f32 * scale,
            self.top + rect.y as f32 * scale,
            self.left + rect.right() as f32 * scale,
            self.top + rect.bottom() as f32 * scale,
        )
    }

    /// The screen in the panel's levels, paler than it is, hatched where it changes and the other way where it was wrong
    /// before.
    fn draw_screen(&self, ink: &Ink, step: &PlayedStep<'_>, band: &mut Band) {
        let (left, top) = ((self.left * self.zoom).round() as u32, (self.top * self.zoom).round() as u32);
        let (width, height) = (self.screen.width * self.scale, self.screen.height * self.scale);
        // The screen's own rows, each `scale` rows of the sheet high, that the band holds.
        let rows = band.rows().start.saturating_sub(top).min(height)..band.rows().end.saturating_sub(top).min(height);
        let table = ink.level_table();
        let colours: [PremultipliedColorU8; 256] = std::array::from_fn(|shade| {
            let [red, green, blue] = ink.srgb(table[shade]).map(pale);
            opaque(red, green, blue)
        });
        for y in rows.clone() {
            let pixels = &mut band.row(top + y)[left as usize..][..width as usize];
            let shades = step.memory.row(y / self.scale);
            for (pixels, shade) in pixels.chunks_mut(self.scale as usize).zip(shades) {
                pixels.fill(colours[usize::from(*shade)]);
            }
        }
        let held = rows.start / self.scale..rows.end.div_ceil(self.scale);
        let held = Rect { x: 0, y: held.start, width: self.screen.width, height: held.end.saturating_sub(held.start) };
        let within = |mask: &Mask| mask.inside(&[held], step.grid());
        self.hatch_over(&within(&step.changed.and(step.introduced)), step, (true, HATCH), band);
        self.hatch_over(&within(&step.changed.without(step.introduced)), step, (false, STALE), band);
    }

    /// Hatches the pixels of a mask, those of areas more sparsely.
    fn hatch_over(&self, mask: &Mask, step: &PlayedStep<'_>, (rises, colour): (bool, (u8, u8, u8)), band: &mut Band) {
        let (left, top) = ((self.left * self.zoom).round() as u32, (self.top * self.zoom).round() as u32);
        let tiles = || mask.tiles().iter().map(|(tile, pixels)| (step.grid().origin(*tile), *pixels));
        let filled: HashSet<_> =
            tiles().filter(|(_, pixels)| pixels.count_ones() >= AREA_PX).map(|(place, _)| place).collect();
        let is_area = |(x, y): (u32, u32)| {
            let places = [(x, y), (x + 8, y), (x.wrapping_sub(8), y), (x, y + 8), (x, y.wrapping_sub(8))];
            places.iter().all(|place| filled.contains(place))
        };
        for ((x, y), pixels) in tiles() {
            let spacing = if is_area((x, y)) { 18.0 } else { 6.0 };
            for row in (0..8).filter(|row| pixels >> (8 * row) & 0xff != 0) {
                for y in ((y + row) * self.scale..(y + row + 1) * self.scale).map(|y| top + y) {
                    if band.rows().contains(&y) {
                        let line = &mut band.row(y)[left as usize..];
                        self.hatch_row(line, (x, y - top), pixels >> (8 * row) & 0xff, (rises, spacing, colour));
                    }
                }
            }
        }
    }

    /// Hatches some pixels of a tile in a row of the picture; `x` is the first of the tile, `y` the row in the picture.
    fn hatch_row(
        &self,
        line: &mut [PremultipliedColorU8],
        (x, y): (u32, u32),
        pixels: u64,
        (rises, spacing, (red, green, blue)): (bool, f32, (u8, u8, u8)),
    ) {
        let hatch = (spacing * self.zoom).round() as u32;
        let width = (2.0 * self.zoom).round() as u32;
        let along = if rises { y % hatch } else { hatch - y % hatch };
        for bit in bits(pixels) {
            for x in (x + bit) * self.scale..(x + bit + 1) * self.scale {
                if (x + along) % hatch < width {
                    line[x as usize] = opaque(red, green, blue);
                }
            }
        }
    }

    fn overlay(&self) -> String {
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\" font-family=\"Arimo\">",
            self.width * self.zoom,
            self.height * self.zoom,
            self.width,
            self.height
        );
        for (at, line) in self.heading.iter().enumerate() {
            text(&mut svg, MARGIN, MARGIN + 18.0 + 30.0 * at as f32, 23.0, INK, line);
        }
        let under = MARGIN + 16.0 + 30.0 * self.heading.len() as f32;
        for (at, line) in self.lines_under.iter().enumerate() {
            text(&mut svg, MARGIN, under + 20.0 * at as f32, 16.0, FAINT, line);
        }
        let (left, top, right, bottom) = self.on_sheet(self.screen);
        let _ = write!(
            svg,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#9aa1ab\"/>",
            left - 0.5,
            top - 0.5,
            right - left + 1.0,
            bottom - top + 1.0
        );
        self.marks(&mut svg);
        self.key(&mut svg);
        self.legend(&mut svg);
        svg.push_str("</svg>");
        svg
    }

    fn marks(&self, svg: &mut String) {
        for frame in self.frames() {
            frame.ground(svg);
        }
        for frame in self.frames() {
            frame.line(svg);
        }
        for (number, entry) in self.entries.iter().enumerate() {
            if let Some((x, y)) = entry.disc {
                disc(svg, (x, y), &(number + 1).to_string(), entry.finding.severity);
            }
        }
    }

    /// The frames on the screen. The edge of a window lies between its two lines: what is sent outside, what was asked for
    /// inside; findings stand around both, those at one place around each other.
    fn frames(&self) -> Vec<Frame> {
        let mut frames: Vec<Frame> = self.sent.iter().map(|rect| Frame::sent(self.on_sheet(*rect), 1.0)).collect();
        let size = Size { width: self.screen.width, height: self.screen.height };
        let asked = self.asked.iter().filter_map(|window| window.cut(size));
        frames.extend(asked.map(|rect| Frame::asked(self.on_sheet(rect), 1.0)));
        for (number, entry) in self.entries.iter().enumerate() {
            if let Some(rect) = entry.finding.rect {
                let inside = self.entries[..number].iter().filter(|other| other.finding.rect == Some(rect)).count();
                let out = 4.5 + 5.0 * inside as f32;
                frames.push(Frame::finding(self.on_sheet(rect), out));
            }
        }
        frames
    }

    /// What the marks on the screen mean.
    fn key(&self, svg: &mut String) {
        let y = self.screen_bottom() + 32.0;
        let mut x = MARGIN;
        hatched(svg, "changes", "M-1 7 7 -1M-1 1 1 -1M5 7 7 5", HATCH, (x, y));
        x = key_text(svg, x + 34.0, y, "changes here");
        if self.has_stale {
            hatched(svg, "stale", "M-1 -1 7 7M-1 5 1 7M5 -1 7 1", STALE, (x, y));
            key_text(svg, x + 34.0, y, "already wrong");
            x = MARGIN;
        }
        let y = y + self.second_key_row();
        if !self.asked.is_empty() {
            Frame::asked((x, y - 12.0, x + 26.0, y + 4.0), 0.0).line(svg);
            x = key_text(svg, x + 34.0, y, "window asked for");
            Frame::sent((x, y - 12.0, x + 26.0, y + 4.0), 0.0).line(svg);
            x = key_text(svg, x + 34.0, y, "window sent");
        }
        if self.entries.iter().any(|entry| entry.finding.rect.is_some()) {
            Frame::finding((x, y - 12.0, x + 26.0, y + 4.0), 0.0).line(svg);
            x = key_text(svg, x + 34.0, y, "finding:");
        }
        let mut kinds: Vec<Severity> = self.entries.iter().map(|entry| entry.finding.severity).collect();
        kinds.sort_unstable();
        kinds.dedup();
        for severity in kinds.into_iter().rev() {
            disc(svg, (x - 4.0, y - 4.0), "", severity);
            x = key_text(svg, x + 14.0, y, severity.word());
        }
        let words =
            "The screen in memory, drawn paler than it is. The command 'stillpage glass' draws what the panel shows.";
        text(svg, MARGIN, y + 27.0, 15.0, FAINT, words);
    }

    fn legend(&self, svg: &mut String) {
        let mut y = self.legend_top();
        let _ = write!(svg, "<path d=\"M{MARGIN} {0}H{1}\" stroke=\"#d5d9df\"/>", y - 20.0, self.width - MARGIN);
        for (number, entry) in self.entries.iter().enumerate() {
            disc(svg, (MARGIN + DISC, y + 9.0), &(number + 1).to_string(), entry.finding.severity);
            let x = MARGIN + 36.0;
            let heading = format!("{} ({}){}", entry.finding.rule, entry.finding.severity.word(), entry.also());
            text(svg, x, y + 15.0, 17.0, MARK, &heading);
            let mut line = y + 15.0 + LINE;
            for words in &entry.message {
                text(svg, x, line, 16.0, INK, words);
                line += LINE;
            }
            for words in &entry.help {
                text(svg, x, line, 16.0, FAINT, words);
                line += LINE;
            }
            y += entry.height();
        }
    }
}

/// A field of the key with a hatching of its own; `lines` is the path of one piece of it.
fn hatched(svg: &mut String, id: &str, lines: &str, (red, green, blue): (u8, u8, u8), (x, y): (f32, f32)) {
    let _ = write!(
        svg,
        "<defs><pattern id=\"{id}\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path d=\"{lines}\" \
         stroke=\"#{red:02x}{green:02x}{blue:02x}\" stroke-width=\"1.6\"/></pattern></defs>\
         <rect x=\"{x}\" y=\"{}\" width=\"26\" height=\"16\" fill=\"url(#{id})\" stroke=\"#c4c9d0\"/>",
        y - 12.0
    );
}

fn key_text(svg: &mut String, x: f32, y: f32, words: &str) -> f32 {
    text(svg, x, y + 1.0, 15.0, FAINT, words);
    x + text_width(words, 15.0) + 24.0
}

impl Entry<'_> {
    fn height(&self) -> f32 {
        LINE * (1 + self.message.len() + self.help.len()) as f32 + 18.0
    }

    /// Of which step it is where that is not the one of the picture, until which step it lasts, and that it is of the whole step where it has no place.
    fn also(&self) -> String {
        let (step, last) = (self.finding.step, self.finding.last_step);
        let mut lasts = String::new();
        if self.finding.step_to_look_at() != step {
            let _ = write!(lasts, ", touched at step {step}");
        }
        if last > step {
            let _ = write!(lasts, ", until step {last}");
        }
        if self.finding.rect.is_none() { format!("{lasts}, the whole step") } else { lasts }
    }
}

/// A shade as it stands under the marks: dark enough to be read, pale enough to see the marks.
fn pale(shade: u8) -> u8 {
    (80 + u32::from(shade) * 175 / 255) as u8
}

/// Words whose names stand in quotation marks instead of backticks.
fn with_names(words: &str) -> String {
    let piece = |(is_name, piece): (bool, String)| if is_name { format!("'{piece}'") } else { piece };
    pieces(words).into_iter().map(piece).collect()
}

/// A frame around a box. Its lines are drawn without soft edges: a picture of few colours is half as large.
struct Frame {
    left: f32,
    top: f32,
    width: f32,
    height: f32,
    colour: &'static str,
    stroke: f32,
    dashes: &'static str,
    /// Whether only its corners are drawn.
    corners: bool,
}

impl Frame {
    /// Around a box, its line so far outside.
    fn around((left, top, right, bottom): (f32, f32, f32, f32), out: f32) -> Self {
        let (width, height) = ((right - left + 2.0 * out).max(1.0), (bottom - top + 2.0 * out).max(1.0));
        let (colour, stroke, dashes, corners) = (INK, 1.5, "", false);
        Self { left: left - out, top: top - out, width, height, colour, stroke, dashes, corners }
    }

    fn sent(place: (f32, f32, f32, f32), out: f32) -> Self {
        Self { colour: "#2b5fb3", ..Self::around(place, out) }
    }

    fn asked(place: (f32, f32, f32, f32), inside: f32) -> Self {
        Self { dashes: "7 5", ..Self::around(place, -inside) }
    }

    fn finding(place: (f32, f32, f32, f32), out: f32) -> Self {
        Self { colour: MARK, stroke: 3.0, corners: true, ..Self::around(place, out) }
    }

    /// A white ground, so that it is seen on black too: no wider than the line of a window, because it covers what is
    /// drawn there.
    fn ground(&self, svg: &mut String) {
        let stroke = if self.corners { self.stroke + 1.6 } else { self.stroke };
        self.path(svg, "#fff", stroke, "");
    }

    fn line(&self, svg: &mut String) {
        let dashes = match self.dashes {
            "" => String::new(),
            dashes => format!(" stroke-dasharray=\"{dashes}\""),
        };
        self.path(svg, self.colour, self.stroke, &dashes);
    }

    fn path(&self, svg: &mut String, colour: &str, stroke: f32, more: &str) {
        let Self { left, top, width, height, .. } = self;
        let (right, bottom) = (left + width, top + height);
        let lines = if self.corners {
            let (across, down) = ((width / 3.0).min(16.0), (height / 3.0).min(16.0));
            format!(
                "M{left} {}V{top}h{across}M{} {top}H{right}v{down}M{right} {}V{bottom}h-{across}M{} {bottom}H{left}v-{down}",
                top + down,
                right - across,
                bottom - down,
                left + across
            )
        } else {
            format!("M{left} {top}H{right}V{bottom}H{left}Z")
        };
        let _ = write!(
            svg,
            "<path d=\"{lines}\" fill=\"none\" shape-rendering=\"crispEdges\" stroke=\"{colour}\" stroke-width=\"{stroke}\"{more}/>"
        );
    }
}

/// The disc of a number: full for an error, half for a warning, empty for a note, as the signs of the page are.
fn disc(svg: &mut String, (x, y): (f32, f32), words: &str, severity: Severity) {
    let radius = if words.is_empty() { 0.6 * DISC } else { DISC };
    let (ground, colour) = if severity == Severity::Error { (MARK, "#fff") } else { ("#fff", MARK) };
    let _ = write!(
        svg,
        "<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\" fill=\"#fff\"/>\
         <circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" fill=\"{ground}\" stroke=\"{MARK}\" stroke-width=\"1.6\"/>",
        radius + 2.0
    );
    if severity == Severity::Warning {
        let _ = write!(
            svg,
            "<path d=\"M{x} {}a{radius} {radius} 0 0 0 0 {}z\" fill=\"#e4bfcc\"/>",
            y - radius,
            2.0 * radius
        );
    }
    text(svg, x - text_width(words, 15.0) / 2.0, y + 5.3, 15.0, colour, words);
}

fn text(svg: &mut String, x: f32, y: f32, size: f32, colour: &str, words: &str) {
    let _ = write!(
        svg,
        "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{colour}\" xml:space=\"preserve\">{}</text>",
        escaped(words)
    );
}

/// Text as it may stand in XML; what XML does not allow becomes a space.
fn escaped(words: &str) -> String {
    words
        .chars()
        .map(|character| match character {
            '&' => "&amp;".to_owned(),
            '<' => "&lt;".to_owned(),
            '>' => "&gt;".to_owned(),
            character if character.is_control() || matches!(character, '\u{fffe}' | '\u{ffff}') => " ".to_owned(),
            character => character.to_string(),
        })
        .collect()
}

/// Words in lines no wider than `room`; a word that is wider alone is cut.
fn wrap(words: &str, size: f32, room: f32) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if text_width(&longer, size) <= room {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        line = cut(word, size, room);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

fn cut(word: &str, size: f32, room: f32) -> String {
    if text_width(word, size) <= room {
        return word.to_owned();
    }
    let mut short = String::new();
    for character in word.chars() {
        if text_width(&short, size) > room - 2.0 * size {
            break;
        }
        short.push(character);
    }
    short + "…"
}

#[cfg(test)]
mod tests {
    #[test]
    fn times_stand_in_the_units_of_their_length() {
        let times =
            [0.0, 999.4, 9500.0, 275_000.0, 359_700.0, 3_600_000.0, 86_400_900.0, 259_201_000.0, 7_776_000_000.0];
        let words = [
            "0 ms",
            "999 ms",
            "9.5 s",
            "4 min 35 s",
            "6 min 0 s",
            "60 min 0 s",
            "24 h 0 min",
            "3 days 0 h",
            "90 days 0 h",
        ];
        assert_eq!(times.map(super::clock), words);
    }
}
