//! The time chart of a recording: what is asked for, sent, driven and waited for, the flashes, the residue and the
//! energy. Pauses are cut short, and say so. Knows the recording, not the page; its axis serves the charts of two plans too.

use std::fmt::Write as _;

use maud::html;

use super::{
    names::asked_by,
    recording::{Frame, RecordedUpdate, Recording},
};
use crate::report::sentences::{clock, ms};

/// More steps than this are not drawn.
const MOST_STEPS: usize = 400;
/// A stretch without any work longer than this is a pause, ms.
const PAUSE_MS: f64 = 400.0;
const SCALE: Scale = Scale { pause_px: 54.0, px_a_ms: 0.14, narrowest_px: 26.0 };
const LEFT: f64 = 118.0;
const LANE: f64 = 24.0;
/// So many updates are drawn one under the other, where they run at the same time.
const MOST_ROWS: usize = 4;

/// The chart, as an SVG that takes its colours from the page.
pub(super) fn draw(recording: &Recording, id: &str) -> String {
    let frames = &recording.frames[..recording.frames.len().min(MOST_STEPS)];
    let axis = Axis::new(frames.iter().map(Frame::busy), LEFT + 10.0, SCALE);
    let rows = Rows::new(frames);
    let mut chart = Chart { svg: String::new(), axis, frames, rows, limit_l: recording.limit_l };
    chart.draw(id);
    chart.svg
}

/// How many steps of a recording the chart leaves out.
pub(super) fn left_out(recording: &Recording) -> u64 {
    recording.steps_behind(recording.frames.len().min(MOST_STEPS))
}

/// A stretch of work between two pauses, and where it lies.
pub(super) struct Stretch {
    pub(super) begin_ms: f64,
    pub(super) end_ms: f64,
    pub(super) left: f64,
    width: f64,
}

impl Stretch {
    pub(super) fn right(&self) -> f64 {
        self.left + self.width
    }
}

/// How wide things are drawn along the time.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    /// A pause.
    pub(super) pause_px: f64,
    /// A millisecond of work.
    pub(super) px_a_ms: f64,
    /// The shortest stretch of work.
    pub(super) narrowest_px: f64,
}

/// Times to places.
pub(super) struct Axis {
    pub(super) stretches: Vec<Stretch>,
    left: f64,
}

impl Axis {
    /// An axis from `left` on for what works from when to when, ms, in the order of beginning.
    pub(super) fn new(works: impl Iterator<Item = (f64, f64)>, left: f64, scale: Scale) -> Self {
        let mut busy: Vec<(f64, f64)> = Vec::new();
        for (begin_ms, end_ms) in works {
            match busy.last_mut() {
                Some(last) if begin_ms - last.1 <= PAUSE_MS => last.1 = last.1.max(end_ms),
                _ => busy.push((begin_ms, end_ms)),
            }
        }
        let mut next = left;
        let mut stretches = Vec::new();
        for (begin_ms, end_ms) in busy {
            let width = ((end_ms - begin_ms) * scale.px_a_ms).max(scale.narrowest_px);
            stretches.push(Stretch { begin_ms, end_ms, left: next, width });
            next += width + scale.pause_px;
        }
        Self { stretches, left }
    }

    /// The same, as wide as there is room.
    pub(super) fn fitted(mut self, width: f64) -> Self {
        let share = width / (self.right() - self.left).max(1.0);
        for stretch in &mut self.stretches {
            stretch.left = self.left + (stretch.left - self.left) * share;
            stretch.width *= share;
        }
        self
    }

    pub(super) fn right(&self) -> f64 {
        self.stretches.last().map_or(self.left, Stretch::right)
    }

    pub(super) fn x(&self, ms: f64) -> f64 {
        let at = self.stretches.partition_point(|stretch| stretch.begin_ms <= ms).saturating_sub(1);
        let Some(stretch) = self.stretches.get(at) else { return self.left };
        let share = ((ms - stretch.begin_ms) / (stretch.end_ms - stretch.begin_ms).max(1.0)).clamp(0.0, 1.0);
        stretch.left + share * stretch.width
    }
}

/// In which row each update is drawn: the first that is free.
struct Rows {
    of_update: Vec<Vec<usize>>,
    count: usize,
}

impl Rows {
    fn new(frames: &[Frame]) -> Self {
        let mut free = [0.0_f64; MOST_ROWS];
        let mut count = 1;
        let mut row_of = |start_ms: f64, finish_ms: f64| {
            let row = free.iter().position(|until| *until <= start_ms).unwrap_or(MOST_ROWS - 1);
            free[row] = finish_ms;
            count = count.max(row + 1);
            row
        };
        let of_update = frames
            .iter()
            .map(|frame| frame.updates.iter().map(|update| row_of(update.start_ms, update.finish_ms)).collect())
            .collect();
        Self { of_update, count }
    }
}

struct Chart<'f> {
    svg: String,
    axis: Axis,
    frames: &'f [Frame],
    rows: Rows,
    /// From where on residue is a ghost, L*.
    limit_l: f64,
}

/// The upper edges of the lanes.
struct Lanes {
    asked: f64,
    link: f64,
    panel: f64,
    ghost: f64,
    energy: f64,
    bottom: f64,
}

const CURVE: f64 = 46.0;

impl Chart<'_> {
    fn draw(&mut self, id: &str) {
        let asked = 30.0;
        let link = asked + LANE + 6.0;
        let panel = link + LANE + 6.0;
        let ghost = panel + LANE * self.rows.count as f64 + 16.0;
        let energy = ghost + CURVE + 16.0;
        let lanes = Lanes { asked, link, panel, ghost, energy, bottom: energy + CURVE + 8.0 };
        let (width, height) = (self.width(), lanes.bottom + 10.0);
        let _ = write!(
            self.svg,
            "<svg class=\"chart\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\" width=\"{width:.0}\" height=\"{height:.0}\" \
             viewBox=\"0 0 {width:.0} {height:.0}\"><title id=\"{id}-t\">Time chart</title><desc id=\"{id}-d\">{}</desc>",
            escape(&self.in_words())
        );
        self.pauses(&lanes);
        self.lane_names(&lanes);
        for at in 0..self.frames.len() {
            self.step(at, &lanes);
        }
        self.ghost_curve(&lanes);
        self.energy_curve(&lanes);
        self.svg.push_str("</svg>");
    }

    fn width(&self) -> f64 {
        (self.axis.right() + 24.0).max(LEFT + 200.0)
    }

    fn in_words(&self) -> String {
        let updates: Vec<_> = self.frames.iter().flat_map(|frame| &frame.updates).collect();
        let waits = updates.iter().filter(|update| update.waits()).count();
        let flashing = updates.iter().filter(|update| update.flashes > 0).count();
        format!(
            "{} steps with {} updates; {waits} of them wait, {flashing} flash. Residue reaches {:.1} L*; above the \
             dashed line at {} L* it is a visible ghost. The player describes every step in words.",
            self.frames.len(),
            updates.len(),
            self.most_residue_l(),
            self.limit_l
        )
    }

    fn lane_names(&mut self, lanes: &Lanes) {
        let (residue, energy) = (self.most_residue_l(), self.energy_mj());
        let names = [
            (lanes.asked + 16.0, "asked for".to_owned(), String::new()),
            (lanes.link + 16.0, "sent".to_owned(), String::new()),
            (lanes.panel + 16.0, "driven".to_owned(), String::new()),
            (lanes.ghost + 14.0, "residue".to_owned(), format!("up to {residue:.1} L*")),
            (lanes.energy + 14.0, "energy so far".to_owned(), format!("up to {energy:.0} mJ")),
        ];
        for (y, name, range) in names {
            let _ = write!(self.svg, "<text x=\"4\" y=\"{y}\">{name}</text>");
            if !range.is_empty() {
                let _ = write!(self.svg, "<text class=\"faint\" x=\"4\" y=\"{}\">{range}</text>", y + 16.0);
            }
        }
    }

    fn pauses(&mut self, lanes: &Lanes) {
        for pair in self.axis.stretches.windows(2) {
            let (left, right) = (pair[0].right(), pair[1].left);
            let _ = write!(
                self.svg,
                "<rect class=\"pause\" x=\"{:.1}\" y=\"{}\" width=\"{:.1}\" height=\"{}\"/>\
                 <text class=\"faint middle\" x=\"{:.1}\" y=\"18\">{}</text>",
                left + 12.0,
                lanes.asked - 6.0,
                right - left - 24.0,
                lanes.bottom - lanes.asked,
                f64::midpoint(left, right),
                clock(pair[1].begin_ms - pair[0].end_ms)
            );
        }
    }

    fn step(&mut self, at: usize, lanes: &Lanes) {
        let frames = self.frames;
        self.request(&frames[at], lanes);
        self.pen(&frames[at], lanes);
        for (number, update) in frames[at].updates.iter().enumerate().filter(|(_, update)| !update.sent.is_empty()) {
            self.transfer(update, lanes);
            self.drive(update, lanes.panel + LANE * self.rows.of_update[at][number] as f64);
        }
    }

    fn request(&mut self, frame: &Frame, lanes: &Lanes) {
        let x = self.axis.x(frame.request_ms);
        let _ = write!(
            self.svg,
            "<g><title>step {} {}, asked for by {}</title><path class=\"request\" d=\"M{x:.1} {}v{LANE}\"/>\
             <circle class=\"{}\" cx=\"{x:.1}\" cy=\"{}\" r=\"4\"/></g>",
            frame.index,
            escape(frame.label.as_deref().unwrap_or("")),
            asked_by(frame.cause),
            lanes.asked,
            if frame.cause.is_person() { "person" } else { "machine" },
            lanes.asked + 4.0
        );
    }

    fn pen(&mut self, frame: &Frame, lanes: &Lanes) {
        let mut points = frame.strokes.iter().flat_map(|stroke| &stroke.points);
        let Some(first) = points.next() else { return };
        let last = points.last().unwrap_or(first);
        let (left, right) = (self.axis.x(first[2]), self.axis.x(last[2]));
        let _ = write!(
            self.svg,
            "<path class=\"pen\" d=\"M{left:.1} {y:.1}H{right:.1}\"><title>the controller draws under the pen</title></path>",
            y = lanes.asked + LANE - 6.0
        );
    }

    fn transfer(&mut self, update: &RecordedUpdate, lanes: &Lanes) {
        let (left, right) = (self.axis.x(update.send_ms), self.axis.x(update.arrived_ms));
        let _ = write!(
            self.svg,
            "<rect class=\"sent\" x=\"{left:.1}\" y=\"{}\" width=\"{:.1}\" height=\"14\"><title>{} ms transfer</title></rect>",
            lanes.link + 4.0,
            (right - left).max(1.5),
            ms(update.arrived_ms - update.send_ms)
        );
    }

    /// An update in its row: how long it waits and drives, and its flashes.
    fn drive(&mut self, update: &RecordedUpdate, top: f64) {
        let (start, finish) = (self.axis.x(update.start_ms), self.axis.x(update.finish_ms));
        if update.waits() {
            let _ = write!(
                self.svg,
                "<path class=\"wait\" d=\"M{:.1} {:.1}H{start:.1}\"><title>waits {} ms for {}</title></path>",
                self.axis.x(update.request_ms),
                top + 21.0,
                ms(update.wait_ms),
                update.waits_for
            );
        }
        let _ = write!(
            self.svg,
            "<rect class=\"{}\" x=\"{start:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"14\"><title>{}: {} ms</title></rect>",
            if update.cleans { "cleans" } else { "drive" },
            top + 4.0,
            (finish - start).max(2.0),
            escape(&update.mode),
            ms(update.finish_ms - update.start_ms)
        );
        for flash in 0..update.flashes {
            let x = start + (f64::from(flash) + 0.5) / f64::from(update.flashes) * (finish - start);
            let _ = write!(self.svg, "<path class=\"flash\" d=\"M{x:.1} {:.1}l4 -9h-8z\"/>", top + 17.0);
        }
    }

    fn most_residue_l(&self) -> f64 {
        self.frames.iter().map(|frame| frame.residue_l).fold(0.0, f64::max)
    }

    fn energy_mj(&self) -> f64 {
        self.frames.iter().map(Frame::energy_mj).sum()
    }

    fn ghost_curve(&mut self, lanes: &Lanes) {
        let most = self.most_residue_l().max(self.limit_l);
        self.curve(lanes.ghost, most, "ghost", |frame, _| frame.residue_l);
        if most > 0.0 {
            let (y, right) = (lanes.ghost + CURVE * (1.0 - self.limit_l / most), self.width() - 14.0);
            let _ = write!(
                self.svg,
                "<path class=\"limit\" d=\"M{:.1} {y:.1}H{right:.1}\"><title>from {} L* on it is a ghost</title></path>",
                LEFT + 10.0,
                self.limit_l
            );
        }
    }

    fn energy_curve(&mut self, lanes: &Lanes) {
        let most = self.energy_mj();
        self.curve(lanes.energy, most, "energy", |frame, before| before + frame.energy_mj());
    }

    /// A curve in steps: a value holds from the end of its step to the end of the next.
    fn curve(&mut self, top: f64, most: f64, class: &str, value: impl Fn(&Frame, f64) -> f64) {
        let scale = if most > 0.0 { CURVE / most } else { 0.0 };
        let bottom = top + CURVE;
        let mut path = format!("M{:.1} {bottom:.1}", LEFT + 10.0);
        let mut now = 0.0;
        for frame in self.frames {
            now = value(frame, now);
            let _ = write!(path, "H{:.1}V{:.1}", self.axis.x(frame.ends_ms()), bottom - now * scale);
        }
        let _ = write!(path, "H{:.1}", self.width() - 14.0);
        let _ = write!(
            self.svg,
            "<path class=\"base\" d=\"M{:.1} {bottom:.1}H{:.1}\"/><path class=\"{class}\" d=\"{path}\"/>",
            LEFT + 10.0,
            self.width() - 14.0
        );
    }
}

fn escape(text: &str) -> String {
    html! { (text) }.into_string()
}
