//! What was asked of a panel, step by step, as it was played. Compares nothing.

use std::collections::HashMap;

use super::align::Pair;
use crate::{
    change::pipeline::ScreenSource,
    display::Level,
    geometry::{Rect, Size},
    panel::{PlayedStep, PlayedUpdate},
    plan::{Cause, Plan, ScreenId, Updates, WindowAsk},
    review::{BrokenScreen, play},
};

/// What was asked of a panel, step by step, as it was played.
#[derive(Debug)]
pub struct Track {
    pub(super) steps: Vec<Asked>,
}

/// A step of a track.
#[derive(Clone, Debug)]
pub(super) struct Asked {
    /// Its place in the order of the steps.
    pub(super) index: u64,
    /// What it is called, such as `step 3`.
    pub(super) name: String,
    /// The levels that are in memory.
    pub(super) screen: blake3::Hash,
    pub(super) updates: Vec<AskedUpdate>,
    /// Whether its updates are still to be chosen, so that any will do.
    pub(super) is_open: bool,
    pub(super) pointer: String,
    pub(super) label: Option<String>,
    pub(super) cause: Cause,
    /// When its updates were requested, ms; `None` where that may be at any time, as in a flow.
    pub(super) request_ms: Option<f64>,
    /// How long after the act of a person its updates were requested, ms; `None` if no person caused it.
    pub(super) after_person_ms: Option<f64>,
    /// How long before the updates the last act of a person was that nothing had answered by then, ms, however long ago.
    pub(super) after_unanswered_ms: Option<f64>,
}

/// An update of a step, where it sends anything.
#[derive(Clone, Debug)]
pub(super) struct AskedUpdate {
    pub(super) mode: String,
    /// The boxes that were asked for, before they were widened to the grid, in their order.
    pub(super) asked: Vec<Rect>,
    /// The boxes that are sent, in their order.
    pub(super) sent: Vec<Rect>,
    pub(super) pointer: String,
}

impl Track {
    /// The JSON pointers to its steps and updates, each once.
    pub fn pointers(&self) -> impl Iterator<Item = &str> {
        let all = self.steps.iter().flat_map(|step| {
            std::iter::once(step.pointer.as_str()).chain(step.updates.iter().map(|update| update.pointer.as_str()))
        });
        all.collect::<std::collections::BTreeSet<_>>().into_iter()
    }
}

/// The steps of a device, and which of them may be one step of what was meant: a device sends the updates of a step one after
/// the other, and its clock may count on meanwhile, so a log can give each a time of its own. A row of steps may be one if its
/// screen stays, nobody acts in between, it all comes in time, it has no more updates than what was meant ever has, and it is
/// no further from that than its beginning.
pub(super) struct Joined<'t> {
    track: &'t Track,
    /// What two and more steps from each one on are together, if they may be one.
    rows: Vec<Vec<Option<Row>>>,
    /// How many of them seem to be one.
    seem: Vec<usize>,
}

/// Steps that may be one.
struct Row {
    step: Asked,
    /// Whether there is a step like it in what was meant.
    is_meant: bool,
}

impl<'t> Joined<'t> {
    /// Rows within so many ms.
    pub(super) fn new(track: &'t Track, within_ms: f64, meant: &dyn Nearest) -> Self {
        let mut joined = Self { track, rows: Vec::new(), seem: Vec::new() };
        for (at, first) in track.steps.iter().enumerate() {
            let others = &track.steps[at + 1..];
            let row = others.iter().take_while(|next| next.follows(first, within_ms));
            let row = row.count().min(meant.most_updates().saturating_sub(first.updates.len()));
            let own = if row == 0 { 0 } else { meant.edits(first) };
            let may_be_one = |taken: usize| {
                let step = first.with_updates_of(&others[..taken]);
                let edits = meant.edits(&step);
                (edits <= own).then_some(Row { step, is_meant: edits == 0 })
            };
            joined.rows.push((1..=row).map(may_be_one).collect());
            joined.seem.push(1 + longest_row(first, &others[..row], meant));
        }
        joined
    }

    /// So many steps from one on as one, if they may be.
    pub(super) fn step(&self, at: usize, taken: usize) -> Option<&Asked> {
        if taken == 1 { self.track.steps.get(at) } else { self.row(at, taken).map(|row| &row.step) }
    }

    /// Whether several steps from one on are like no step of what was meant: as long as it makes no difference, they are
    /// better taken one by one.
    pub(super) fn is_in_vain(&self, at: usize, taken: usize) -> bool {
        self.row(at, taken).is_some_and(|row| !row.is_meant)
    }

    fn row(&self, at: usize, taken: usize) -> Option<&Row> {
        self.rows.get(at)?.get(taken.checked_sub(2)?)?.as_ref()
    }

    /// How many steps may be one, from each on.
    pub(super) fn most(&self) -> Vec<usize> {
        let last = |rows: &Vec<Option<Row>>| rows.iter().rposition(Option::is_some);
        self.rows.iter().map(|rows| last(rows).map_or(1, |last| last + 2)).collect()
    }

    /// How many steps from one on seem to be one by themselves.
    pub(super) fn seem(&self, at: usize) -> usize {
        self.seem[at]
    }

    /// The steps as they were joined, with what belongs together counted in them.
    pub(super) fn along(&self, pairs: Vec<Pair>) -> (Track, Vec<Pair>) {
        let mut steps: Vec<Asked> = Vec::new();
        let mut take = |at: usize, taken: usize| {
            steps.extend(self.step(at, taken).cloned());
            steps.len() - 1
        };
        let mut done = 0;
        let pairs = pairs.into_iter().map(|pair| match pair {
            Pair::Both(meant, at, taken) => {
                done = take(at, taken) + 1;
                Pair::Both(meant, done - 1, 1)
            }
            Pair::Second(at) => {
                done = take(at, 1) + 1;
                Pair::Second(done - 1)
            }
            Pair::First(meant, _) => Pair::First(meant, done),
        });
        let pairs = pairs.collect();
        (Track { steps }, pairs)
    }
}

/// How many of the steps that follow the first seem to be one with it: fewer steps then differ from what was meant than if each
/// stood alone.
fn longest_row(first: &Asked, others: &[Asked], meant: &dyn Nearest) -> usize {
    if others.is_empty() {
        return 0;
    }
    let alone: Vec<u32> = others.iter().map(|other| meant.edits(other).min(1)).collect();
    let own = meant.edits(first);
    // A step that differs is one difference, however much of it does.
    let different = |taken: usize, edits: u32| edits.min(1) + alone[taken..].iter().sum::<u32>();
    let rows = (1..=others.len()).filter_map(|taken| {
        let step = first.with_updates_of(&others[..taken]);
        let edits = meant.edits(&step);
        let (apart, together) = (different(0, own), different(taken, edits));
        let is_one = edits <= own && together < apart;
        is_one.then_some((together, taken))
    });
    rows.min().map_or(0, |(_, taken)| taken)
}

/// What was meant, as far as it matters for what belongs together.
pub(super) trait Nearest {
    /// How many updates are too many, too few or different in the step with this screen that is nearest.
    fn edits(&self, done: &Asked) -> u32;

    /// How many updates a step has at most.
    fn most_updates(&self) -> usize;
}

impl Asked {
    /// This step with the updates of later ones behind its own.
    fn with_updates_of(&self, later: &[Self]) -> Self {
        let mut step = self.clone();
        step.updates.extend(later.iter().flat_map(|step| step.updates.iter().cloned()));
        step
    }

    /// Whether this may be a later part of a step that began as `first`.
    fn follows(&self, first: &Self, within_ms: f64) -> bool {
        let gap_ms = self.request_ms.zip(first.request_ms).map(|(late, early)| late - early);
        // Whoever acted before the first step is answered by it.
        let somebody_acted = self.after_unanswered_ms.is_some();
        self.screen == first.screen && gap_ms.is_some_and(|gap_ms| gap_ms <= within_ms) && !somebody_acted
    }
}

/// Plays a plan and notes what it asks for.
///
/// # Errors
/// Where screens cannot be used.
pub fn track(plan: &Plan, screens: &dyn ScreenSource, threads: usize) -> Result<Track, Vec<BrokenScreen>> {
    let table = plan.display.ink.level_table();
    let mut known: HashMap<Option<ScreenId>, blake3::Hash> = HashMap::new();
    let mut now = None;
    let mut steps = Vec::new();
    play(plan, screens, threads, &mut |step| {
        now = step.planned.screen.or(now);
        let screen = *known.entry(now).or_insert_with(|| hash_of_levels(step.memory.shades(), &table));
        let asked = asked(plan, step, screen);
        // Of a step without updates nothing is seen on the device; its screen is in memory at the next one.
        if asked.is_open || !asked.updates.is_empty() {
            steps.push(asked);
        }
    })?;
    Ok(Track { steps })
}

/// What a screen is known again by: its levels, whatever the file is.
pub(super) fn hash_of_levels(shades: &[u8], table: &[Level; 256]) -> blake3::Hash {
    let levels: Vec<Level> = shades.iter().map(|shade| table[usize::from(*shade)]).collect();
    blake3::hash(&levels)
}

fn asked(plan: &Plan, step: &PlayedStep<'_>, screen: blake3::Hash) -> Asked {
    let planned = step.planned;
    let pointer_of = |at: usize| {
        let recorded = planned.step.recorded_update(at).map(|update| update.pointer.clone());
        recorded.unwrap_or_else(|| format!("{}/updates/{at}", planned.step.pointer))
    };
    let listed = planned.step.listed_updates();
    let update = |(at, update): (usize, &PlayedUpdate)| AskedUpdate {
        mode: plan.display.modes[update.mode].name.clone(),
        asked: asked_boxes(listed.get(at).map(|update| &update.window), &update.sent, plan.screen_size()),
        sent: in_order(&update.sent),
        pointer: pointer_of(at),
    };
    let sends = |(_, update): &(usize, &PlayedUpdate)| !update.sent.is_empty() || update.lost.is_some();
    let recorded = planned.step.recorded.as_ref();
    let waited_ms = recorded.map_or(0.0, |recorded| recorded.person_before_ms);
    Asked {
        index: planned.index,
        name: format!("step {}", planned.index),
        screen,
        updates: step.updates.iter().enumerate().filter(sends).map(update).collect(),
        is_open: planned.step.updates == Updates::Choose,
        pointer: planned.step.pointer.clone(),
        label: planned.step.label.clone(),
        cause: planned.step.cause,
        request_ms: Some(step.updates_request_ms()),
        after_person_ms: planned.step.cause.is_person().then_some(waited_ms),
        after_unanswered_ms: recorded.and_then(|recorded| recorded.unanswered_ms),
    }
}

/// The boxes that an update asks for, in their order; where it asks for no boxes, those that are sent.
pub(super) fn asked_boxes(asked: Option<&WindowAsk>, sent: &[Rect], size: Size) -> Vec<Rect> {
    match asked {
        Some(WindowAsk::Boxes(boxes)) => {
            in_order(&boxes.iter().filter_map(|window| window.cut(size)).collect::<Vec<_>>())
        }
        _ => in_order(sent),
    }
}

pub(super) fn in_order(boxes: &[Rect]) -> Vec<Rect> {
    let mut boxes = boxes.to_vec();
    boxes.sort();
    boxes
}
