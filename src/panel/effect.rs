//! What one step does to the pixels, all but when: the same whenever it comes to the same panel.

use std::rc::Rc;

use super::{
    drive::{Drive, Driving},
    ghosts::GhostDetector,
    played::PlayedUpdate,
    queue::Lost,
    state::PanelState,
};
use crate::{
    change::{Difference, Mask, Region, SentWindows, TileCover, regions, sent_windows},
    display::Mode,
    geometry::Rect,
    plan::{Plan, PlannedStep, Update},
};

/// The panel and what is seen of it. Copies are whole, and share what they have in common.
#[derive(Clone, Debug)]
pub(super) struct Panel {
    pub(super) state: PanelState,
    pub(super) ghosts: GhostDetector,
}

/// What a step without strokes does to the pixels.
#[derive(Clone, Debug, Default)]
pub(super) struct StepEffect {
    pub(super) changed: Mask,
    pub(super) regions: Vec<Region>,
    pub(super) updates: Vec<PlayedUpdate>,
    pub(super) left_behind: Mask,
    /// The tiles whose levels or residues are others, rising.
    pub(super) moved: Vec<u32>,
    /// Whether some update cleans.
    pub(super) cleans: bool,
}

/// What the panel asks of who plays it, while it plays a step.
pub(super) trait Controller {
    /// What drives of a mode do.
    fn drive(&mut self, state: &PanelState, mode: usize, driving: Driving) -> Rc<Drive>;

    /// Whether the controller takes an update of these boxes, so many pixels to transfer, and that duration, ms, or why not;
    /// it learns of every update of the step, in order.
    fn takes(&mut self, boxes: &[Rect], pixels: u64, duration_ms: f64) -> Result<(), Lost>;
}

impl Panel {
    /// Brings the panel to the end of a step; the times of its updates are still to be set.
    pub(super) fn play(
        &mut self,
        plan: &Plan,
        planned: &PlannedStep<'_>,
        introduced: &Difference,
        controller: &mut dyn Controller,
    ) -> StepEffect {
        let Self { state, ghosts } = self;
        state.memory_changed(introduced);
        let changed = state.unlike_memory();
        let regions = regions(&changed, state.grid());
        let asked = planned.step.listed_updates().iter();
        let updates: Vec<PlayedUpdate> =
            asked.map(|asked| update(asked, plan, planned.temperature_c, state, controller)).collect();
        let sent: Vec<Rect> = updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        let left_behind = state.unlike_memory().outside(&sent, state.grid());
        if planned.step.power.is_some_and(|power| power.loses(plan.display.memory)) {
            state.forget();
        }
        let moved = ghosts.look(state);
        let cleans = updates.iter().any(|update| plan.display.modes[update.mode].cleans);
        StepEffect { changed, regions, updates, left_behind, moved, cleans }
    }
}

/// Sends an update and drives the panel; when that happens is still to be set.
fn update(
    update: &Update,
    plan: &Plan,
    temperature_c: f64,
    state: &mut PanelState,
    controller: &mut dyn Controller,
) -> PlayedUpdate {
    let display = &plan.display;
    let mode = &display.modes[update.mode];
    let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(temperature_c));
    let driving = Driving::new(mode, duration_ms, temperature_c);
    let SentWindows { asked, sent, refused } =
        sent_windows(&update.window, mode, display, plan.rotation, state.unlike_bounds());
    let cover = TileCover::new(*state.grid(), &sent);
    let sent_px = cover.pixels();
    // The old picture goes along as well.
    let transfer_px = if update.with_old { 2 * sent_px } else { sent_px };
    let played =
        PlayedUpdate { transfer_px, share: driving.share, duration_ms, ..PlayedUpdate::nothing_of(update.mode) };
    if let Err(lost) = controller.takes(&sent, transfer_px, duration_ms) {
        return PlayedUpdate { lost: Some(lost), ..played };
    }
    if sent.is_empty() {
        return PlayedUpdate { asked, refused, ..played };
    }
    if update.with_old {
        state.recall(&cover);
    }
    let asked_boxes: Vec<Rect> = asked.iter().filter_map(|window| window.cut(state.grid().size())).collect();
    let beside = (asked_boxes != sent).then_some(asked_boxes.as_slice());
    let red_before = red_under(mode, &cover, state);
    let drive = controller.drive(state, update.mode, driving);
    let driven = state.drive(&cover, &drive, beside);
    let red = red_before.or(&red_under(mode, &cover, state));
    let energy_mj = mode.energy.map_or(0.0, |energy| energy.of(driving.stretch, display.area_mm2(sent_px)));
    PlayedUpdate {
        asked,
        refused,
        sent_px,
        changed_px: driven.changed_px,
        driven_px: driven.px,
        driven_beside_px: if beside.is_some() { driven.beside_px } else { 0 },
        unknown_px: driven.unknown_px,
        out_of_reach: driven.out_of_reach,
        wrong_start: driven.wrong_start,
        moves_levels: driven.moves_levels,
        takes_residue: driven.takes_residue,
        changes_from: driven.changes_from,
        changes_to: driven.changes_to,
        most_residue_l: driven.most_residue_l,
        swung: driven.swung,
        red,
        redriven: driven.redriven,
        energy_mj,
        sent,
        ..played
    }
}

/// The red pixels that a mode's own flashes swing.
fn red_under(mode: &Mode, cover: &TileCover<'_>, state: &PanelState) -> Mask {
    if mode.flashes == 0 { Mask::new() } else { state.red_within(cover) }
}
