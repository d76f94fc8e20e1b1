//! The played plan: what every step does to the pixels of the panel, when, and what the eye sees of it.
//!
//! Knows no JSON, no files and no rules. The same input gives the same playback, with any number of threads.

mod eye;
mod field;
mod flash;
mod glass;
mod pen_line;
mod queue;
mod spread;

use std::sync::Arc;

use crate::{
    change::{Difference, Mask, Region, SentWindows, TileCover, TileGrid, conveyor::Transition, regions, sent_windows},
    display::{Level, LevelSet, Mode},
    geometry::{Rect, Window},
    plan::{Begins, Plan, PlannedStep, Stroke, Update},
    screen::Picture,
};
use glass::{Action, Driven};

pub use eye::{Ghost, GhostLimits};
pub use flash::{FastFlashes, FlashKind, FlashLimits, FlashWatch, Swung};
pub use glass::Glass;
pub use queue::{Queue, Times, WaitsFor};

/// Plays the steps of a plan one after the other.
#[derive(Clone, Debug)]
pub struct Player<'p> {
    plan: &'p Plan,
    glass: Glass,
    eye: eye::Eye,
    queue: Queue,
    memory: Arc<Picture>,
    nothing: Arc<Difference>,
}

/// The limits from which on the panel tells of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watched {
    /// Of ghosts.
    pub ghost: GhostLimits,
    /// Of the net impulse of a pixel, volt-seconds, where there is one.
    pub net_impulse_vs: Option<f64>,
}

/// A step as it was played.
#[derive(Debug)]
pub struct PlayedStep<'a> {
    /// What the plan asked for.
    pub planned: &'a PlannedStep<'a>,
    /// What was in memory before.
    pub previous: &'a Picture,
    /// What is in memory now.
    pub memory: &'a Picture,
    /// The pixels whose level in memory this step changed.
    pub introduced: &'a Mask,
    /// The pixels that differed from the glass before the updates.
    pub changed: Mask,
    /// Groups of those.
    pub regions: Vec<Region>,
    /// The updates in order.
    pub updates: Vec<PlayedUpdate>,
    /// The strokes in order.
    pub strokes: Vec<PlayedStroke>,
    /// The pixels that the strokes covered.
    pub pen_line: Mask,
    /// How many of those the controller did not know.
    pub pen_unknown_px: u64,
    /// Pixels that differ from memory after all updates and that no window covered.
    pub left_behind: Mask,
    /// The ghosts that are visible at the end of the step.
    pub ghosts: &'a [Ghost],
    /// From which difference and area on a ghost counts.
    pub ghost_limits: GhostLimits,
    /// The median residue of each level, L*.
    pub medians: &'a [f64],
    /// The panel at the end of the step.
    pub glass: &'a Glass,
}

/// A stroke as the controller drew it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedStroke {
    /// The level that it was drawn in.
    pub level: Level,
    /// The pixels that it covered.
    pub pixels: Mask,
    /// Its pieces on the panel, in order.
    pub pieces: Vec<PlayedPiece>,
}

/// A piece of a stroke, from one point to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlayedPiece {
    /// The box around its pixels.
    pub rect: Rect,
    /// When the pen was at its end, ms since the plan began.
    pub pen_ms: f64,
    /// When the controller began to draw it.
    pub start_ms: f64,
    /// When it was drawn.
    pub finish_ms: f64,
}

/// An update as it was played.
#[derive(Clone, Debug)]
pub struct PlayedUpdate {
    /// Index of the display's mode.
    pub mode: usize,
    /// The boxes asked for, before they are widened; empty where nothing is sent.
    pub asked: Vec<Window>,
    /// The boxes sent.
    pub sent: Vec<Rect>,
    /// Whether the whole panel is refreshed although a window was asked for.
    pub refused: bool,
    /// Pixels sent.
    pub sent_px: u64,
    /// Pixels in the boxes that differed from memory just before.
    pub changed_px: u64,
    /// Pixels driven.
    pub driven_px: u64,
    /// Pixels driven outside the boxes that were asked for.
    pub driven_beside_px: u64,
    /// Pixels in the boxes that the controller did not know; counted for changed-only modes.
    pub unknown_px: u64,
    /// Pixels whose target the mode cannot reach.
    pub out_of_reach: Mask,
    /// Pixels driven from a level that the mode cannot start from.
    pub wrong_start: Mask,
    /// Whether some residue became less.
    pub takes_residue: bool,
    /// The levels of pixels that change, before.
    pub changes_from: LevelSet,
    /// The levels that those pixels shall get.
    pub changes_to: LevelSet,
    /// The largest residue, either way, of a pixel that changes, before it is driven, L*.
    pub most_residue_l: f64,
    /// The pixels that swung so far that a viewer may see half a flash; none for a mode that flashes by itself.
    pub swung: Swung,
    /// For a mode that flashes: the pixels in the boxes that are a saturated red before or after.
    pub red: Mask,
    /// Segments' pixels driven towards the state that they have, by a mode that does not clean.
    pub redriven: Mask,
    /// The share of the way that the drive goes, 0 to 1.
    pub share: f64,
    /// When.
    pub times: Times,
    /// Its duration, ms.
    pub duration_ms: f64,
    /// First visible change, ms since the plan began.
    pub first_visible_ms: f64,
    /// Energy, mJ; 0 where the mode gives no figures.
    pub energy_mj: f64,
}

impl PlayedUpdate {
    /// The box around all that is sent; nothing where nothing is.
    pub fn sent_bounds(&self) -> Option<Rect> {
        self.sent.iter().copied().reduce(Rect::around)
    }

    /// Whether it changes something that can be seen: pixels that differ, and some that are driven.
    pub fn changes_something(&self) -> bool {
        self.changed_px > 0 && self.driven_px > 0
    }
}

impl PlayedStep<'_> {
    /// The largest difference to the median of its level over all ghosts, L*.
    pub fn worst_residue_l(&self) -> f64 {
        self.ghosts.iter().map(|ghost| ghost.worst_l).fold(0.0, f64::max)
    }

    /// The pixels of all ghosts.
    pub fn ghost_px(&self) -> u64 {
        self.ghosts.iter().map(|ghost| ghost.pixels).sum()
    }

    /// When the updates are requested, ms: after the last pen-up.
    pub fn updates_request_ms(&self) -> f64 {
        self.planned.request_ms + self.planned.step.pen_up_ms()
    }

    /// When something changes to be seen, ms since the plan began; nothing where no update of the step changes anything.
    pub fn first_visible_ms(&self) -> Option<f64> {
        let changing = self.updates.iter().filter(|update| update.changes_something());
        changing.map(|update| update.first_visible_ms).reduce(f64::min)
    }

    /// The tiles of the panel.
    pub fn grid(&self) -> &TileGrid {
        self.glass.grid()
    }
}

impl<'p> Player<'p> {
    /// A panel as the plan begins, with this picture on it.
    pub fn new(plan: &'p Plan, begins: Arc<Picture>, limits: Watched) -> Self {
        let display = &plan.display;
        let mut glass = Glass::new(&begins, &display.ink, plan.begins == Begins::Unknown);
        if let (Some(limit_vs), true) = (limits.net_impulse_vs, display.modes.iter().any(|mode| mode.impulse.is_some()))
        {
            glass.watch_charge(limit_vs);
        }
        let eye = eye::Eye::new(&glass, display.ink.levels(), limits.ghost, display.area_mm2(1));
        let queue = Queue::new(display.link, display.parallel_updates);
        Self { plan, glass, eye, queue, memory: begins, nothing: Arc::default() }
    }

    /// Whether the pixels of two panels are the same, and both are free at the same time.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        self.queue.is_like(&other.queue) && self.glass.is_like(&other.glass)
    }

    /// Plays a step and hands it to `see`. Gives back the picture that was in memory before, where it was replaced.
    pub fn play(
        &mut self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        see: impl FnOnce(&PlayedStep<'_>),
    ) -> Option<Arc<Picture>> {
        self.glass.begin_step(planned.index);
        let (strokes, pen_unknown_px) = self.draw_strokes(planned);
        let pen_line = Mask::from_unsorted(strokes.iter().flat_map(|stroke| stroke.pixels.tiles()).copied().collect());
        let (memory, introduced) = match transition {
            Some(Transition { picture, introduced }) => (picture, introduced),
            None => (self.memory.clone(), self.nothing.clone()),
        };
        self.glass.memory_changed(&introduced);
        let changed = self.glass.unlike_memory();
        let regions = regions(&changed, self.glass.grid());
        let request_ms = planned.request_ms + planned.step.pen_up_ms();
        let updates: Vec<PlayedUpdate> =
            planned.step.listed_updates().iter().map(|update| self.update(update, request_ms)).collect();
        let sent: Vec<Rect> = updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        let left_behind = self.glass.unlike_memory().outside(&sent, self.glass.grid());
        if planned.step.power_off && self.plan.display.forgets_when_off {
            self.glass.forget();
        }
        self.eye.look(&mut self.glass);
        see(&PlayedStep {
            planned,
            previous: &self.memory,
            memory: &memory,
            introduced: &introduced.pixels,
            changed,
            regions,
            updates,
            strokes,
            pen_line,
            pen_unknown_px,
            left_behind,
            ghosts: self.eye.ghosts(),
            ghost_limits: self.eye.limits(),
            medians: self.eye.medians(),
            glass: &self.glass,
        });
        let before = std::mem::replace(&mut self.memory, memory);
        (!Arc::ptr_eq(&before, &self.memory)).then_some(before)
    }

    /// Draws the strokes of a step; gives also how many of their pixels the controller did not know.
    fn draw_strokes(&mut self, planned: &PlannedStep<'_>) -> (Vec<PlayedStroke>, u64) {
        let mut unknown_px = 0;
        let strokes = planned.step.strokes.iter();
        let drawn = strokes.map(|stroke| self.draw_stroke(stroke, planned.request_ms, &mut unknown_px)).collect();
        (drawn, unknown_px)
    }

    fn draw_stroke(&mut self, stroke: &Stroke, request_ms: f64, unknown_px: &mut u64) -> PlayedStroke {
        let display = &self.plan.display;
        let mode = &display.modes[stroke.mode];
        let duration_ms = mode.duration_at(self.plan.temperature_c);
        let action = Action::new(mode, display, share_of_swing(mode, duration_ms));
        let level = if stroke.white { display.ink.white() } else { display.ink.black() };
        let delay_ms = display.controller_ink_delay_ms.unwrap_or(0.0);
        let grid = *self.glass.grid();
        let pieces = pen_line::pieces(stroke, &grid);
        let mut covered = Vec::new();
        for piece in &pieces {
            *unknown_px += self.glass.draw(&piece.pixels, level, &action).unknown_px;
            covered.extend_from_slice(piece.pixels.tiles());
        }
        let pens: Vec<(f64, Option<Rect>)> =
            pieces.iter().map(|piece| (request_ms + piece.at_ms, piece.pixels.bounds(&grid))).collect();
        let parts = pieces.into_iter().map(|piece| (request_ms + piece.at_ms + delay_ms, piece.pixels)).collect();
        let times = self.queue.stroke(parts, duration_ms, &grid);
        let pieces = pens.into_iter().zip(times).filter_map(|((pen_ms, rect), (start_ms, finish_ms))| {
            Some(PlayedPiece { rect: rect?, pen_ms, start_ms, finish_ms })
        });
        PlayedStroke { level, pieces: pieces.collect(), pixels: Mask::from_unsorted(covered) }
    }

    fn update(&mut self, update: &Update, request_ms: f64) -> PlayedUpdate {
        let display = &self.plan.display;
        let mode = &display.modes[update.mode];
        let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(self.plan.temperature_c));
        let SentWindows { asked, sent, refused } =
            sent_windows(&update.window, mode, display, self.plan.rotation, self.glass.unlike_bounds());
        let cover = TileCover::new(*self.glass.grid(), &sent);
        let sent_px = cover.pixels();
        let asked_boxes: Vec<Rect> = asked.iter().filter_map(|window| window.cut(self.glass.grid().size())).collect();
        let beside = (asked_boxes != sent).then_some(asked_boxes.as_slice());
        let share = share_of_swing(mode, duration_ms);
        let action = Action::new(mode, display, share);
        let red_before = self.red_under(mode, &cover);
        let driven: Driven =
            if sent.is_empty() { Driven::default() } else { self.glass.drive(&cover, &action, beside) };
        let red = red_before.or(&self.red_under(mode, &cover));
        let times = self.queue.update(request_ms, &sent, sent_px, duration_ms, self.glass.grid());
        let energy_mj = mode
            .energy
            .filter(|_| !sent.is_empty())
            .map_or(0.0, |energy| energy.start_mj + energy.per_cm2_mj * display.area_mm2(sent_px) / 100.0);
        PlayedUpdate {
            mode: update.mode,
            asked,
            refused,
            sent_px,
            changed_px: driven.changed_px,
            driven_px: driven.px,
            driven_beside_px: if beside.is_some() { driven.beside_px } else { 0 },
            unknown_px: driven.unknown_px,
            out_of_reach: driven.out_of_reach,
            wrong_start: driven.wrong_start,
            takes_residue: driven.takes_residue,
            changes_from: driven.changes_from,
            changes_to: driven.changes_to,
            most_residue_l: driven.most_residue_l,
            swung: driven.swung,
            red,
            redriven: driven.redriven,
            share,
            times,
            duration_ms,
            first_visible_ms: times.start_ms + mode.first_visible_ms.unwrap_or(duration_ms / 4.0),
            energy_mj,
            sent,
        }
    }

    /// The red pixels that a mode's own flashes swing.
    fn red_under(&self, mode: &Mode, cover: &TileCover<'_>) -> Mask {
        if mode.flashes == 0 { Mask::new() } else { self.glass.red_within(cover) }
    }
}

/// The share of the way that a drive of that duration goes, 0 to 1.
pub fn share_of_swing(mode: &Mode, duration_ms: f64) -> f64 {
    mode.full_swing_ms.map_or(1.0, |whole| (duration_ms / whole).min(1.0))
}
