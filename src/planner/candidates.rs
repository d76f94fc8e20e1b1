//! What may be asked of the panel at a step: the updates among which a plan chooses.
//!
//! Everything that the display can do and that may help, and nothing else; whether it is good is not judged here.

use super::windows::{covers, most_windows};
use crate::{
    change::{Mask, bits},
    display::{LevelSet, Mode},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, Update, WindowAsk},
};

/// From this share of the display's limit on a spot is worth cleaning.
const WORTH_CLEANING: f64 = 0.5;
/// A mode that keeps no more than this share of the residue cleans well enough to be tried for it.
const CLEANS_WELL: f64 = 0.35;

/// How a step stands in the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Played {
    /// It is played once: its windows may be given as boxes.
    Once,
    /// It is played several times, over other pixels each time.
    Often,
}

/// The choices at a step; `step` is the same step played without updates.
pub(super) fn candidates(step: &PlayedStep<'_>, plan: &Plan, played: Played) -> Vec<Vec<Update>> {
    let scene = Scene::new(step, plan, played);
    let mut found: Vec<Vec<Update>> = Vec::new();
    let mut add = |updates: Vec<Update>| {
        if !found.contains(&updates) {
            found.push(updates);
        }
    };
    let modes = || plan.display.modes.iter().enumerate();
    if !step.changed.is_empty() {
        for (mode, _) in modes().filter(|(_, mode)| scene.is_reached_by(mode)) {
            scene.asks(mode, &scene.changed).into_iter().for_each(|ask| add(vec![ask]));
        }
        // At once what a quick mode can show, and then what it cannot.
        for (quick, first) in modes().filter(|(_, mode)| mode.flashes == 0 && !scene.is_reached_by(mode)) {
            for (then, _) in modes().filter(|(_, mode)| scene.is_reached_by(mode)) {
                let first = scene.damage(quick, first);
                add(vec![first, scene.damage(then, &plan.display.modes[then])]);
            }
        }
    }
    add(Vec::new());
    for (cleaner, mode) in modes().filter(|(_, mode)| !mode.changed_only && (mode.cleans || cleans_well(mode))) {
        let asks = scene.asks(cleaner, &scene.dirty);
        for ask in asks.into_iter().chain([whole(cleaner)]) {
            if scene.is_reached_by(mode) {
                add(vec![ask.clone()]);
            }
            // Shown at once, cleaned behind it.
            for (quick, first) in modes().filter(|(_, mode)| mode.flashes == 0 && mode.changed_only) {
                if !step.changed.is_empty() {
                    add(vec![scene.damage(quick, first), ask.clone()]);
                }
            }
        }
    }
    found
}

fn cleans_well(mode: &Mode) -> bool {
    mode.residue.keeps <= CLEANS_WELL
}

fn whole(mode: usize) -> Update {
    Update { mode, window: WindowAsk::All, drive_ms: None }
}

/// What is to be covered at a step.
struct Scene<'s> {
    plan: &'s Plan,
    played: Played,
    /// The levels of pixels that change, on the glass and in memory.
    levels: [LevelSet; 2],
    changed: Vec<Rect>,
    /// The same with what has ghosts, or comes near the display's limit.
    dirty: Vec<Rect>,
}

impl<'s> Scene<'s> {
    fn new(step: &PlayedStep<'_>, plan: &'s Plan, played: Played) -> Self {
        let changed: Vec<Rect> = step.regions.iter().map(|region| region.rect).collect();
        let ghosts = step.ghosts.iter().map(|ghost| ghost.rect);
        let worn = worn(step, plan);
        let dirty = changed.iter().copied().chain(ghosts).chain(worn).collect();
        Self { plan, played, levels: levels_of(&step.changed, step), changed, dirty }
    }

    /// Whether a mode brings all that changes to its level.
    fn is_reached_by(&self, mode: &Mode) -> bool {
        self.levels[0].is_within(mode.from) && self.levels[1].is_within(mode.to)
    }

    /// The box around what differs, where the mode can refresh one.
    fn damage(&self, index: usize, mode: &Mode) -> Update {
        let windowed = mode.windowed && self.plan.display.windows.is_some();
        Update { mode: index, window: if windowed { WindowAsk::Changed } else { WindowAsk::All }, drive_ms: None }
    }

    /// The ways to cover some boxes in a mode.
    fn asks(&self, index: usize, boxes: &[Rect]) -> Vec<Update> {
        let mode = &self.plan.display.modes[index];
        let damage = self.damage(index, mode);
        if damage.window == WindowAsk::All || self.played == Played::Often {
            return vec![damage];
        }
        let only_changed = boxes.len() == self.changed.len();
        let covers = covers(boxes, self.plan, most_windows(&self.plan.display));
        // One window around what changes is what the firmware's own box is.
        let boxed = covers.into_iter().filter(|cover| !(only_changed && cover.len() == 1)).map(|cover| Update {
            mode: index,
            window: WindowAsk::Boxes(cover.into_iter().map(Rect::to_window).collect()),
            drive_ms: None,
        });
        let boxed: Vec<Update> = boxed.collect();
        if only_changed { [damage].into_iter().chain(boxed).collect() } else { boxed }
    }
}

/// The boxes of what was updated so often that it comes near the display's limit.
fn worn(step: &PlayedStep<'_>, plan: &Plan) -> Vec<Rect> {
    let Some(limit) = plan.limit_or_display("too-many-since-cleaning", "updates") else { return Vec::new() };
    let mask = step.glass.counted_above((limit * WORTH_CLEANING) as u32);
    crate::change::regions(&mask, step.grid()).into_iter().map(|region| region.rect).collect()
}

fn levels_of(changed: &Mask, step: &PlayedStep<'_>) -> [LevelSet; 2] {
    let mut found = [LevelSet::default(); 2];
    for (tile, pixels) in changed.tiles() {
        let (glass, memory) = (step.glass.levels(*tile), step.glass.memory_levels(*tile));
        for bit in bits(*pixels) {
            found = [found[0].with(glass[bit as usize]), found[1].with(memory[bit as usize])];
        }
    }
    found
}
