//! What one step does to the pixels, all but when: the same whenever it comes to the same panel.

use super::{drive::Drive, ghosts::GhostDetector, played::PlayedUpdate, queue::Times, state::PanelState};
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

impl Panel {
    /// Brings the panel to the end of a step; the times of its updates are still to be told. `drives` gives what drives of a
    /// mode do that go a share of the way.
    pub(super) fn play(
        &mut self,
        plan: &Plan,
        planned: &PlannedStep<'_>,
        introduced: &Difference,
        mut drives: impl FnMut(&PanelState, usize, f64) -> std::rc::Rc<Drive>,
    ) -> StepEffect {
        let Self { state, ghosts } = self;
        state.memory_changed(introduced);
        let changed = state.unlike_memory();
        let regions = regions(&changed, state.grid());
        let updates: Vec<PlayedUpdate> =
            planned.step.listed_updates().iter().map(|asked| update(asked, plan, state, &mut drives)).collect();
        let sent: Vec<Rect> = updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        let left_behind = state.unlike_memory().outside(&sent, state.grid());
        if planned.step.power_off && plan.display.forgets_when_off {
            state.forget();
        }
        let moved = ghosts.look(state);
        let cleans = updates.iter().any(|update| plan.display.modes[update.mode].cleans);
        StepEffect { changed, regions, updates, left_behind, moved, cleans }
    }
}

/// Sends an update and drives the panel; when that happens is still to be told.
fn update(
    update: &Update,
    plan: &Plan,
    state: &mut PanelState,
    drives: &mut impl FnMut(&PanelState, usize, f64) -> std::rc::Rc<Drive>,
) -> PlayedUpdate {
    let display = &plan.display;
    let mode = &display.modes[update.mode];
    let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(plan.temperature_c));
    let SentWindows { asked, sent, refused } =
        sent_windows(&update.window, mode, display, plan.rotation, state.unlike_bounds());
    let cover = TileCover::new(*state.grid(), &sent);
    let sent_px = cover.pixels();
    let asked_boxes: Vec<Rect> = asked.iter().filter_map(|window| window.cut(state.grid().size())).collect();
    let beside = (asked_boxes != sent).then_some(asked_boxes.as_slice());
    let share = share_of_swing(mode, duration_ms);
    let red_before = red_under(mode, &cover, state);
    let driven = if sent.is_empty() {
        super::drive::Driven::default()
    } else {
        let drive = drives(state, update.mode, share);
        state.drive(&cover, &drive, beside)
    };
    let red = red_before.or(&red_under(mode, &cover, state));
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
fn red_under(mode: &Mode, cover: &TileCover<'_>, state: &PanelState) -> Mask {
    if mode.flashes == 0 { Mask::new() } else { state.red_within(cover) }
}

/// The share of the way that a drive of that duration goes, 0 to 1.
pub fn share_of_swing(mode: &Mode, duration_ms: f64) -> f64 {
    mode.full_swing_ms.map_or(1.0, |whole| (duration_ms / whole).min(1.0))
}
