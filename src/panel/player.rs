//! Plays the steps of a plan one after the other: strokes, the new screen, the updates, what was left behind, power off, and
//! a look at the panel. Knows the order of things and their times; what they do to pixels stands in `effect` and `drive`.

use std::{rc::Rc, sync::Arc};

use super::{
    cache::{EffectCache, Kept},
    drive::Drive,
    effect::{Panel, StepEffect, share_of_swing},
    ghosts::{GhostDetector, GhostLimits},
    pen_line,
    played::{BEGINNING, PlayedPiece, PlayedStep, PlayedStroke, PlayedUpdate},
    queue::Queue,
    state::PanelState,
};
use crate::{
    change::{Difference, Mask, pipeline::Transition},
    display::Display,
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
    /// The screen that is in memory; nothing for what the plan begins with.
    screen: Option<ScreenId>,
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

impl<'p> Player<'p> {
    /// A panel as the plan begins, with this picture on it.
    pub fn new(plan: &'p Plan, begins: Arc<Picture>, limits: Watched) -> Self {
        let display = &plan.display;
        let mut state = PanelState::new(&begins, &display.ink, plan.begins == Begins::Unknown);
        if let (Some(limit_vs), true) = (limits.net_impulse_vs, display.modes.iter().any(|mode| mode.impulse.is_some()))
        {
            state.watch_charge(limit_vs);
        }
        let moved_by = vec![[BEGINNING; 2]; state.grid().tiles()];
        let ghosts = GhostDetector::new(&state, display.ink.levels(), limits.ghost, display.area_mm2(1));
        Self {
            plan,
            panel: Rc::new(Panel { state, ghosts }),
            cache: Some(EffectCache::default()),
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
        let StepEffect { changed, regions, mut updates, left_behind, moved, .. } = self.effect(planned, &introduced);
        updates.iter_mut().for_each(|update| self.queue_update(update, planned));
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
            medians: ghosts.medians(),
            glass: state,
            moved_by: &self.moved_by,
        });
        self.screen = planned.screen.or(self.screen);
        let before = std::mem::replace(&mut self.memory, memory);
        (!Arc::ptr_eq(&before, &self.memory)).then_some(before)
    }

    /// What a step does after its strokes: as it is kept, where the same happened before, but for the times.
    fn effect(&mut self, planned: &PlannedStep<'_>, introduced: &Difference) -> StepEffect {
        let happening = self.cache.as_ref().and_then(|cache| cache.happening(planned));
        let kept = self.cache.as_mut().zip(happening.as_ref()).and_then(|(cache, happening)| cache.again(happening));
        if let Some(kept) = kept {
            let Kept { effect, panel, .. } = &*kept;
            self.panel = panel.clone();
            return effect.clone();
        }
        let Self { plan, panel, drives, .. } = self;
        let drive = |state: &PanelState, mode, share| drives.of(&plan.display, state, mode, share);
        let effect = Rc::make_mut(panel).play(plan, planned, introduced, drive);
        if let Some(cache) = &mut self.cache {
            cache.played(happening, &effect, &self.panel, planned.screen.or(self.screen));
        }
        effect
    }

    /// Puts an update into the controller's queue and tells its times.
    fn queue_update(&mut self, update: &mut PlayedUpdate, planned: &PlannedStep<'_>) {
        let request_ms = planned.request_ms + planned.step.pen_up_ms();
        let (sent, duration_ms) = (&update.sent, update.duration_ms);
        let times = self.queue.update(request_ms, sent, update.sent_px, duration_ms, self.panel.state.grid());
        let first_visible_ms = self.plan.display.modes[update.mode].first_visible_ms;
        update.times = times;
        update.first_visible_ms = times.start_ms + first_visible_ms.unwrap_or(duration_ms / 4.0);
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
        let level = if stroke.white { display.ink.white() } else { display.ink.black() };
        let delay_ms = display.controller_ink_delay_ms.unwrap_or(0.0);
        let state = &mut Rc::make_mut(&mut self.panel).state;
        let drive = self.drives.of(display, state, stroke.mode, share_of_swing(mode, duration_ms));
        let grid = *state.grid();
        let pieces = pen_line::pieces(stroke, &grid);
        let mut covered = Vec::new();
        for piece in &pieces {
            *unknown_px += state.draw(&piece.pixels, level, &drive).unknown_px;
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
}

impl Clone for Player<'_> {
    fn clone(&self) -> Self {
        self.fork()
    }
}

/// Ways to drive that were asked for before.
#[derive(Clone, Debug, Default)]
struct Drives(Vec<(usize, u64, Rc<Drive>)>);

/// As many are kept: more than a display has modes, unless durations of a plan's own come to it.
const MOST_DRIVES: usize = 64;

impl Drives {
    /// What drives of a mode do that go `share` of the way.
    fn of(&mut self, display: &Display, state: &PanelState, mode: usize, share: f64) -> Rc<Drive> {
        let known = self.0.iter().find(|(of, bits, _)| (*of, *bits) == (mode, share.to_bits()));
        if let Some((.., drive)) = known {
            return drive.clone();
        }
        let drive = Rc::new(Drive::new(&display.modes[mode], display, share, state));
        if self.0.len() == MOST_DRIVES {
            self.0.clear();
        }
        self.0.push((mode, share.to_bits(), drive.clone()));
        drive
    }
}
