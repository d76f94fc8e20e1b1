//! `too-many-windows`: more windows in a step than the controller takes.

use super::{Rule, Setup};
use crate::{
    display::WhenBusy,
    finding::{Change, ChangeOf, Correction, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, Update, WindowAsk},
};

/// Counts the boxes of every step.
#[derive(Clone)]
pub(super) struct TooManyWindows<'p> {
    plan: &'p Plan,
}

impl<'p> TooManyWindows<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { plan: setup.plan }
    }
}

impl Rule for TooManyWindows<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(most) = self.plan.display.windows.and_then(|windows| windows.most_in_a_step) else { return };
        let sent: usize = step.updates.iter().map(|update| update.sent.len()).sum();
        if sent > most {
            // A controller that waits takes the rest when it is done.
            let waits = self.plan.display.when_busy == WhenBusy::Waits;
            let rest =
                if waits { "the rest appear late" } else { "it drops the rest, and the old picture stays there" };
            let observation = Observation {
                severity: waits.then_some(Severity::Warning),
                message: format!("this step sends {sent} windows, but the controller takes {most} at once: {rest}"),
                help: "join windows that lie close to each other, or spread them over two steps".into(),
                corrections: joined(step, sent - most).into_iter().collect(),
                figures: vec![("windows", sent as f64), ("most", most as f64)],
                ..Observation::default()
            };
            sink.report(Where::of(step, StepField::Updates), observation);
        }
    }
}

/// A box that is sent, and by which update.
type SentBox = (usize, Rect);

/// The boxes of the step's updates with so many fewer: those of one mode that add the least become one.
fn joined(step: &PlayedStep<'_>, fewer: usize) -> Option<Correction> {
    let asked = step.planned.step.listed_updates();
    let boxes =
        |(index, update): (usize, &PlayedUpdate)| update.sent.iter().map(|rect| (index, *rect)).collect::<Vec<_>>();
    let mut sent: Vec<SentBox> = step.updates.iter().enumerate().flat_map(boxes).collect();
    let before = sent.clone();
    for _ in 0..fewer {
        let (one, other) = cheapest_pair(&sent, asked)?;
        let (_, second) = sent.remove(other);
        sent[one].1 = sent[one].1.around(second);
    }
    let of = |sent: &[SentBox], index: usize| -> Vec<Rect> {
        sent.iter().filter(|(update, _)| *update == index).map(|(_, rect)| *rect).collect()
    };
    let change = |update: usize| {
        let (was, is) = (of(&before, update), of(&sent, update));
        let what = match is.as_slice() {
            _ if is == was => return None,
            [] => ChangeOf::RemoveUpdate { update },
            _ => {
                let window = WindowAsk::Boxes(is.into_iter().map(Rect::to_window).collect());
                ChangeOf::Window { update, window }
            }
        };
        Some(Change { step: step.planned.step.pointer.clone(), what })
    };
    Some(Correction { changes: (0..asked.len()).filter_map(change).collect() })
}

/// The places of the two boxes that add the fewest pixels when they become one, of those that one update could send.
fn cheapest_pair(sent: &[SentBox], asked: &[Update]) -> Option<(usize, usize)> {
    let could_be_one = |one: usize, other: usize| {
        let (one, other) = (&asked[sent[one].0], &asked[sent[other].0]);
        one.mode == other.mode && one.drive_ms == other.drive_ms
    };
    let added = |one: usize, other: usize| {
        let (one, other) = (sent[one].1, sent[other].1);
        one.around(other).pixels() as i64 - one.pixels() as i64 - other.pixels() as i64
    };
    let pairs = (0..sent.len()).flat_map(|other| (0..other).map(move |one| (one, other)));
    pairs.filter(|(one, other)| could_be_one(*one, *other)).min_by_key(|(one, other)| added(*one, *other))
}
