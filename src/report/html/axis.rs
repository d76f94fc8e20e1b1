//! Times and where they are drawn: stretches of work side by side, the pauses between them cut short; and the rows of
//! updates that run at the same time. Knows the recording, not how anything is drawn; the charts of two plans use it too.

use super::recording::{Frame, Recording};

/// More steps without a picture than this are not drawn.
const MOST_STEPS: usize = 400;
/// A stretch without any work longer than this is a pause, ms.
const PAUSE_MS: f64 = 400.0;
/// So many updates are drawn one under the other, where they run at the same time.
const MOST_ROWS: usize = 4;
/// How wide the time of one plan is drawn before a reader changes that.
pub(super) const SCALE: Scale = Scale { pause_px: 54.0, px_a_ms: 0.14, narrowest_px: 26.0 };

/// The frames whose time is drawn.
pub(super) fn drawn(recording: &Recording) -> &[Frame] {
    let pictured = recording.frames.iter().rposition(|frame| frame.patches.is_some()).map_or(0, |last| last + 1);
    let most = pictured.max(MOST_STEPS);
    &recording.frames[..recording.frames.len().min(most)]
}

/// A stretch of work between two pauses, and where it lies.
pub(super) struct Stretch {
    pub(super) begin_ms: f64,
    pub(super) end_ms: f64,
    pub(super) left: f64,
    pub(super) width: f64,
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
pub(super) struct Rows {
    pub(super) of_update: Vec<Vec<usize>>,
    pub(super) count: usize,
}

impl Rows {
    pub(super) fn new(frames: &[Frame]) -> Self {
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
