//! The played plan: what every step does to the pixels of the panel, when, and what the eye sees of it.
//!
//! Knows no JSON, no files and no rules. The same input gives the same playback, with any number of threads.

mod chunks;
mod ghosts;
mod field;
mod flashes;
mod state;
mod pen_line;
mod queue;
mod cache;
mod spread;

use std::{rc::Rc, sync::Arc};

use crate::{
    change::{Difference, Mask, Region, SentWindows, TileCover, TileGrid, pipeline::Transition, regions, sent_windows},
    display::{Level, LevelSet, Mode},
    geometry::{Rect, Window},
    plan::{Begins, Plan, PlannedStep, ScreenId, Stroke, Update},
    screen::Picture,
};
use cache::{EffectCache, Kept};
use state::{Action, Driven};

pub use flashes::{FastFlashes, FlashKind, FlashLimits, FlashWatch, Swung};
pub use ghosts::{Ghost, GhostLimits};
pub use queue::{Queue, Times, WaitsFor};
pub use state::PanelState;

/// Plays the steps of a plan one after the other.
#[derive(Clone, Debug)]
pub struct Player<'p> {
    plan: &'p Plan,
    panel: Rc<Panel>,
    recurrence: EffectCache,
    /// Which step moved each tile last, and which before that one.
    moved_by: Vec<[u32; 2]>,
    queue: Queue,
    memory: Arc<Picture>,
    /// The screen that is in memory; nothing for what the plan begins with.
    screen: Option<ScreenId>,
    nothing: Arc<Difference>,
}

/// The panel and what is seen of it. Copies share what they have in common.
#[derive(Clone, Debug)]
struct Panel {
    glass: PanelState,
    eye: ghosts::GhostDetector,
}

/// What a step without strokes does to the pixels: the same whenever it comes to the same panel, but for the times of its
/// updates.
#[derive(Clone, Debug, Default)]
struct StepEffect {
    changed: Mask,
    regions: Vec<Region>,
    updates: Vec<PlayedUpdate>,
    left_behind: Mask,
    /// The tiles whose levels or residues are others, rising.
    moved: Vec<u32>,
    /// Whether some update cleans.
    cleans: bool,
}

/// Stands for what was on the glass before the first step.
const BEGINNING: u32 = u32::MAX;

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
    /// The screen that was in memory before; nothing for what the plan begins with.
    pub previous_screen: Option<ScreenId>,
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
    pub glass: &'a PanelState,
    moved_by: &'a [[u32; 2]],
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

    /// The step that moved a tile last, and the one that had moved it before; nothing for the beginning.
    pub fn moved_by(&self, tile: u32) -> [Option<u64>; 2] {
        self.moved_by[tile as usize].map(|step| (step != BEGINNING).then_some(u64::from(step)))
    }
}

impl<'p> Player<'p> {
    /// A panel as the plan begins, with this picture on it.
    pub fn new(plan: &'p Plan, begins: Arc<Picture>, limits: Watched) -> Self {
        let display = &plan.display;
        let mut glass = PanelState::new(&begins, &display.ink, plan.begins == Begins::Unknown);
        if let (Some(limit_vs), true) = (limits.net_impulse_vs, display.modes.iter().any(|mode| mode.impulse.is_some()))
        {
            glass.watch_charge(limit_vs);
        }
        let eye = ghosts::GhostDetector::new(&glass, display.ink.levels(), limits.ghost, display.area_mm2(1));
        let queue = Queue::new(display.link, display.parallel_updates);
        let moved_by = vec![[BEGINNING; 2]; glass.grid().tiles()];
        Self {
            plan,
            panel: Rc::new(Panel { glass, eye }),
            recurrence: EffectCache::default(),
            moved_by,
            queue,
            memory: begins,
            screen: None,
            nothing: Arc::default(),
        }
    }

    /// Whether the pixels of two panels are the same, and both are free at the same time.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        self.queue.is_like(&other.queue) && self.panel.glass.is_like(&other.panel.glass)
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
        let StepEffect { changed, regions, updates, left_behind, moved, .. } = self.effect(planned, &introduced);
        for tile in moved {
            let moved_by = &mut self.moved_by[tile as usize];
            *moved_by = [planned.index as u32, moved_by[0]];
        }
        let Panel { glass, eye } = &*self.panel;
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
            ghosts: eye.ghosts(),
            ghost_limits: eye.limits(),
            medians: eye.medians(),
            glass,
            moved_by: &self.moved_by,
        });
        self.screen = planned.screen.or(self.screen);
        let before = std::mem::replace(&mut self.memory, memory);
        (!Arc::ptr_eq(&before, &self.memory)).then_some(before)
    }

    /// What a step does after its strokes: as it is kept, where the same happened before, but for the times.
    fn effect(&mut self, planned: &PlannedStep<'_>, introduced: &Difference) -> StepEffect {
        let happening = self.recurrence.happening(planned);
        let kept = happening.as_ref().and_then(|happening| self.recurrence.again(happening));
        let request_ms = planned.request_ms + planned.step.pen_up_ms();
        let mut effect = if let Some(kept) = kept {
            let Kept { effect, panel, .. } = &*kept;
            self.panel = panel.clone();
            effect.clone()
        } else {
            let effect = self.do_it(planned, introduced);
            self.recurrence.played(happening, &effect, &self.panel, planned.screen.or(self.screen));
            effect
        };
        effect.updates.iter_mut().for_each(|update| self.queue_update(update, request_ms));
        effect
    }

    /// Brings the panel to the end of a step; the times of its updates are still to be told.
    fn do_it(&mut self, planned: &PlannedStep<'_>, introduced: &Difference) -> StepEffect {
        let Self { plan, panel, .. } = self;
        let Panel { glass, eye } = Rc::make_mut(panel);
        glass.memory_changed(introduced);
        let changed = glass.unlike_memory();
        let regions = regions(&changed, glass.grid());
        let updates: Vec<PlayedUpdate> =
            planned.step.listed_updates().iter().map(|asked| update(asked, plan, glass)).collect();
        let sent: Vec<Rect> = updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        let left_behind = glass.unlike_memory().outside(&sent, glass.grid());
        if planned.step.power.is_some_and(|power| power.loses(plan.display.memory)) {
            glass.forget();
        }
        let moved = eye.look(glass);
        let cleans = updates.iter().any(|update| plan.display.modes[update.mode].cleans);
        StepEffect { changed, regions, updates, left_behind, moved, cleans }
    }

    /// Puts an update into the controller's queue and tells its times.
    fn queue_update(&mut self, update: &mut PlayedUpdate, request_ms: f64) {
        let (sent, duration_ms) = (&update.sent, update.duration_ms);
        let times = self.queue.update(request_ms, sent, update.sent_px, duration_ms, self.panel.glass.grid());
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
        let residue = mode.residue_at(self.plan.temperature_c);
        let action = Action::new(mode, residue, display, share_of_swing(mode, duration_ms));
        let level = if stroke.white { display.ink.white() } else { display.ink.black() };
        let delay_ms = display.controller_ink_delay_ms.unwrap_or(0.0);
        let glass = &mut Rc::make_mut(&mut self.panel).glass;
        let grid = *glass.grid();
        let pieces = pen_line::pieces(stroke, &grid);
        let mut covered = Vec::new();
        for piece in &pieces {
            *unknown_px += glass.draw(&piece.pixels, level, &action).unknown_px;
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

/// Sends an update and drives the panel; when that happens is still to be told.
fn update(update: &Update, plan: &Plan, glass: &mut PanelState) -> PlayedUpdate {
    let display = &plan.display;
    let mode = &display.modes[update.mode];
    let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(plan.temperature_c));
    let SentWindows { asked, sent, refused } =
        sent_windows(&update.window, mode, display, plan.rotation, glass.unlike_bounds());
    let cover = TileCover::new(*glass.grid(), &sent);
    let sent_px = cover.pixels();
    let asked_boxes: Vec<Rect> = asked.iter().filter_map(|window| window.cut(glass.grid().size())).collect();
    let beside = (asked_boxes != sent).then_some(asked_boxes.as_slice());
    let share = share_of_swing(mode, duration_ms);
    let action = Action::new(mode, mode.residue_at(plan.temperature_c), display, share);
    let red_before = red_under(mode, &cover, glass);
    let driven: Driven = if sent.is_empty() { Driven::default() } else { glass.drive(&cover, &action, beside) };
    let red = red_before.or(&red_under(mode, &cover, glass));
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
        times: Times::default(),
        duration_ms,
        first_visible_ms: 0.0,
        energy_mj,
        sent,
    }
}

/// The red pixels that a mode's own flashes swing.
fn red_under(mode: &Mode, cover: &TileCover<'_>, glass: &PanelState) -> Mask {
    if mode.flashes == 0 { Mask::new() } else { glass.red_within(cover) }
}

/// The share of the way that a drive of that duration goes, 0 to 1.
pub fn share_of_swing(mode: &Mode, duration_ms: f64) -> f64 {
    mode.full_swing_ms.map_or(1.0, |whole| (duration_ms / whole).min(1.0))
}
