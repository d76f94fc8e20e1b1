//! What a played step tells: what changed, what each update did and when, and what is seen of it.
//!
//! Plain data for rules and reports; it is made by the player, and lives for one step.

use super::{
    ghosts::{Ghost, GhostLimits},
    queue::{Lost, Queue, Times},
    state::PanelState,
    swings::Swung,
};
use crate::{
    change::{Mask, Region, TileGrid},
    display::{Level, LevelSet, Mode},
    geometry::{Rect, Window},
    plan::{PlannedStep, ScreenId},
    screen::Picture,
};

/// Stands for what was on the glass before the first step.
pub(super) const BEGINNING: u32 = u32::MAX;

/// A step as it was played.
#[derive(Debug)]
pub struct PlayedStep<'a> {
    /// What the plan asked for.
    pub planned: &'a PlannedStep<'a>,
    /// What was in memory before.
    pub previous: &'a Picture,
    /// The screen that was in memory before; `None` for what the plan begins with.
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
    /// How far the pixels of the smallest area that counts are off at least, below the limit too, L*.
    pub residue_l: f64,
    /// The median residue of each level, L*.
    pub medians: &'a [f64],
    /// The panel at the end of the step.
    pub glass: &'a PanelState,
    /// The controller's queue before the updates of the step.
    pub queue_before: &'a Queue,
    pub(super) moved_by: &'a [[u32; 2]],
}

/// A stroke as the controller drew it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedStroke {
    /// The level that it was drawn in.
    pub level: Level,
    /// The pixels that it covered.
    pub pixels: Mask,
    /// Those that were drawn over from a level that the mode of the ink cannot start from.
    pub wrong_start: Mask,
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
    /// Why the controller took no notice of it, where it was too busy.
    pub lost: Option<Lost>,
    /// Pixels sent.
    pub sent_px: u64,
    /// Pixels to transfer: twice as many where the old picture goes along.
    pub transfer_px: u64,
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
    /// Whether some pixel has another level than before.
    pub moves_levels: bool,
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
    /// When the eye sees it flash for the first time, ms; `None` if its mode does not flash.
    pub(crate) fn first_flash_ms(&self, mode: &Mode) -> Option<f64> {
        mode.flash_shares().next().map(|share| self.times.start_ms + share * self.duration_ms)
    }

    /// An update in a mode that sends and drives nothing.
    pub(super) fn nothing_of(mode: usize) -> Self {
        Self {
            mode,
            asked: Vec::new(),
            sent: Vec::new(),
            refused: false,
            lost: None,
            sent_px: 0,
            transfer_px: 0,
            changed_px: 0,
            driven_px: 0,
            driven_beside_px: 0,
            unknown_px: 0,
            out_of_reach: Mask::new(),
            wrong_start: Mask::new(),
            moves_levels: false,
            takes_residue: false,
            changes_from: LevelSet::default(),
            changes_to: LevelSet::default(),
            most_residue_l: 0.0,
            swung: Swung::default(),
            red: Mask::new(),
            redriven: Mask::new(),
            share: 1.0,
            times: Times::default(),
            duration_ms: 0.0,
            first_visible_ms: 0.0,
            energy_mj: 0.0,
        }
    }

    /// The box around all that is sent; `None` if nothing is.
    pub fn sent_bounds(&self) -> Option<Rect> {
        self.sent.iter().copied().reduce(Rect::around)
    }

    /// Whether it changes something that can be seen: some pixel has another level than before. What differs from memory may
    /// be out of reach, and what does not may be driven to another level.
    pub fn changes_something(&self) -> bool {
        self.moves_levels
    }

    /// Whether pixels differ from memory and some are driven, whether anything is seen of it or not: that is what the facts of a
    /// step call a change.
    pub fn drives_a_change(&self) -> bool {
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

    /// Whether neither an update nor the controller's own ink drove a pixel.
    pub fn drives_nothing(&self) -> bool {
        self.pen_line.is_empty() && self.updates.iter().all(|update| update.driven_px == 0)
    }

    /// When the updates are requested, ms: after the last pen-up.
    pub fn updates_request_ms(&self) -> f64 {
        self.planned.request_ms + self.planned.step.updates_after_ms()
    }

    /// From when on somebody waits for the updates, ms since the plan began: since the act of the person, if a device
    /// recorded that, otherwise since the request.
    pub fn awaited_since_ms(&self) -> f64 {
        let recorded = self.planned.step.recorded.as_ref();
        self.updates_request_ms() - recorded.map_or(0.0, |recorded| recorded.person_before_ms)
    }

    /// When something changes to be seen, ms since the plan began; `None` if no update of the step changes anything.
    pub fn first_visible_ms(&self) -> Option<f64> {
        let changing = self.updates.iter().filter(|update| update.drives_a_change());
        changing.map(|update| update.first_visible_ms).reduce(f64::min)
    }

    /// The tiles of the panel.
    pub fn grid(&self) -> &TileGrid {
        self.glass.grid()
    }

    /// The step that moved a tile last, and the one that had moved it before; `None` for the beginning.
    pub fn moved_by(&self, tile: u32) -> [Option<u64>; 2] {
        self.moved_by[tile as usize].map(|step| (step != BEGINNING).then_some(u64::from(step)))
    }
}
