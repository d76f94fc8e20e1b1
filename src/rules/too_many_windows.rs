//! `too-many-windows`: more windows in a step than the controller takes.

use super::{Rule, Setup};
use crate::{
    finding::{Change, ChangeOf, Correction, Sight, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{Plan, WindowAsk},
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
            let sight = Sight {
                message: format!("this step sends {sent} windows; the controller takes {most}"),
                help: "join windows that lie close to each other, or spread them over two steps".into(),
                corrections: joined(step, sent - most).into_iter().collect(),
                figures: vec![("windows", sent as f64), ("most", most as f64)],
                ..Sight::default()
            };
            sink.report(Where::of(step, StepField::Updates), sight);
        }
    }
}

/// The boxes of the step's updates with so many fewer, those joined that add the least: only boxes of one update can be.
fn joined(step: &PlayedStep<'_>, fewer: usize) -> Option<Correction> {
    let asked = step.planned.step.listed_updates();
    let mut sent: Vec<Vec<Rect>> = step.updates.iter().map(|update| update.sent.clone()).collect();
    for _ in 0..fewer {
        let (update, one, other) = cheapest_pair(&sent)?;
        let second = sent[update].remove(other);
        sent[update][one] = sent[update][one].around(second);
    }
    let change = |(update, boxes): (usize, Vec<Rect>)| {
        let window = WindowAsk::Boxes(boxes.into_iter().map(Rect::to_window).collect());
        let step = step.planned.step.pointer.clone();
        let is_other = window != asked[update].window && boxes_of(&asked[update].window) > boxes_of(&window);
        is_other.then_some(Change { step, what: ChangeOf::Window { update, window } })
    };
    Some(Correction { changes: sent.into_iter().enumerate().filter_map(change).collect() })
}

fn boxes_of(window: &WindowAsk) -> usize {
    if let WindowAsk::Boxes(boxes) = window { boxes.len() } else { 1 }
}

/// The two boxes of one update that add the fewest pixels when they become one: the update, and which of its boxes.
fn cheapest_pair(sent: &[Vec<Rect>]) -> Option<(usize, usize, usize)> {
    let added = |boxes: &[Rect], (one, other): (usize, usize)| {
        let (one, other) = (boxes[one], boxes[other]);
        one.around(other).pixels() as i64 - one.pixels() as i64 - other.pixels() as i64
    };
    let mut best: Option<(i64, (usize, usize, usize))> = None;
    for (update, boxes) in sent.iter().enumerate() {
        for (one, other) in (0..boxes.len()).flat_map(|other| (0..other).map(move |one| (one, other))) {
            let pixels = added(boxes, (one, other));
            if best.is_none_or(|(least, _)| pixels < least) {
                best = Some((pixels, (update, one, other)));
            }
        }
    }
    best.map(|(_, pair)| pair)
}
