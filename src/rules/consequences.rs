//! The consequences if a step sends what it left in memory: each later step that puts another picture there without sending it
//! has to send as well, and all of it needs time.
//!
//! Follows the plan as it was played and works out what would be different; it does not look at ghosts and flashes.

use std::rc::Rc;

use super::remedy::Missing;
use crate::{
    change::{Mask, TileGrid},
    geometry::Rect,
    panel::{PlayedStep, Queue},
    plan::{Plan, WindowAsk},
};

/// The most steps that one correction changes; a plan that needs more is of another kind.
pub(super) const MOST_LINKS: usize = 64;
/// How long after the last update that is added the queue is looked at, ms.
const LOOK_AHEAD_MS: f64 = 5000.0;
/// The most steps of the queue that are looked at.
const MOST_ASKED: usize = 256;

/// The consequences of sending what a step left behind.
#[derive(Clone)]
pub(super) struct Consequences {
    /// Where the glass looks different from what was played, once the first step sends it.
    pixels: Rc<Mask>,
    /// The steps that have to send something, the first one before all others.
    links: Vec<Rc<Link>>,
    /// Steps whose change of those pixels may still be sent in time by a later one.
    pending: Vec<Rc<Link>>,
    grid: TileGrid,
    settle_ms: f64,
    /// The queue before the updates of the first step, and what was asked of it from there on.
    queue: Rc<Queue>,
    asked: Vec<Rc<Asked>>,
}

/// A step that has to send pixels.
#[derive(Clone)]
pub(super) struct Link {
    /// Its number.
    pub(super) index: u64,
    request_ms: f64,
    /// What changes once more, and what of that is to be sent.
    changes: Rc<Mask>,
    pixels: Rc<Mask>,
    /// The updates that would show them.
    pub(super) missing: Missing,
    /// The modes of its own updates that would show them, if a person waits for these to answer.
    answers_in: Vec<usize>,
}

/// What a step asked of the queue.
pub(super) struct Asked {
    pub(super) index: u64,
    pub(super) request_ms: f64,
    pub(super) temperature_c: f64,
    pub(super) by_person: bool,
    /// Of each of its updates.
    pub(super) updates: Vec<Sent>,
}

/// What an update sent, if anything, and how long it was driven.
#[derive(Clone)]
pub(super) struct Sent {
    pub(super) mode: usize,
    pub(super) boxes: Vec<Rect>,
    pub(super) pixels: u64,
    pub(super) duration_ms: f64,
}

impl Consequences {
    /// Begins with a step that left these pixels; `asked` is what the step asked of the queue.
    pub(super) fn new(step: &PlayedStep<'_>, asked: Rc<Asked>, pixels: &Mask, settle_ms: f64) -> Self {
        // What is missing is said for each place of it: most steps leave nothing that is found.
        let missing = Missing::new(step, &Mask::new());
        let pixels = Rc::new(pixels.clone());
        Self {
            links: vec![Rc::new(Link::new(step, pixels.clone(), pixels.clone(), missing))],
            pixels,
            pending: Vec::new(),
            grid: *step.grid(),
            settle_ms,
            queue: Rc::new(step.queue_before.clone()),
            asked: vec![asked],
        }
    }

    /// The same where the first step is to send some pixels, and sends a window with them.
    pub(super) fn of_place(&self, pixels: &Mask, missing: Missing, window: Rect) -> Self {
        let inside = |pixels: &Mask| Rc::new(pixels.inside(&[window], &self.grid));
        let cut = |link: &Rc<Link>| {
            let (changes, pixels) = (inside(&link.changes), inside(&link.pixels));
            Rc::new(Link { changes, pixels, ..(**link).clone() })
        };
        let cut_all = |links: &[Rc<Link>]| links.iter().map(cut).filter(|link| !link.changes.is_empty()).collect();
        // What else the first step left is not kept with it: of a long day that is more than all other things.
        let before = &*self.links[0];
        let first =
            Link { changes: inside(&before.changes), pixels: Rc::new(pixels.clone()), missing, ..before.clone() };
        let others: Vec<Rc<Link>> = cut_all(&self.links[1..]);
        Self {
            pixels: inside(&self.pixels),
            links: std::iter::once(Rc::new(first)).chain(others).collect(),
            pending: cut_all(&self.pending),
            grid: self.grid,
            settle_ms: self.settle_ms,
            queue: self.queue.clone(),
            asked: self.asked.clone(),
        }
    }

    /// The number of the first step.
    pub(super) fn first_step(&self) -> u64 {
        self.links[0].index
    }

    /// When that was requested, ms.
    pub(super) fn begin_ms(&self) -> f64 {
        self.links[0].request_ms
    }

    /// Sees a step after the first one, and what it asked of the queue.
    pub(super) fn see(&mut self, step: &PlayedStep<'_>, asked: &Rc<Asked>, plan: &Plan) {
        if self.asked.len() < MOST_ASKED {
            self.asked.push(asked.clone());
        }
        if self.pixels.is_empty() && self.pending.is_empty() {
            return;
        }
        self.demand(step);
        let again = self.pixels.and(step.introduced);
        if !again.is_empty() {
            self.see_change(step, &again, plan);
        }
        let sent: Vec<Rect> = step.updates.iter().flat_map(|update| update.sent.iter().copied()).collect();
        if !sent.is_empty() {
            self.see_sent(&sent);
        }
    }

    /// Demands what is late, or changes again before it was sent.
    fn demand(&mut self, step: &PlayedStep<'_>) {
        let now_ms = step.updates_request_ms();
        let settle_ms = self.settle_ms;
        let is_due =
            |link: &mut Rc<Link>| link.request_ms + settle_ms < now_ms || !link.pixels.and(step.introduced).is_empty();
        self.links.extend(self.pending.extract_if(.., is_due));
    }

    /// Sees that a step changes the place once more.
    fn see_change(&mut self, step: &PlayedStep<'_>, again: &Mask, plan: &Plan) {
        let by_person = step.planned.step.cause.is_person();
        let (left, modes) = unsent(step, again, plan);
        // As it was played there may have been nothing to answer.
        let answers_in = if by_person && again.and(&step.changed).is_empty() { modes } else { Vec::new() };
        if left.is_empty() && answers_in.is_empty() {
            return;
        }
        let missing = Missing::of_change(step, &left, plan);
        let (again, left) = (Rc::new(again.clone()), Rc::new(left));
        let link = Rc::new(Link { answers_in, ..Link::new(step, again, left, missing) });
        if by_person { self.links.push(link) } else { self.pending.push(link) }
    }

    fn see_sent(&mut self, sent: &[Rect]) {
        // Most steps send something elsewhere.
        let is_sent = |pixels: &Mask| !pixels.inside(sent, &self.grid).is_empty();
        if is_sent(&self.pixels) {
            self.pixels = Rc::new(self.pixels.outside(sent, &self.grid));
        }
        for link in self.pending.iter_mut().filter(|link| is_sent(&link.pixels)) {
            let pixels = Rc::new(link.pixels.outside(sent, &self.grid));
            *link = Rc::new(Link { pixels, ..(**link).clone() });
        }
        self.pending.retain(|link| !link.pixels.is_empty());
    }

    /// Whether everything is known, or too much would have to change.
    pub(super) fn is_done(&self, now_ms: f64) -> bool {
        let is_known = self.pixels.is_empty() && self.pending.is_empty();
        let looked_ms = self.links.last().map_or(now_ms, |link| link.request_ms + LOOK_AHEAD_MS);
        self.is_endless() || is_known && now_ms > looked_ms
    }

    /// Whether so many steps have to send that nobody would call it one correction.
    pub(super) fn is_endless(&self) -> bool {
        self.links.len() > MOST_LINKS
    }

    /// The steps that have to send, with a box around what each has to send.
    pub(super) fn links(&self) -> impl Iterator<Item = (&Link, Rect)> {
        let all = self.links.iter().chain(&self.pending);
        all.filter_map(|link| Some((&**link, link.pixels.bounds(&self.grid)?)))
    }

    /// How long after the first step the next update is asked for that is sent already, ms.
    pub(super) fn next_update_ms(&self) -> Option<f64> {
        let is_sent = |asked: &&Rc<Asked>| asked.updates.iter().any(|sent| !sent.boxes.is_empty());
        let next = self.asked.iter().skip(1).find(is_sent)?;
        Some(next.request_ms - self.begin_ms())
    }

    /// The modes in which updates as they stand would answer a person, where there was nothing to answer before.
    pub(super) fn answering_modes(&self) -> impl Iterator<Item = (usize, f64)> {
        self.links.iter().flat_map(|link| link.answers_in.iter().map(|mode| (*mode, link.missing.temperature_c())))
    }

    /// The queue before the first step.
    pub(super) fn queue(&self) -> Queue {
        (*self.queue).clone()
    }

    /// What was asked of the queue from the first step on.
    pub(super) fn asked(&self) -> &[Rc<Asked>] {
        &self.asked
    }

    /// The tiles of the panel.
    pub(super) fn grid(&self) -> &TileGrid {
        &self.grid
    }
}

/// The pixels of a change that no update of its step shows, given that the glass looks different from what was played;
/// and the modes of the updates that show the others.
fn unsent(step: &PlayedStep<'_>, change: &Mask, plan: &Plan) -> (Mask, Vec<usize>) {
    let listed = step.planned.step.listed_updates();
    let (mut left, mut modes) = (change.clone(), Vec::new());
    for (asked, update) in listed.iter().zip(&step.updates).filter(|(_, update)| update.lost.is_none()) {
        let covered = match asked.window {
            // It would find the difference.
            WindowAsk::Changed => left.clone(),
            _ => left.inside(&update.sent, step.grid()),
        };
        if !covered.is_empty() && Missing::of_change(step, &covered, plan).is_shown_by(update.mode, plan) {
            left = left.without(&covered);
            modes.push(update.mode);
        }
    }
    (left, modes)
}

impl Link {
    /// When its updates are requested, ms.
    pub(super) fn request_ms(&self) -> f64 {
        self.request_ms
    }

    fn new(step: &PlayedStep<'_>, changes: Rc<Mask>, pixels: Rc<Mask>, missing: Missing) -> Self {
        let (index, request_ms) = (step.planned.index, step.updates_request_ms());
        Self { index, request_ms, changes, pixels, missing, answers_in: Vec::new() }
    }
}

impl Asked {
    pub(super) fn of(step: &PlayedStep<'_>) -> Self {
        let updates = step.updates.iter().map(|update| Sent {
            mode: update.mode,
            boxes: update.sent.clone(),
            pixels: update.transfer_px,
            duration_ms: update.duration_ms,
        });
        Self {
            index: step.planned.index,
            request_ms: step.updates_request_ms(),
            temperature_c: step.planned.temperature_c,
            by_person: step.planned.step.cause.is_person(),
            updates: updates.collect(),
        }
    }
}
