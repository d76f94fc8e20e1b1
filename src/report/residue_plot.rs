//! A plot of readings and of the fit through them: how much lighter or darker than a clean patch, against updates.
//!
//! Kinds of histories differ by the shape of their marks and the dashes of their lines; colour only helps.

use std::{collections::BTreeMap, fmt::Write as _};

use super::sheet::png_of;
use crate::{
    display::{Display, Ink, Level, Mode},
    fit::{Fit, PatchHistory, Reading, shows},
    geometry::Size,
};

const WIDTH: f64 = 900.0;
const LEFT: f64 = 76.0;
const RIGHT: f64 = 30.0;
const TOP: f64 = 62.0;
const HIGH: f64 = 380.0;
/// From the plot to the axis's name, and on to the legend.
const BELOW: f64 = 56.0;
const ROW: f64 = 22.0;
const INK: &str = "#1c1f24";
const COLOURS: [&str; 4] = ["#00707a", "#a3174f", "#7a4a9c", "#9a5300"];
const DASHES: [&str; 4] = ["none", "7 4", "2 3", "10 3 2 3"];

/// Draws the readings with the curves of the fit as PNG bytes.
///
/// # Errors
/// A reason in words, where the picture cannot be drawn or encoded.
pub fn draw(display: &Display, mode: &Mode, readings: &[Reading], fit: &Fit) -> Result<Vec<u8>, String> {
    let plot = Plot::of(display, mode, readings, fit);
    let height = TOP + HIGH + BELOW + ROW * plot.kinds.len() as f64 + 12.0;
    png_of(Size { width: WIDTH as u32, height: height as u32 }, &mut |_| {}, Some(&plot.svg(height)))
}

/// Histories that differ only in how many times over.
struct Kind {
    name: String,
    /// Updates and difference, L*, as read.
    read: Vec<(f64, f64)>,
    /// And as the fit gives them, after every time over.
    fitted: Vec<(f64, f64)>,
}

struct Plot {
    title: String,
    kinds: Vec<Kind>,
    /// The right end of the axis, updates.
    most_updates: f64,
    /// Both ends of the axis, L*, and from one line of the grid to the next.
    least: f64,
    most: f64,
    step: f64,
}

impl Plot {
    fn of(display: &Display, mode: &Mode, readings: &[Reading], fit: &Fit) -> Self {
        let mut by_kind: BTreeMap<(Level, &[Level]), Vec<&Reading>> = BTreeMap::new();
        for reading in readings {
            by_kind.entry((reading.history.cleaned_to, &reading.history.then)).or_default().push(reading);
        }
        let kinds: Vec<Kind> = by_kind.into_values().map(|readings| kind(&readings, fit, mode, &display.ink)).collect();
        let all = || kinds.iter().flat_map(|kind| kind.read.iter().chain(&kind.fitted));
        let most_updates = all().map(|(updates, _)| *updates).fold(1.0, f64::max);
        let (low, high) = all().fold((0.0_f64, 0.0_f64), |(low, high), (_, l)| (low.min(*l), high.max(*l)));
        let step = nice_step((high - low).max(0.5) / 6.0);
        let title = format!("Residue of {} on {}: {} readings and the fit", mode.name, display.name, readings.len());
        Self {
            title,
            kinds,
            most_updates,
            least: (low / step).floor() * step,
            most: ((high / step).ceil() * step).max(step),
            step,
        }
    }

    fn x(&self, updates: f64) -> f64 {
        LEFT + updates / (self.most_updates * 1.04) * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, lightness: f64) -> f64 {
        TOP + (self.most - lightness) / (self.most - self.least) * HIGH
    }

    fn svg(&self, height: f64) -> String {
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{}\" font-family=\"Arimo\" \
             font-size=\"14\" fill=\"{INK}\"><text x=\"{LEFT}\" y=\"24\" font-size=\"17\">{}</text>\
             <text x=\"{LEFT}\" y=\"{}\">Lighter (+) or darker (-) than a clean patch, L*</text>",
            height.floor(),
            escaped(&self.title),
            TOP - 14.0
        );
        self.axes(&mut svg);
        for (at, kind) in self.kinds.iter().enumerate() {
            self.curve(kind, at, &mut svg);
        }
        svg.push_str("</svg>");
        svg
    }

    fn axes(&self, svg: &mut String) {
        let (right, bottom) = (WIDTH - RIGHT, TOP + HIGH);
        let lines = ((self.most - self.least) / self.step).round() as i32;
        for line in 0..=lines {
            let value = self.least + f64::from(line) * self.step;
            let (y, value) = (self.y(value), if value.abs() < self.step / 2.0 { 0.0 } else { value });
            let colour = if value == 0.0 { INK } else { "#d5d9de" };
            let places = usize::from(self.step < 1.0) + usize::from(self.step < 0.1);
            let _ = write!(
                svg,
                "<path d=\"M{LEFT} {y}H{right}\" stroke=\"{colour}\"/><text x=\"{}\" y=\"{}\" \
                 text-anchor=\"end\">{value:.places$}</text>",
                LEFT - 8.0,
                y + 5.0
            );
        }
        let step = nice_step(self.most_updates / 8.0).max(1.0);
        for tick in 0..=(self.most_updates / step).floor() as i32 {
            let (x, value) = (self.x(f64::from(tick) * step), f64::from(tick) * step);
            let _ = write!(
                svg,
                "<path d=\"M{x} {bottom}v6\" stroke=\"{INK}\"/><text x=\"{x}\" y=\"{}\" text-anchor=\"middle\">{value}</text>",
                bottom + 21.0
            );
        }
        let _ = write!(
            svg,
            "<path d=\"M{LEFT} {TOP}V{bottom}H{right}\" fill=\"none\" stroke=\"{INK}\"/>\
             <text x=\"{}\" y=\"{}\" text-anchor=\"middle\">updates since the cleaning</text>",
            f64::midpoint(LEFT, right),
            bottom + 42.0
        );
    }

    fn curve(&self, kind: &Kind, at: usize, svg: &mut String) {
        let (colour, dashes) = (COLOURS[at % 4], DASHES[at % 4]);
        let points: Vec<String> =
            kind.fitted.iter().map(|(updates, l)| format!("{:.1},{:.1}", self.x(*updates), self.y(*l))).collect();
        let line = |svg: &mut String, points: &str| {
            let _ = write!(
                svg,
                "<polyline points=\"{points}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.5\" \
                 stroke-dasharray=\"{dashes}\"/>"
            );
        };
        line(svg, &points.join(" "));
        for (updates, l) in &kind.read {
            mark(svg, at, self.x(*updates), self.y(*l));
        }
        let y = TOP + HIGH + BELOW + ROW * at as f64 + 8.0;
        line(svg, &format!("{LEFT},{y} {},{y}", LEFT + 44.0));
        mark(svg, at, LEFT + 22.0, y);
        let _ = write!(svg, "<text x=\"{}\" y=\"{}\">{}</text>", LEFT + 56.0, y + 5.0, escaped(&kind.name));
    }
}

fn kind(readings: &[&Reading], fit: &Fit, mode: &Mode, ink: &Ink) -> Kind {
    let history = &readings[0].history;
    let names: Vec<String> = history.then.iter().map(|level| ink.name(*level)).collect();
    let often = readings.iter().map(|reading| reading.history.times).max().unwrap_or(1);
    // A curve needs no more points than the plot has columns.
    let every = often.div_ceil(400).max(1);
    let fitted = (0..=often).filter(|times| times % every == 0 || *times == often).map(|times| {
        let history = PatchHistory { times, ..history.clone() };
        (history.updates() as f64, shows(&history, &fit.residue(), mode, ink))
    });
    Kind {
        name: format!("cleaned to {}, then {}", ink.name(history.cleaned_to), names.join(", ")),
        read: readings
            .iter()
            .map(|reading| (reading.history.updates() as f64, reading.read_l - reading.clean_l))
            .collect(),
        fitted: fitted.collect(),
    }
}

/// A mark whose shape tells the kind.
fn mark(svg: &mut String, at: usize, x: f64, y: f64) {
    let colour = COLOURS[at % 4];
    let path = match at % 4 {
        0 => format!("M{} {y}a4.5 4.5 0 1 0 9 0a4.5 4.5 0 1 0 -9 0z", x - 4.5),
        1 => format!("M{} {}h8v8h-8z", x - 4.0, y - 4.0),
        2 => format!("M{x} {}l5 9h-10z", y - 5.5),
        _ => format!("M{x} {}l5.5 5.5l-5.5 5.5l-5.5 -5.5z", y - 5.5),
    };
    let _ = write!(
        svg,
        "<path d=\"{path}\" fill=\"#ffffff\" fill-opacity=\"0.6\" stroke=\"{colour}\" stroke-width=\"1.5\"/>"
    );
}

/// The step of a grid that people read easily: 1, 2 or 5 times a power of ten, at least so large.
fn nice_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0].map(|step| step * power).into_iter().find(|step| *step >= least * 0.999).unwrap_or(power)
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grids_have_steps_that_are_read_easily() {
        for (least, step) in [(0.09, 0.1), (0.1, 0.1), (0.11, 0.2), (0.3, 0.5), (1.0, 1.0), (3.4, 5.0), (7.0, 10.0)] {
            assert!((nice_step(least) - step).abs() < 1e-9, "{least}: {}", nice_step(least));
        }
    }
}
