//! What a firmware sees of a plan: which change comes when, and who asked for it, without anything about updates.
//!
//! Knows the pictures in memory, not the glass: a rule that shows every change at once needs no more.

use std::{ops::ControlFlow, sync::Arc};

use super::kinds_of_change::{Asker, Levels};
use crate::{
    change::{TileGrid, bits, levels_of_tile, pipeline::ScreenSource, pipeline::Transition},
    display::LevelSet,
    plan::{Begins, Cause, Plan, ScreenId, Step},
    review::{BrokenScreen, walk},
    screen::Picture,
};

/// A thousandth of the panel is the unit in which changes are measured: a firmware needs no fractions.
pub(super) const PERMILLE: u64 = 1000;

/// A step as a firmware sees it.
#[derive(Clone, Debug)]
pub struct Event {
    /// The step of the plan.
    pub(super) step: Arc<Step>,
    /// Its number in the plan as it is played.
    pub index: u64,
    /// When it comes, ms since the plan began.
    pub at_ms: f64,
    /// When its updates are asked for, ms since the plan began: later, where a pen is still down.
    pub asked_ms: f64,
    /// The screen that it shows; `None` if the picture stays.
    pub screen: Option<ScreenId>,
    /// What changes; `None` if nothing does.
    pub change: Option<Change>,
    /// Who asked for it.
    pub asker: Asker,
    /// Whether a pen was used.
    pub by_pen: bool,
    /// Whether the panel is switched off or sent to sleep afterwards.
    pub goes_off: bool,
    /// Whether the controller forgets what it shows afterwards.
    pub forgets: bool,
}

/// What changes in memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The levels of the pixels that change.
    pub levels: Levels,
    /// The box around them, in thousandths of the panel, rounded down.
    pub permille: u32,
    /// Their levels before and after.
    pub(super) sets: [LevelSet; 2],
}

/// All that a firmware sees of a plan.
#[derive(Clone, Debug)]
pub struct Events {
    /// In order.
    pub list: Vec<Event>,
    /// Whether the controller knows nothing of the glass when the plan begins.
    pub begins_unknown: bool,
}

/// Looks at every step of a plan.
///
/// # Errors
/// Where screens cannot be used.
pub fn events_of(plan: &Plan, screens: &dyn ScreenSource, threads: usize) -> Result<Events, Vec<BrokenScreen>> {
    let begin = |begins| (begins, Vec::new());
    let (_, list) =
        walk(plan, screens, threads, begin, |(before, list): &mut (Arc<Picture>, _), planned, transition| {
            let step = planned.step;
            list.push(Event {
                step: step.clone(),
                index: planned.index,
                at_ms: planned.request_ms,
                asked_ms: planned.request_ms + step.updates_after_ms(),
                screen: planned.screen,
                change: transition.as_ref().and_then(|transition| change_of(plan, before, transition)),
                asker: if step.cause.is_person() { Asker::Person } else { Asker::Device },
                by_pen: step.cause == Cause::Pen || !step.strokes.is_empty(),
                goes_off: step.power.is_some(),
                forgets: step.power.is_some_and(|power| power.loses(plan.display.memory)),
            });
            if let Some(Transition { picture, .. }) = transition {
                *before = picture;
            }
            (ControlFlow::Continue(()), None)
        })?;
    Ok(Events { list, begins_unknown: plan.begins == Begins::Unknown })
}

fn change_of(plan: &Plan, before: &Picture, transition: &Transition) -> Option<Change> {
    let grid = TileGrid::new(plan.screen_size());
    let ink = &plan.display.ink;
    let table = ink.level_table();
    let pixels = &transition.introduced.pixels;
    let bounds = pixels.bounds(&grid)?;
    let mut sets = [LevelSet::default(); 2];
    for ((tile, changed), after) in pixels.tiles().iter().zip(&transition.introduced.levels) {
        let before = levels_of_tile(before, &grid, &table, *tile);
        for bit in bits(*changed) {
            sets = [sets[0].with(before[bit as usize]), sets[1].with(after[bit as usize])];
        }
    }
    let permille = (bounds.pixels() * PERMILLE / plan.screen_size().pixels()) as u32;
    Some(Change { levels: Levels::of(sets[0], sets[1], ink), permille, sets })
}
