//! `slow-answer`: a touch, a key or the pen is answered later than a person takes for at once.

use super::{Rule, Setup, words};
use crate::{
    finding::{Sight, Sink, StepField, Where},
    panel::{PlayedStep, PlayedUpdate},
    plan::Plan,
};

/// Looks at every step that a person asked for.
#[derive(Clone)]
pub(super) struct SlowAnswer<'p> {
    plan: &'p Plan,
    first_ms: f64,
    whole_ms: f64,
}

impl<'p> SlowAnswer<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { first_ms: setup.limit("first_ms"), whole_ms: setup.limit("whole_ms"), plan: setup.plan }
    }

    fn late_first(&self, cause: &str, first: &PlayedUpdate, answer_ms: f64) -> Sight {
        let modes = &self.plan.display.modes;
        let quickest = modes
            .iter()
            .map(|mode| (mode, mode.first_visible_at(self.plan.temperature_c)))
            .min_by(|one, other| one.1.total_cmp(&other.1));
        let help = match quickest.filter(|(mode, _)| mode.name != modes[first.mode].name) {
            Some((mode, first_ms)) => format!(
                "answer at once with `{}` in a small window ({} ms to its first change), and bring the rest after it",
                mode.name,
                words::ms(first_ms)
            ),
            None => format!(
                "send less before the answer, or allow more: `first_ms` is {} ms here",
                words::ms(self.first_ms)
            ),
        };
        Sight {
            message: format!(
                "the {cause} is answered after {} ms: of it {} ms waiting, {} ms transfer and {} ms until `{}` shows",
                words::ms(answer_ms),
                words::ms(first.times.wait_ms),
                words::ms(first.times.transfer_ms),
                words::ms(first.first_visible_ms - first.times.start_ms),
                modes[first.mode].name
            ),
            help,
            figures: vec![("first_ms", answer_ms), ("limit_ms", self.first_ms)],
            key: "first".into(),
            ..Sight::default()
        }
    }

    fn late_whole(&self, cause: &str, last: &PlayedUpdate, answer_ms: f64) -> Sight {
        Sight {
            message: format!(
                "the whole answer to the {cause} stands after {} ms, with the end of `{}`",
                words::ms(answer_ms),
                self.plan.display.modes[last.mode].name
            ),
            help: format!(
                "use a quicker mode, a smaller window, or fewer updates one after the other: {} ms keep a person's thought",
                words::ms(self.whole_ms)
            ),
            figures: vec![("whole_ms", answer_ms), ("limit_ms", self.whole_ms)],
            key: "whole".into(),
            ..Sight::default()
        }
    }
}

fn place_of(step: &PlayedStep<'_>, updates: &[(usize, &PlayedUpdate)], update: &PlayedUpdate, sight: Sight) -> Sight {
    let index = updates.iter().find(|(_, other)| std::ptr::eq(*other, update)).map(|(index, _)| *index);
    let rect = step.planned.step.touched.and_then(|touched| touched.cut(step.memory.size()));
    Sight { update: index, rect: rect.or(update.sent_bounds()), ..sight }
}

impl Rule for SlowAnswer<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let cause = step.planned.step.cause;
        if !cause.is_person() {
            return;
        }
        let updates: Vec<(usize, &PlayedUpdate)> =
            step.updates.iter().enumerate().filter(|(_, update)| update.changes_something()).collect();
        let request_ms = step.updates_request_ms();
        let first = updates.iter().map(|(_, update)| *update);
        let Some(first) = first.min_by(|one, other| one.first_visible_ms.total_cmp(&other.first_visible_ms)) else {
            return;
        };
        let last = updates.iter().map(|(_, update)| *update);
        let last = last.max_by(|one, other| one.times.finish_ms.total_cmp(&other.times.finish_ms)).unwrap_or(first);
        let (first_ms, whole_ms) = (first.first_visible_ms - request_ms, last.times.finish_ms - request_ms);
        // A line that the controller draws itself is the answer to the pen; what the host commits follows it.
        if first_ms > self.first_ms && step.planned.step.strokes.is_empty() {
            let sight = self.late_first(cause.word(), first, first_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, &updates, first, sight));
        }
        if whole_ms > self.whole_ms {
            let sight = self.late_whole(cause.word(), last, whole_ms);
            sink.report(Where::of(step, StepField::Updates), place_of(step, &updates, last, sight));
        }
    }
}
