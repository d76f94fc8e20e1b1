//! Steps that come again: a plan that repeats itself does the same to the same pixels, and need not be played again.
//!
//! Two panels are the same when the same picture is in memory and a cleaning left the same behind. From the second time
//! that such a panel is met, what each step does to it is kept, as long as there is room; from the third time on that is
//! handed out. Times and places in the queue are never kept: those differ from round to round.

use std::{collections::HashMap, rc::Rc};

use super::{
    chunks::CHUNK,
    effect::{Panel, StepEffect},
};
use crate::plan::{PlannedStep, Power, ScreenId, Update, WindowAsk};

/// Bytes of kept steps, as they are estimated.
const KEPT_BYTES: usize = 64 << 20;
/// The most panels after a cleaning that are distinguished.
const MOST_CLEANED: usize = 4096;
/// About what a tile costs that a step changed: its levels, residues and counts, its neighbours in the chunks, its place in
/// masks.
const TILE_BYTES: usize = 2600;
/// About how many lists in chunks a panel has.
const LISTS: usize = 16;

/// The number of a panel that was met before: all its pixels, and what is in memory.
type Met = u64;

/// A step on a panel that was met before: all of it that reaches the pixels.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Happening {
    panel: Met,
    screen: Option<ScreenId>,
    power: Option<Power>,
    /// Degrees C, as bits.
    temperature_c: u64,
    /// Of each update the mode, a duration of its own as bits, the windows, and whether the old picture is sent along.
    updates: Vec<(usize, Option<u64>, WindowAsk, bool)>,
}

impl Happening {
    fn new(panel: Met, planned: &PlannedStep<'_>) -> Self {
        let step = planned.step;
        let asked =
            |update: &Update| (update.mode, update.drive_ms.map(f64::to_bits), update.window.clone(), update.with_old);
        Self {
            panel,
            screen: planned.screen,
            power: step.power,
            temperature_c: planned.temperature_c.to_bits(),
            updates: step.listed_updates().iter().map(asked).collect(),
        }
    }
}

/// What a step did, and the panel after it.
#[derive(Debug)]
pub(super) struct Kept {
    pub(super) effect: StepEffect,
    pub(super) panel: Rc<Panel>,
    met: Met,
}

/// The panels that were met, and the steps that are kept.
#[derive(Debug, Default)]
pub(super) struct EffectCache {
    cleaned: HashMap<[u8; 32], Met>,
    kept: HashMap<Happening, Rc<Kept>>,
    /// The panel as it is now, where it was met before.
    now: Option<Met>,
    last_met: Met,
    bytes: usize,
}

impl EffectCache {
    /// What is about to happen, where it may have happened before. Strokes never come again as they were.
    pub(super) fn happening(&self, planned: &PlannedStep<'_>) -> Option<Happening> {
        let panel = self.now.filter(|_| planned.step.strokes.is_empty())?;
        Some(Happening::new(panel, planned))
    }

    /// What happened then.
    pub(super) fn again(&mut self, happening: &Happening) -> Option<Rc<Kept>> {
        let kept = self.kept.get(happening)?.clone();
        self.now = Some(kept.met);
        Some(kept)
    }

    /// Takes note of what happened, and of the panel after it with that picture in memory.
    pub(super) fn played(
        &mut self,
        happening: Option<Happening>,
        effect: &StepEffect,
        panel: &Rc<Panel>,
        memory: Option<ScreenId>,
    ) {
        let cleaned = if effect.cleans { fingerprint(panel, memory) } else { None };
        let known = cleaned.and_then(|cleaned| self.cleaned.get(&cleaned).copied());
        let bytes = (effect.moved.len() + effect.changed.tiles().len()) * TILE_BYTES
            + panel.state.grid().tiles() / CHUNK * LISTS * size_of::<Rc<()>>();
        self.now = known;
        match happening.filter(|_| self.bytes + bytes <= KEPT_BYTES) {
            Some(happening) => {
                let met = known.unwrap_or_else(|| self.meet());
                self.bytes += bytes;
                self.kept.insert(happening, Rc::new(Kept { effect: effect.clone(), panel: panel.clone(), met }));
                self.now = Some(met);
                self.remember(cleaned, met);
            }
            None if known.is_none() => {
                let met = self.meet();
                self.remember(cleaned, met);
            }
            None => {}
        }
    }

    fn meet(&mut self) -> Met {
        self.last_met += 1;
        self.last_met
    }

    fn remember(&mut self, cleaned: Option<[u8; 32]>, met: Met) {
        if let Some(cleaned) = cleaned.filter(|_| self.cleaned.len() < MOST_CLEANED) {
            self.cleaned.insert(cleaned, met);
        }
    }
}

/// A hash of all that later steps rest on, where the panel is as a cleaning leaves it.
fn fingerprint(panel: &Panel, memory: Option<ScreenId>) -> Option<[u8; 32]> {
    // Hashing goes several times as fast over many words at once.
    const WORDS_BYTES: usize = 16 << 10;
    let mut hasher = blake3::Hasher::new();
    let mut words = Vec::with_capacity(WORDS_BYTES);
    words.extend(memory.map_or(u64::MAX, |screen| screen.0 as u64).to_le_bytes());
    let is_cleaned = panel.state.tell_cleaned(&mut |word| {
        words.extend(word.to_le_bytes());
        if words.len() >= WORDS_BYTES {
            hasher.update(&words);
            words.clear();
        }
    });
    hasher.update(&words);
    is_cleaned.then(|| *hasher.finalize().as_bytes())
}
