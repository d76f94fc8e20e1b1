//! Plays the steps of a plan one after the other: draws the strokes, and works out the times of all updates. What a step does to
//! the pixels, and in which order, stands in `effect` and `drive`.

use std::{rc::Rc, sync::Arc};

use super::{
    cache::{EffectCache, Kept},
    drive::{Drive, Driving},
    effect::{Controller, Panel, StepEffect},
    ghosts::{GhostDetector, GhostLimits},
    pen_line,
    played::{BEGINNING, PlayedPiece, PlayedStep, PlayedStroke, PlayedUpdate},
    queue::{Lost, Queue, Times},
    state::PanelState,
};
use crate::{
    change::{Difference, Mask, TileGrid, pipeline::Transition},
    display::{Display, WhenBusy},
    geometry::Rect,
    plan::{Begins, Plan, PlannedStep, ScreenId, Stroke},
    screen::Picture,
};

/// Plays the steps of a plan one after the other.
#[derive(Debug)]
pub struct Player<'p> {
    plan: &'p Plan,
    panel: Rc<Panel>,
    /// What came before, where that is kept.
    cache: Option<EffectCache>,
    drives: Drives,
    /// Which step moved each tile last, and which before that one.
    moved_by: Vec<[u32; 2]>,
    queue: Queue,
    memory: Arc<Picture>,
    /// The screen that is in memory; `None` for what the plan begins with.
    screen: Option<ScreenId>,
    nothing: Arc<Difference>,
}

/// The limits from which on the panel tells of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watched {
    /// Of ghosts.
    pub ghost: GhostLimits,
    /// Whether ghosts are looked for at all; where not, a played step has none, and its medians are 0.
    pub looks_for_ghosts: bool,
    /// Of the net impulse of a pixel, volt-seconds, where there is one.
    pub net_impulse_vs: Option<f64>,
}

impl<'p> Player<'p> {
    /// A panel as the plan begins, with this picture on it.
    pub fn new(plan: &'p Plan, begins: Arc<Picture>, limits: Watched) -> Self {
        let display = &plan.display;
        let mut state = PanelState::new(&begins, &display.ink, plan.begins == Begins::Unknown);
        if let (Some(limit_vs), true) = (limits.net_impulse_vs, display.modes.iter().any(|mode| mode.impulse.is_some()))
        {
            state.watch_charge(limit_vs);
        }
        if !limits.looks_for_ghosts {
            state.spreads.forget();
        }
        let moved_by = vec![[BEGINNING; 2]; state.grid().tiles()];
        let ghosts = GhostDetector::new(&state, display.ink.levels(), limits.ghost, display.area_mm2(1));
        Self {
            plan,
            panel: Rc::new(Panel { state, ghosts: ghosts.looking(limits.looks_for_ghosts) }),
            // What a busy controller drops rests on times, which never come again.
            cache: (display.when_busy == WhenBusy::Waits).then(EffectCache::default),
            drives: Drives::default(),
            moved_by,
            queue: Queue::new(display.link, display.parallel_updates),
            memory: begins,
            screen: None,
            nothing: Arc::default(),
        }
    }

    /// Another player that goes on from here. It takes no note of what comes again: it goes its own way, seldom far, and what
    /// it meets is seldom what this one met.
    #[must_use]
    pub fn fork(&self) -> Self {
        Self {
            plan: self.plan,
            panel: self.panel.clone(),
            cache: None,
            drives: self.drives.clone(),
            moved_by: self.moved_by.clone(),
            queue: self.queue.clone(),
            memory: self.memory.clone(),
            screen: self.screen,
            nothing: self.nothing.clone(),
        }
    }

    /// Whether the pixels of two panels are the same, and both are free at the same time.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        self.queue.is_like(&other.queue) && self.panel.state.is_like(&other.panel.state)
    }

    /// Whether the panel at a time (ms) is as another was at its own: every pixel, and how long both are still busy.
    pub(crate) fn repeats(&self, at_ms: f64, other: &Self, other_at_ms: f64) -> bool {
        let mut busy_ms = self.queue.busy_ms(at_ms).into_iter().zip(other.queue.busy_ms(other_at_ms));
        busy_ms.all(|(one, other)| (one - other).abs() < 0.01) && self.panel.state.repeats(&other.panel.state)
    }

    /// Plays a step and hands it to `see`. Gives back the picture that was in memory before, where it was replaced.
    pub fn play(
        &mut self,
        planned: &PlannedStep<'_>,
        transition: Option<Transition>,
        see: impl FnOnce(&PlayedStep<'_>),
    ) -> Option<Arc<Picture>> {
        let (strokes, pen_unknown_px) = self.draw_strokes(planned);
        let pen_line = Mask::from_unsorted(strokes.iter().flat_map(|stroke| stroke.pixels.tiles()).copied().collect());
        let (memory, introduced) = match transition {
            Some(Transition { picture, introduced }) => (picture, introduced),
            None => (self.memory.clone(), self.nothing.clone()),
        };
        let queue_before = self.queue.clone();
        let StepEffect { changed, regions, updates, left_behind, moved, .. } = self.effect(planned, &introduced);
        for tile in moved {
            let moved_by = &mut self.moved_by[tile as usize];
            *moved_by = [planned.index as u32, moved_by[0]];
        }
        let Panel { state, ghosts } = &*self.panel;
        see(&PlayedStep {
            planned,
            previous: &self.memory,
            previous_screen: self.screen,
            memory: &memory,
            introduced: &introduced.pixels,
            changed,
            regions,
            updates,
            strokes,
            pen_line,
            pen_unknown_px,
            left_behind,
            ghosts: ghosts.ghosts(),
            ghost_limits: ghosts.limits(),
            residue_l: ghosts.residue_l(),
            medians: ghosts.medians(),
            glass: state,
            queue_before: &queue_before,
            moved_by: &self.moved_by,
        });
        self.screen = planned.screen.or(self.screen);
        let before = std::mem::replace(&mut self.memory, memory);
        (!Arc::ptr_eq(&before, &self.memory)).then_some(before)
    }

    /// What a step does after its strokes: as it is kept, where the same happened before, except for the times.
    fn effect(&mut self, planned: &PlannedStep<'_>, introduced: &Difference) -> StepEffect {
        let happening = self.cache.as_ref().and_then(|cache| cache.happening(planned));
        let kept = self.cache.as_mut().zip(happening.as_ref()).and_then(|(cache, happening)| cache.again(happening));
        let request_ms = planned.request_ms + planned.step.updates_after_ms();
        if let Some(kept) = kept {
            let Kept { effect, panel, .. } = &*kept;
            self.panel = panel.clone();
            let mut effect = effect.clone();
            let updates = effect.updates.iter().enumerate();
            let times = updates
                .map(|(at, update)| self.queue_update(update, request_ms, recorded_times(planned, at)))
                .collect();
            self.tell_times(&mut effect, times);
            return effect;
        }
        let Self { plan, panel, drives, queue, .. } = self;
        let grid = *panel.state.grid();
        let mut controller = AtWork {
            planned,
            display: &plan.display,
            grid,
            drives,
            queue,
            request_ms,
            ready_ms: request_ms,
            times: Vec::new(),
        };
        let mut effect = Rc::make_mut(panel).play(plan, planned, introduced, &mut controller);
        let times = controller.times;
        if let Some(cache) = &mut self.cache {
            cache.played(happening, &effect, &self.panel, planned.screen.or(self.screen));
        }
        self.tell_times(&mut effect, times);
        effect
    }

    /// Puts an update into the controller's queue.
    fn queue_update(&mut self, update: &PlayedUpdate, request_ms: f64, recorded: RecordedTimes) -> Times {
        let grid = self.panel.state.grid();
        let times = self.queue.update(request_ms, &update.sent, update.transfer_px, update.duration_ms, grid);
        if update.sent.is_empty() { times } else { recorded.correct(&mut self.queue, times) }
    }

    fn tell_times(&self, effect: &mut StepEffect, times: Vec<Times>) {
        for (update, times) in effect.updates.iter_mut().zip(times) {
            let first_visible_ms = self.plan.display.modes[update.mode].first_visible_ms;
            update.times = times;
            update.first_visible_ms = times.start_ms + first_visible_ms.unwrap_or(update.duration_ms / 4.0);
        }
    }

    /// Draws the strokes of a step; gives also how many of their pixels the controller did not know.
    fn draw_strokes(&mut self, planned: &PlannedStep<'_>) -> (Vec<PlayedStroke>, u64) {
        let mut unknown_px = 0;
        let strokes = planned.step.strokes.iter();
        let drawn = strokes.map(|stroke| self.draw_stroke(stroke, planned, &mut unknown_px)).collect();
        (drawn, unknown_px)
    }

    fn draw_stroke(&mut self, stroke: &Stroke, planned: &PlannedStep<'_>, unknown_px: &mut u64) -> PlayedStroke {
        let display = &self.plan.display;
        let request_ms = planned.request_ms;
        let mode = &display.modes[stroke.mode];
        let duration_ms = mode.duration_at(planned.temperature_c);
        let level = if stroke.white { display.ink.white() } else { display.ink.black() };
        let delay_ms = display.controller_ink_delay_ms.unwrap_or(0.0);
        let state = &mut Rc::make_mut(&mut self.panel).state;
        let driving = Driving::new(mode, duration_ms, planned.temperature_c);
        let drive = self.drives.of(display, state, stroke.mode, driving);
        let grid = *state.grid();
        let pieces = pen_line::pieces(stroke, &grid);
        let (mut covered, mut wrong_start) = (Vec::new(), Vec::new());
        for piece in &pieces {
            let driven = state.draw(&piece.pixels, level, &drive);
            *unknown_px += driven.unknown_px;
            wrong_start.extend_from_slice(driven.wrong_start.tiles());
            covered.extend_from_slice(piece.pixels.tiles());
        }
        let pens: Vec<(f64, Option<Rect>)> =
            pieces.iter().map(|piece| (request_ms + piece.at_ms, piece.pixels.bounds(&grid))).collect();
        let parts = pieces.into_iter().map(|piece| (request_ms + piece.at_ms + delay_ms, piece.pixels)).collect();
        let times = self.queue.stroke(parts, duration_ms, &grid);
        let pieces = pens.into_iter().zip(times).filter_map(|((pen_ms, rect), (start_ms, finish_ms))| {
            Some(PlayedPiece { rect: rect?, pen_ms, start_ms, finish_ms })
        });
        let (pixels, wrong_start) = (Mask::from_unsorted(covered), Mask::from_unsorted(wrong_start));
        PlayedStroke { level, pieces: pieces.collect(), pixels, wrong_start }
    }
}

/// The times that a device recorded of an update, ms since the plan began.
#[derive(Clone, Copy, Debug)]
struct RecordedTimes {
    start_ms: Option<f64>,
    finish_ms: Option<f64>,
}

/// What is recorded of an update of a step; nothing in a plan.
fn recorded_times(planned: &PlannedStep<'_>, update: usize) -> RecordedTimes {
    let recorded = planned.step.recorded_update(update);
    let since_begin = |ms: Option<f64>| ms.map(|ms| planned.request_ms + ms);
    RecordedTimes {
        start_ms: since_begin(recorded.and_then(|recorded| recorded.started_ms)),
        finish_ms: since_begin(recorded.and_then(|recorded| recorded.finished_ms)),
    }
}

impl RecordedTimes {
    fn is_some(self) -> bool {
        self.start_ms.is_some() || self.finish_ms.is_some()
    }

    /// The times of the update that was put into the queue last, as they were recorded.
    fn correct(self, queue: &mut Queue, times: Times) -> Times {
        if self.is_some() { queue.correct_last(times, self.start_ms, self.finish_ms) } else { times }
    }
}

/// The controller while a step is played: it says when each update is sent.
struct AtWork<'a> {
    planned: &'a PlannedStep<'a>,
    display: &'a Display,
    grid: TileGrid,
    drives: &'a mut Drives,
    queue: &'a mut Queue,
    request_ms: f64,
    /// When the transfers of the step's updates so far have ended.
    ready_ms: f64,
    times: Vec<Times>,
}

impl Controller for AtWork<'_> {
    fn drive(&mut self, state: &PanelState, mode: usize, driving: Driving) -> Rc<Drive> {
        self.drives.of(self.display, state, mode, driving)
    }

    fn takes(&mut self, boxes: &[Rect], pixels: u64, duration_ms: f64) -> Result<(), Lost> {
        // Of an update whose times were recorded, the device has taken notice.
        let recorded = recorded_times(self.planned, self.times.len());
        if self.display.when_busy == WhenBusy::Waits || boxes.is_empty() || recorded.is_some() {
            let times = self.queue.update(self.request_ms, boxes, pixels, duration_ms, &self.grid);
            if !boxes.is_empty() {
                // What follows in the same step is sent when this has been carried.
                self.ready_ms = self.ready_ms.max(times.send_ms + times.transfer_ms);
            }
            self.times.push(if boxes.is_empty() { times } else { recorded.correct(self.queue, times) });
            return Ok(());
        }
        let taken = self.queue.update_if_free(self.ready_ms, boxes, pixels, duration_ms, &self.grid);
        let lost = Times { request_ms: self.request_ms, ..Times::all_at(self.ready_ms) };
        let times = taken.map_or(lost, |times| times.requested_at(self.request_ms));
        if taken.is_ok() {
            self.ready_ms = times.send_ms + times.transfer_ms;
        }
        self.times.push(times);
        taken.map(|_| ())
    }
}

/// Ways to drive that were asked for before.
#[derive(Clone, Debug, Default)]
struct Drives(Vec<(usize, Driving, Rc<Drive>)>);

/// As many are kept: more than a display has modes, unless durations of a plan's own or temperatures come to it.
const MOST_DRIVES: usize = 64;

impl Drives {
    /// What drives of a mode do.
    fn of(&mut self, display: &Display, state: &PanelState, mode: usize, driving: Driving) -> Rc<Drive> {
        let known = self.0.iter().find(|(of, known, _)| (*of, *known) == (mode, driving));
        if let Some((.., drive)) = known {
            return drive.clone();
        }
        let drive = Rc::new(Drive::new(&display.modes[mode], display, driving, state));
        if self.0.len() == MOST_DRIVES {
            self.0.clear();
        }
        self.0.push((mode, driving, drive.clone()));
        drive
    }
}
