//! `update-lost`: an update that a busy controller took no notice of.

use super::{
    Rule, Setup,
    pen::{Running, RunningUpdate},
    wording,
};
use crate::{
    change::Mask,
    display::WhenBusy,
    finding::{Figure, Margin, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::{Lost, PlayedStep, PlayedUpdate, WaitsFor},
    plan::{Plan, PlanKind, WindowAsk},
};

/// Looks at every update that was lost, beside those that still run. None is where the controller waits.
#[derive(Clone)]
pub(super) struct UpdateLost<'p> {
    plan: &'p Plan,
    running: Running,
}

/// An update that was lost.
#[derive(Clone, Copy)]
struct Missed<'s, 'p> {
    step: &'s PlayedStep<'p>,
    index: usize,
    update: &'s PlayedUpdate,
    lost: Lost,
}

impl<'p> UpdateLost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan, running: Running::default() }
    }

    fn observation(&self, missed: Missed<'_, '_>) -> Observation {
        let Missed { step, index, update, lost } = missed;
        let display = &self.plan.display;
        let (boxes, missing) = missing(missed);
        let then = if missing.is_empty() {
            "the glass shows the right levels there, but nothing was driven or cleaned".to_owned()
        } else {
            format!(
                "when the step ends, {} of its windows still show something else",
                wording::area(missing.count(), display)
            )
        };
        let (busy_ms, later_ms) = (lost.until_ms - update.times.send_ms, later_ms(missed));
        Observation {
            update: Some(index),
            rect: boxes.into_iter().reduce(Rect::around).or_else(|| missing.bounds(step.grid())),
            message: format!(
                "`{}` is lost, because {} for another {} ms, and this controller drops what comes while it is busy; {then}",
                display.modes[update.mode].name,
                self.reason(missed),
                wording::ms(busy_ms)
            ),
            help: self.help(missed),
            figures: vec![
                ("busy_ms", busy_ms),
                ("until_ms", lost.until_ms),
                ("later_ms", later_ms),
                ("missing_px", missing.count() as f64),
            ],
            margin: self.margin(missed),
            ..Observation::default()
        }
    }

    /// Of the time that the update in the way takes from its start on, and of how much of that has passed when this one needs it
    /// to be over; `None` if only the link, or a line of the pen, is in the way.
    fn margin(&self, missed: Missed<'_, '_>) -> Option<Margin> {
        let Missed { update, lost, .. } = missed;
        let display = &self.plan.display;
        let needs_ms = match lost.busy {
            WaitsFor::Link => update.times.send_ms,
            _ => update.times.send_ms + display.link.transfer_ms(update.transfer_px),
        };
        let drives_ms = self.drives_ms(missed)?;
        let started_ms = lost.until_ms - drives_ms;
        Margin::of(Figure::Durations, drives_ms, needs_ms - started_ms, display)
    }

    /// How long the update in the way is driven, ms; `None` if only the link, or a line of the pen, is in the way.
    fn drives_ms(&self, Missed { step, index, lost, .. }: Missed<'_, '_>) -> Option<f64> {
        if matches!(lost.busy, WaitsFor::Link) && !self.plan.display.link.waits_for_panel {
            return None;
        }
        let own = step.updates[..index].iter().find(|one| same_time(one.times.finish_ms, lost.until_ms));
        let earlier = || self.running.0.iter().find(|update| same_time(update.finish_ms, lost.until_ms));
        own.map(|own| lost.until_ms - own.times.start_ms).or_else(|| earlier().map(|update| update.duration_ms))
    }

    /// What is enough even if the update in the way takes as much longer as durations may be off, in words that follow a time to
    /// be set, which is so much more than how much later this one is to come, ms; nothing if the display gives no factor.
    fn safely(&self, missed: Missed<'_, '_>, more_ms: f64) -> String {
        let factor = self.plan.display.certainty.durations.filter(|factor| *factor > 1.0);
        let Some((factor, drives_ms)) = factor.zip(self.drives_ms(missed)) else { return String::new() };
        let safe_ms = (more_ms + later_ms(missed) + drives_ms * (factor - 1.0)).ceil();
        format!("; {safe_ms} is enough even if durations are off by their factor of {factor}")
    }

    /// Reports updates that a device began and never finished, as far as its trace says.
    fn report_without_end(&self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let updates = step.updates.iter().enumerate().filter(|(_, update)| update.lost.is_none());
        for (index, update) in updates.filter(|(_, update)| !update.sent.is_empty()) {
            let recorded = step.planned.step.recorded_update(index);
            let Some(others) = recorded.and_then(|recorded| recorded.others_finished) else { continue };
            let observation = Observation {
                update: Some(index),
                rect: update.sent_bounds(),
                message: format!(
                    "the device records no end of this `{}`, although it does for {} of this mode: it may be lost, and \
                     the glass may not show the picture",
                    self.plan.display.modes[update.mode].name,
                    wording::counted(others, "other update", "other updates")
                ),
                help:
                    "check whether the controller was busy when the firmware sent it; wait for its busy line, or send \
                       the update again (the review plays it as if it had been driven)"
                        .into(),
                figures: vec![("others_finished", others as f64)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Mode(index)), observation);
        }
    }

    /// What it collided with, as the subject and verb of a sentence.
    fn reason(&self, missed: Missed<'_, '_>) -> String {
        let display = &self.plan.display;
        match missed.lost.busy {
            WaitsFor::Overlap => format!("{} still runs over the same pixels", self.blocker(missed)),
            WaitsFor::Place => format!(
                "it drives only {} at the same time and has no free place",
                wording::counted(display.parallel_updates as u64, "update", "updates")
            ),
            WaitsFor::Link if display.link.waits_for_panel => {
                "the link stays busy while the panel is driven,".to_owned()
            }
            WaitsFor::Link | WaitsFor::Nothing => "the link still carries an earlier transfer".to_owned(),
        }
    }

    /// What still runs over the same pixels, in words.
    fn blocker(&self, Missed { step, index, lost, .. }: Missed<'_, '_>) -> String {
        let name = |mode: usize| format!("`{}`", self.plan.display.modes[mode].name);
        let ends_then = |update: &&RunningUpdate| same_time(update.finish_ms, lost.until_ms);
        if let Some(own) = step.updates[..index].iter().find(|one| same_time(one.times.finish_ms, lost.until_ms)) {
            format!("{} of this step", name(own.mode))
        } else if let Some(update) = self.running.0.iter().find(ends_then) {
            format!("{} of step {}", name(update.mode), update.step)
        } else {
            "the line that the controller draws under the pen".to_owned()
        }
    }

    fn help(&self, missed: Missed<'_, '_>) -> String {
        let Missed { step, index, update, .. } = missed;
        let later_ms = later_ms(missed);
        let modes = &self.plan.display.modes;
        let planned = step.planned.step;
        let mut own = step.updates[..index].iter().filter(|earlier| is_in_the_way(earlier, missed.lost));
        if let Some(earlier) = own.next_back() {
            let join = if earlier.mode == update.mode {
                format!("add its boxes to the `{}` update before it, or ", modes[update.mode].name)
            } else {
                String::new()
            };
            let safely = self.safely(missed, 0.0);
            return match self.plan.kind() {
                PlanKind::Plan => {
                    format!("{join}request it in a step of its own, with an `after_ms` of {later_ms} or more{safely}")
                }
                PlanKind::Walk => {
                    format!("{join}request it in a move of its own, with a `soonest_ms` of {later_ms} or more{safely}")
                }
                PlanKind::Trace => format!("{join}send it {later_ms} ms later or more"),
            };
        }
        if planned.cause.is_person() {
            return format!(
                "a person cannot be asked to wait: let the earlier update end sooner, with a quicker mode or a smaller \
                 window, or have the firmware send this one again {later_ms} ms later"
            );
        }
        if self.plan.kind() == PlanKind::Trace {
            return format!("send it at least {later_ms} ms later, or wait until the controller is no longer busy");
        }
        let (after_ms, safely) = (planned.after_ms + later_ms, self.safely(missed, planned.after_ms));
        match step.planned.index {
            1.. if self.plan.kind() == PlanKind::Walk => {
                format!("set `soonest_ms` of this move to at least {after_ms}{safely}")
            }
            1.. => format!("set `after_ms` of this step to at least {after_ms} (now {}){safely}", planned.after_ms),
            0 => {
                format!("request it at least {later_ms} ms later: give the step an `after_ms` of {after_ms} or more")
            }
        }
    }
}

/// How much later it would have been taken, whole ms.
fn later_ms(Missed { update, lost, .. }: Missed<'_, '_>) -> f64 {
    lost.later_ms(update.times.request_ms)
}

/// Whether an earlier update of the same step is what was not free.
fn is_in_the_way(earlier: &PlayedUpdate, lost: Lost) -> bool {
    let times = earlier.times;
    let ends = [times.finish_ms, times.send_ms + times.transfer_ms];
    !earlier.sent.is_empty() && ends.iter().any(|end_ms| same_time(*end_ms, lost.until_ms))
}

/// Whether two times of the queue are one: figures handed on, never computed twice.
fn same_time(one_ms: f64, other_ms: f64) -> bool {
    one_ms.to_bits() == other_ms.to_bits()
}

/// The boxes that a lost update asked for, where it named any, and what does not show the screen there.
fn missing(Missed { step, index, .. }: Missed<'_, '_>) -> (Vec<Rect>, Mask) {
    let missing = step.glass.unlike_memory();
    match asked_boxes(step, index) {
        Some(boxes) => {
            let inside = missing.inside(&boxes, step.grid());
            (boxes, inside)
        }
        None => (Vec::new(), missing),
    }
}

/// The boxes that an update of a step asked for; nothing where it asked for all that changed.
fn asked_boxes(step: &PlayedStep<'_>, index: usize) -> Option<Vec<Rect>> {
    let size = step.memory.size();
    match step.planned.step.listed_updates().get(index).map(|asked| &asked.window) {
        Some(WindowAsk::Boxes(boxes)) => Some(boxes.iter().filter_map(|window| window.cut(size)).collect()),
        Some(WindowAsk::All) => Some(vec![size.whole()]),
        Some(WindowAsk::Changed) | None => None,
    }
}

/// Whether the updates of a step that were lost would have shown all of some pixels.
pub(super) fn would_show(step: &PlayedStep<'_>, pixels: &Mask) -> bool {
    let lost = step.updates.iter().enumerate().filter(|(_, update)| update.lost.is_some());
    let left = lost.fold(pixels.clone(), |left, (index, _)| match asked_boxes(step, index) {
        Some(boxes) => left.without(&left.inside(&boxes, step.grid())),
        None => Mask::new(),
    });
    left.is_empty()
}

impl Rule for UpdateLost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.report_without_end(step, sink);
        if self.plan.display.when_busy == WhenBusy::Waits {
            return;
        }
        self.running.until(step.planned.request_ms);
        for (index, update) in step.updates.iter().enumerate() {
            if let Some(lost) = update.lost {
                let observation = self.observation(Missed { step, index, update, lost });
                sink.report(Where::of(step, StepField::Mode(index)), observation);
            }
        }
        self.running.add(step);
    }
}
