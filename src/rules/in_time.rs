//! Whether a correction leaves the panel time: plays the controller's queue once as it was, and once with what the correction
//! adds.
//!
//! Knows boxes and durations, as the queue does, but not what happens to the pixels.

use super::{
    Setup,
    consequences::{Asked, Consequences, Sent},
    remedy::step_of,
};
use crate::{
    change::{proposed_window, widened},
    display::WhenBusy,
    finding::{Change, ChangeOf, Correction},
    geometry::{Rect, Window},
    panel::Queue,
    plan::{Plan, WindowAsk},
};

/// The severity of what is corrected, which decides what its correction may cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Weight {
    /// A warning: no update waits, and no answer comes too late for it.
    Warning,
    /// An error: updates may wait for it, as long as the panel keeps up.
    Error,
}

/// How long updates and answers may take, ms.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::struct_field_names, reason = "the unit belongs to every name")]
pub(super) struct TimeLimits {
    wait_ms: f64,
    backlog_ms: f64,
    first_ms: f64,
    whole_ms: f64,
}

impl TimeLimits {
    pub(super) fn new(setup: &Setup<'_>) -> Self {
        let limits = setup.limits;
        Self {
            wait_ms: limits.updates_collide.wait_ms.value,
            backlog_ms: limits.cannot_keep_up.wait_ms.value,
            first_ms: limits.slow_answer.first_ms.value,
            whole_ms: limits.slow_answer.whole_ms.value,
        }
    }

    /// Whether a correction of something of this weight leaves the panel enough time.
    pub(super) fn hold(&self, correction: &Correction, of: &Consequences, plan: &Plan, weight: Weight) -> bool {
        let Some([played, corrected]) = self.play_both(correction, of, plan) else { return false };
        if corrected.iter().any(|one| one.is_lost && one.is_changed) {
            return false;
        }
        // What is added comes after all others of its step.
        let of_both = || {
            let same = |one: &Asking| played.iter().find(|other| (other.step, other.update) == (one.step, one.update));
            corrected.iter().filter_map(move |one| Some((same(one)?, one)))
        };
        if of_both().any(|(before, after)| !before.is_lost && after.is_lost) {
            return false;
        }
        let in_time = |one: &&Asking| {
            let answers = !one.by_person || one.first_ms <= self.first_ms && one.whole_ms <= self.whole_ms;
            one.wait_ms <= self.wait_ms && answers
        };
        let is_soon = |(mode, now_c): (usize, f64)| {
            let mode = &plan.display.modes[mode];
            mode.first_visible_at(now_c) <= self.first_ms && mode.duration_at(now_c) <= self.whole_ms
        };
        weight == Weight::Error
            || corrected.iter().filter(|one| one.is_changed).all(|one| in_time(&one))
                && of_both().all(|(before, after)| after.wait_ms <= before.wait_ms.max(self.wait_ms))
                && of.answering_modes().all(is_soon)
    }

    /// What happens to the updates as they were played and as they are corrected, as long as the two differ; nothing if a
    /// corrected one waits longer than the panel may lag behind, and than any waited before.
    fn play_both(&self, correction: &Correction, of: &Consequences, plan: &Plan) -> Option<[Vec<Asking>; 2]> {
        let (mut played, mut corrected) = (Replay::new(of, None, plan), Replay::new(of, Some(correction), plan));
        let last_changed = changed_steps(correction, of, plan).last();
        while let Some(next) = played.next() {
            let is_behind = Some(played.at) > last_changed;
            // From here on both go on alike.
            if is_behind && [&played, &corrected].iter().all(|one| one.queue.is_free(next.request_ms)) {
                break;
            }
            played.step();
            corrected.step();
        }
        let longest_ms = corrected.longest_wait_ms();
        // As long a wait may come later.
        while longest_ms > self.backlog_ms.max(played.longest_wait_ms()) {
            played.next()?;
            played.step();
        }
        Some([played.done, corrected.done])
    }
}

/// Whether a correction sends no more windows in a step than the controller takes, or than it was sent before.
pub(super) fn has_few_windows(correction: &Correction, of: &Consequences, plan: &Plan) -> bool {
    let Some(most) = plan.display.windows.and_then(|windows| windows.most_in_a_step) else { return true };
    changed_steps(correction, of, plan).all(|at| {
        let asked = &of.asked()[at];
        let before: usize = asked.updates.iter().map(|sent| sent.boxes.len()).sum();
        let after: usize = with_correction(asked, of, correction, plan).iter().map(|(_, sent)| sent.boxes.len()).sum();
        after <= most.max(before)
    })
}

/// Which of the steps that asked the queue for something a correction changes, rising.
fn changed_steps(correction: &Correction, of: &Consequences, plan: &Plan) -> impl Iterator<Item = usize> {
    let is_changed = |asked: &Asked| {
        step_of(asked.index, plan).is_some_and(|step| correction.changes.iter().any(|one| one.step == step.pointer))
    };
    of.asked().iter().enumerate().filter(move |(_, asked)| is_changed(asked)).map(|(at, _)| at)
}

/// What happened to an update in the queue.
#[derive(Clone, Copy, Debug)]
struct Asking {
    step: u64,
    update: usize,
    /// Whether a correction adds it, or gives it other windows.
    is_changed: bool,
    is_lost: bool,
    by_person: bool,
    wait_ms: f64,
    /// From the request on, ms.
    first_ms: f64,
    whole_ms: f64,
}

/// The queue from the first step on, as it was played or with what a correction changes.
struct Replay<'a> {
    of: &'a Consequences,
    correction: Option<&'a Correction>,
    plan: &'a Plan,
    queue: Queue,
    /// Which step comes next.
    at: usize,
    done: Vec<Asking>,
}

impl<'a> Replay<'a> {
    fn new(of: &'a Consequences, correction: Option<&'a Correction>, plan: &'a Plan) -> Self {
        Self { of, correction, plan, queue: of.queue(), at: 0, done: Vec::new() }
    }

    /// The step that comes next.
    fn next(&self) -> Option<&'a Asked> {
        self.of.asked().get(self.at).map(|asked| &**asked)
    }

    /// The longest wait so far, ms.
    fn longest_wait_ms(&self) -> f64 {
        self.done.iter().map(|one| one.wait_ms).fold(0.0, f64::max)
    }

    /// Asks the queue for the updates of the next step.
    fn step(&mut self) {
        let Self { of, plan, .. } = *self;
        let Some(asked) = self.next() else { return };
        self.at += 1;
        let updates = match self.correction {
            Some(correction) => with_correction(asked, of, correction, plan),
            None => asked.updates.iter().map(|sent| (false, sent.clone())).collect(),
        };
        let mut ready_ms = asked.request_ms;
        for (update, (is_changed, sent)) in updates.into_iter().enumerate() {
            let Sent { mode, boxes, pixels, duration_ms } = &sent;
            let queue = &mut self.queue;
            let times = match plan.display.when_busy {
                _ if boxes.is_empty() => continue,
                WhenBusy::Drops => queue.update_if_free(ready_ms, boxes, *pixels, *duration_ms, of.grid()).ok(),
                WhenBusy::Waits => Some(queue.update(asked.request_ms, boxes, *pixels, *duration_ms, of.grid())),
            };
            ready_ms = times.map_or(ready_ms, |times| times.send_ms + times.transfer_ms);
            let visible_ms = plan.display.modes[*mode].first_visible_at(asked.temperature_c);
            let after_ms = |at_ms: f64| at_ms - asked.request_ms;
            self.done.push(Asking {
                step: asked.index,
                update,
                is_changed,
                is_lost: times.is_none(),
                by_person: asked.by_person,
                wait_ms: times.map_or(0.0, |times| after_ms(times.start_ms) - times.transfer_ms),
                first_ms: times.map_or(0.0, |times| after_ms(times.start_ms) + visible_ms),
                whole_ms: times.map_or(0.0, |times| after_ms(times.finish_ms)),
            });
        }
    }
}

/// The updates of a step after a correction, and of each whether it differs from before.
fn with_correction(asked: &Asked, of: &Consequences, correction: &Correction, plan: &Plan) -> Vec<(bool, Sent)> {
    let mut updates: Vec<(bool, Sent)> = asked.updates.iter().map(|sent| (false, sent.clone())).collect();
    let Some(step) = step_of(asked.index, plan) else { return updates };
    let changed = of.links().find(|(link, _)| link.index == asked.index).map(|(_, rect)| rect);
    for Change { what, .. } in correction.changes.iter().filter(|change| change.step == step.pointer) {
        match what {
            ChangeOf::AddUpdate { mode, window } => {
                let boxes = boxes_of(window, changed, plan);
                let duration_ms = plan.display.modes[*mode].duration_at(asked.temperature_c);
                updates.push((!boxes.is_empty(), Sent { mode: *mode, pixels: pixels(&boxes), boxes, duration_ms }));
            }
            ChangeOf::Window { update, window } => {
                let Some((is_changed, sent)) = updates.get_mut(*update) else { continue };
                let own = sent.boxes.iter().copied().reduce(Rect::around);
                // What an update sends that asks for what changed is not known where nobody followed it.
                let around = own.into_iter().chain(changed).reduce(Rect::around);
                let boxes = boxes_of(window, around, plan);
                if boxes != sent.boxes {
                    (*is_changed, sent.pixels, sent.boxes) = (true, pixels(&boxes), boxes);
                }
            }
            _ => {}
        }
    }
    updates
}

fn pixels(boxes: &[Rect]) -> u64 {
    boxes.iter().map(|rect| rect.pixels()).sum()
}

/// The boxes that are sent for windows, given the box that changed.
fn boxes_of(window: &WindowAsk, changed: Option<Rect>, plan: &Plan) -> Vec<Rect> {
    let size = plan.rotation.turn_size(plan.display.size);
    let sent = |window: &Window| widened(*window, &plan.display, plan.rotation);
    match window {
        WindowAsk::All => vec![size.whole()],
        WindowAsk::Boxes(boxes) => boxes.iter().filter_map(sent).collect(),
        WindowAsk::Changed => {
            let window = |rect| proposed_window(rect, &plan.display, plan.rotation).unwrap_or(size.whole());
            changed.map(window).into_iter().collect()
        }
    }
}
