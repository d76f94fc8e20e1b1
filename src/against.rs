//! What a device did beside what a plan asks for: both are played, their steps are aligned, and every difference is said
//! with both places. Knows played steps; which of the differences is worth what is for the rules.

use std::collections::HashMap;

use crate::{
    change::pipeline::ScreenSource,
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Departure, DepartureKind, Plan, ScreenId, Updates},
    review::{BrokenScreen, play},
    rules::wording,
};

/// What was asked of a panel, step by step, as it was played.
#[derive(Debug)]
pub struct Track {
    steps: Vec<Asked>,
}

/// A step of a track.
#[derive(Debug)]
struct Asked {
    index: u64,
    /// The levels that are in memory.
    screen: blake3::Hash,
    updates: Vec<AskedUpdate>,
    /// Whether its updates are still to be chosen, so that any will do.
    is_open: bool,
    pointer: String,
    label: Option<String>,
    request_ms: f64,
    /// How long after the act of a person its updates were requested, ms; `None` if no person caused it.
    after_person_ms: Option<f64>,
}

/// An update of a step, where it sends anything.
#[derive(Debug)]
struct AskedUpdate {
    mode: String,
    sent: Vec<Rect>,
    pointer: String,
}

/// The result of a comparison.
#[derive(Debug)]
pub struct Compared {
    /// Every difference, in the order of the trace.
    pub departures: Vec<Departure>,
    /// How many steps of the plan were done as it asks.
    pub as_planned: u64,
    /// How many steps of the plan could be done.
    pub planned: u64,
}

/// The two have too many differences to find out what belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooDifferent;

impl Track {
    /// The JSON pointers to its steps and updates, each once.
    pub fn pointers(&self) -> impl Iterator<Item = &str> {
        let all = self.steps.iter().flat_map(|step| {
            std::iter::once(step.pointer.as_str()).chain(step.updates.iter().map(|update| update.pointer.as_str()))
        });
        all.collect::<std::collections::BTreeSet<_>>().into_iter()
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
        let screen = *known.entry(now).or_insert_with(|| {
            let levels: Vec<u8> = step.memory.shades().iter().map(|shade| table[usize::from(*shade)]).collect();
            blake3::hash(&levels)
        });
        let asked = asked(plan, step, screen);
        // Of a step without updates nothing is seen on the device; its screen is in memory at the next one.
        if asked.is_open || !asked.updates.is_empty() {
            steps.push(asked);
        }
    })?;
    Ok(Track { steps })
}

fn asked(plan: &Plan, step: &PlayedStep<'_>, screen: blake3::Hash) -> Asked {
    let planned = step.planned;
    let pointer_of = |at: usize| {
        let recorded = planned.step.recorded_update(at).map(|update| update.pointer.clone());
        recorded.unwrap_or_else(|| format!("{}/updates/{at}", planned.step.pointer))
    };
    let update = |(at, update): (usize, &PlayedUpdate)| AskedUpdate {
        mode: plan.display.modes[update.mode].name.clone(),
        sent: in_order(&update.sent),
        pointer: pointer_of(at),
    };
    let sends = |(_, update): &(usize, &PlayedUpdate)| !update.sent.is_empty() || update.lost.is_some();
    let waited_ms = planned.step.recorded.as_ref().map_or(0.0, |recorded| recorded.person_before_ms);
    Asked {
        index: planned.index,
        screen,
        updates: step.updates.iter().enumerate().filter(sends).map(update).collect(),
        is_open: planned.step.updates == Updates::Choose,
        pointer: planned.step.pointer.clone(),
        label: planned.step.label.clone(),
        request_ms: step.updates_request_ms(),
        after_person_ms: planned.step.cause.is_person().then_some(waited_ms),
    }
}

fn in_order(boxes: &[Rect]) -> Vec<Rect> {
    let mut boxes = boxes.to_vec();
    boxes.sort();
    boxes
}

/// How the plan and the trace are compared.
#[derive(Clone, Copy, Debug)]
pub struct Tolerance {
    /// How far the edges of windows may differ, px across and down: windows are widened to the panel's grid.
    pub window_px: [u32; 2],
    /// How much later than planned something may come, ms.
    pub late_ms: f64,
}

/// Compares what a device did with a plan; `place` says where a pointer into the plan leads.
///
/// # Errors
/// Where they are too different.
pub fn compare(
    plan: &Track,
    trace: &Track,
    tolerance: Tolerance,
    place: &dyn Fn(&str) -> String,
) -> Result<Compared, TooDifferent> {
    let is_as_planned = |one: &Asked, other: &Asked| {
        one.is_open
            || one.updates.len() == other.updates.len()
                && one.updates.iter().zip(&other.updates).all(|(one, other)| is_same(one, other, tolerance))
    };
    let cost = |planned: usize, done: usize| {
        let (planned, done) = (&plan.steps[planned], &trace.steps[done]);
        (planned.screen == done.screen).then(|| u32::from(!is_as_planned(planned, done)))
    };
    let pairs = align(plan.steps.len(), trace.steps.len(), &cost)?;
    let mut comparison =
        Comparison { plan, trace, tolerance, place, departures: Vec::new(), as_planned: 0, before: None };
    for pair in pairs {
        comparison.pair(pair);
    }
    Ok(Compared {
        departures: comparison.departures,
        as_planned: comparison.as_planned,
        planned: plan.steps.len() as u64,
    })
}

/// Whether two updates ask for the same.
fn is_same(one: &AskedUpdate, other: &AskedUpdate, tolerance: Tolerance) -> bool {
    one.mode == other.mode && are_near(&one.sent, &other.sent, tolerance)
}

/// Whether boxes are the same, as far as the grid goes.
fn are_near(one: &[Rect], other: &[Rect], Tolerance { window_px: [across, down], .. }: Tolerance) -> bool {
    let near = |(one, other): (&Rect, &Rect)| {
        let edges = |rect: &Rect| [(rect.x, across), (rect.right(), across), (rect.y, down), (rect.bottom(), down)];
        edges(one).into_iter().zip(edges(other)).all(|((one, within), (other, _))| one.abs_diff(other) < within.max(1))
    };
    one.len() == other.len() && one.iter().zip(other).all(near)
}

/// What belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pair {
    Both(usize, usize),
    /// What only the first has, and where the second was by then.
    First(usize, usize),
    /// What only the second has.
    Second(usize),
}

/// At most this many cells of the table are filled.
const MOST_CELLS: usize = 200_000_000;

/// Aligns two lists with the fewest insertions, deletions and substitutions; `cost` says whether two elements may belong
/// together, and whether that is a substitution. Of several such ways, the one that pairs earlier elements.
///
/// Only a band around the diagonal is filled, and a wider one if the way leaves it: Ukkonen, "Algorithms for approximate
/// string matching", Information and Control 64, 1985.
fn align(first: usize, second: usize, cost: &dyn Fn(usize, usize) -> Option<u32>) -> Result<Vec<Pair>, TooDifferent> {
    let mut band = first.abs_diff(second) + 16;
    loop {
        let width = 2 * band + 1;
        if (first + 1).saturating_mul(width) > MOST_CELLS {
            return Err(TooDifferent);
        }
        let table = Table::fill(first, second, band, cost);
        if table.least() as usize <= band || band >= first + second {
            return Ok(table.way(cost));
        }
        band *= 2;
    }
}

/// The least costs from each pair of places to the ends, within a band.
struct Table {
    first: usize,
    second: usize,
    band: usize,
    costs: Vec<u32>,
}

const NEVER: u32 = u32::MAX / 2;

impl Table {
    fn fill(first: usize, second: usize, band: usize, cost: &dyn Fn(usize, usize) -> Option<u32>) -> Self {
        let mut table = Self { first, second, band, costs: vec![NEVER; (first + 1) * (2 * band + 1)] };
        for one in (0..=first).rev() {
            for other in (one.saturating_sub(band)..=second.min(one + band)).rev() {
                let least = if (one, other) == (first, second) {
                    0
                } else {
                    let both = table.both(one, other, cost);
                    both.min(table.at(one + 1, other) + 1).min(table.at(one, other + 1) + 1)
                };
                let place = one * (2 * band + 1) + other + band - one;
                table.costs[place] = least.min(NEVER);
            }
        }
        table
    }

    fn at(&self, one: usize, other: usize) -> u32 {
        if one > self.first || other > self.second || one.abs_diff(other) > self.band {
            return NEVER;
        }
        self.costs[one * (2 * self.band + 1) + other + self.band - one]
    }

    /// The least cost if these two belong together.
    fn both(&self, one: usize, other: usize, cost: &dyn Fn(usize, usize) -> Option<u32>) -> u32 {
        if one == self.first || other == self.second {
            return NEVER;
        }
        cost(one, other).map_or(NEVER, |cost| self.at(one + 1, other + 1) + cost)
    }

    fn least(&self) -> u32 {
        self.at(0, 0)
    }

    fn way(&self, cost: &dyn Fn(usize, usize) -> Option<u32>) -> Vec<Pair> {
        let (mut one, mut other) = (0, 0);
        let mut pairs = Vec::new();
        while (one, other) != (self.first, self.second) {
            let least = self.at(one, other);
            if self.both(one, other, cost) == least {
                pairs.push(Pair::Both(one, other));
                (one, other) = (one + 1, other + 1);
            } else if one < self.first && self.at(one + 1, other) + 1 == least {
                pairs.push(Pair::First(one, other));
                one += 1;
            } else {
                pairs.push(Pair::Second(other));
                other += 1;
            }
        }
        pairs
    }
}

/// The comparison as it goes from step to step.
struct Comparison<'t> {
    plan: &'t Track,
    trace: &'t Track,
    tolerance: Tolerance,
    place: &'t dyn Fn(&str) -> String,
    departures: Vec<Departure>,
    as_planned: u64,
    /// When the updates of the last two steps that belong together were requested, ms: planned and done.
    before: Option<(f64, f64)>,
}

impl Comparison<'_> {
    fn pair(&mut self, pair: Pair) {
        match pair {
            Pair::Both(planned, done) => self.both(&self.plan.steps[planned], &self.trace.steps[done]),
            Pair::First(planned, by_then) => self.left_out(&self.plan.steps[planned], by_then),
            Pair::Second(done) => self.added(&self.trace.steps[done]),
        }
    }

    fn both(&mut self, planned: &Asked, done: &Asked) {
        let before = self.departures.len();
        if !planned.is_open {
            self.updates(planned, done);
        }
        self.lateness(planned, done);
        self.before = Some((planned.request_ms, done.request_ms));
        self.as_planned += u64::from(self.departures.len() == before);
    }

    fn updates(&mut self, planned: &Asked, done: &Asked) {
        let cost = |one: usize, other: usize| {
            Some(u32::from(!is_same(&planned.updates[one], &done.updates[other], self.tolerance)))
        };
        // A step has few updates, and they always fit the table.
        let pairs = align(planned.updates.len(), done.updates.len(), &cost).unwrap_or_default();
        for pair in pairs {
            match pair {
                Pair::Both(one, other) => self.otherwise(&planned.updates[one], done, &done.updates[other]),
                Pair::First(one, _) => self.update_left_out(&planned.updates[one], done),
                Pair::Second(other) => self.update_added(planned, done, &done.updates[other]),
            }
        }
    }

    /// Says what is different in two updates that belong together.
    fn otherwise(&mut self, planned: &AskedUpdate, done: &Asked, update: &AskedUpdate) {
        if is_same(planned, update, self.tolerance) {
            return;
        }
        let at = (self.place)(&planned.pointer);
        let (is, wanted) = (boxes(&update.sent), boxes(&planned.sent));
        let message = match (planned.mode == update.mode, are_near(&planned.sent, &update.sent, self.tolerance)) {
            (false, true) => {
                format!("the device used `{}` here, but the plan says `{}` ({at})", update.mode, planned.mode)
            }
            (true, _) => format!("the device sent the window {is} here, but the plan sends {wanted} ({at})"),
            (false, false) => format!(
                "the device used `{}` on the window {is} here, but the plan says `{}` on {wanted} ({at})",
                update.mode, planned.mode
            ),
        };
        let help = "find out why the firmware departs from the plan, and correct the one of the two that is wrong";
        self.tell(DepartureKind::DoneOtherwise, done, Some(update), message, help);
    }

    /// Says that something came later than planned: an answer is counted from the act of the person, everything else
    /// from the step before.
    fn lateness(&mut self, planned: &Asked, done: &Asked) {
        let (late_ms, since) = match (planned.after_person_ms, done.after_person_ms, self.before) {
            (Some(planned_ms), Some(done_ms), _) => (done_ms - planned_ms, "the person acted"),
            // Nobody presses on schedule, and when somebody did is not recorded.
            (Some(_), None, _) | (None, _, None) => return,
            (None, _, Some((planned_before, done_before))) => {
                ((done.request_ms - done_before) - (planned.request_ms - planned_before), "the step before")
            }
        };
        if late_ms <= self.tolerance.late_ms {
            return;
        }
        let message = format!(
            "the device asked for this {} later than planned, counted from when {since} ({})",
            wording::span(late_ms),
            (self.place)(&planned.pointer)
        );
        let message = message.replace("when the step before", "the step before");
        let help = "find out what held the firmware up, for instance drawing or a slow storage; or plan for the wait";
        let update = done.updates.first();
        let key = format!("{}/at", update.map_or(done.pointer.as_str(), |update| update.pointer.as_str()));
        self.tell_at(DepartureKind::DoneOtherwise, done, (key, None), message, help);
    }

    fn left_out(&mut self, planned: &Asked, by_then: usize) {
        let modes = planned.updates.iter().map(|update| format!("`{}`", update.mode)).collect::<Vec<_>>();
        let message = format!(
            "the device left out step {}{} of the plan, which sends {} ({})",
            planned.index,
            planned.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\"")),
            if planned.is_open { "updates of its choice".into() } else { wording::listed(&modes, 4) },
            (self.place)(&planned.pointer)
        );
        let help = "check whether the firmware drops screens when it is busy, and whether the trace is complete";
        let steps = &self.trace.steps;
        if let Some(done) = steps.get(by_then).or(steps.last()) {
            // A place of its own for each step that was left out before the same record.
            let pointer = format!("{}/at", done.pointer);
            self.tell_at(DepartureKind::NotDone, done, (pointer, Some(planned.index)), message, help);
        } else {
            self.tell_without_step(planned, message, help);
        }
    }

    fn update_left_out(&mut self, planned: &AskedUpdate, done: &Asked) {
        let at = (self.place)(&planned.pointer);
        let message =
            format!("the device left out the `{}` on {} of this step ({at})", planned.mode, boxes(&planned.sent));
        let help = "check whether the firmware drops updates when it is busy, and whether the trace is complete";
        let pointer = format!("{}/at", done.pointer);
        self.tell_at(DepartureKind::NotDone, done, (pointer, None), message, help);
    }

    fn added(&mut self, done: &Asked) {
        let is_known = self.plan.steps.iter().any(|planned| planned.screen == done.screen);
        let message = if is_known {
            "the plan has no update here, although it shows this screen elsewhere".to_owned()
        } else {
            "the plan has no such screen: these levels are in memory in none of its steps".to_owned()
        };
        let help = "add the step to the plan if it is meant, or find out what makes the firmware send it";
        self.tell(DepartureKind::NotInPlan, done, done.updates.first(), message, help);
    }

    fn update_added(&mut self, planned: &Asked, done: &Asked, update: &AskedUpdate) {
        let at = (self.place)(&planned.pointer);
        let message = format!("the plan has no `{}` on {} in this step ({at})", update.mode, boxes(&update.sent));
        let help = "add the update to the plan if it is meant, or find out what makes the firmware send it";
        self.tell(DepartureKind::NotInPlan, done, Some(update), message, help);
    }

    fn tell(&mut self, kind: DepartureKind, done: &Asked, update: Option<&AskedUpdate>, message: String, help: &str) {
        let rect = update.and_then(|update| update.sent.iter().copied().reduce(Rect::around));
        let pointer = update.map_or(&done.pointer, |update| &update.pointer);
        self.departures.push(Departure {
            kind,
            step: done.index,
            label: done.label.clone(),
            pointer: format!("{pointer}/mode"),
            key: String::new(),
            rect,
            message,
            help: help.to_owned(),
        });
    }

    fn tell_at(
        &mut self,
        kind: DepartureKind,
        done: &Asked,
        (pointer, planned): (String, Option<u64>),
        message: String,
        help: &str,
    ) {
        self.departures.push(Departure {
            kind,
            step: done.index,
            label: done.label.clone(),
            pointer,
            key: planned.map_or_else(|| message.clone(), |planned| planned.to_string()),
            rect: None,
            message,
            help: help.to_owned(),
        });
    }

    /// The trace has no step at all.
    fn tell_without_step(&mut self, planned: &Asked, message: String, help: &str) {
        self.departures.push(Departure {
            kind: DepartureKind::NotDone,
            step: 0,
            label: None,
            pointer: "/lines/1".into(),
            key: planned.index.to_string(),
            rect: None,
            message,
            help: help.to_owned(),
        });
    }
}

fn boxes(boxes: &[Rect]) -> String {
    wording::listed(&boxes.iter().map(|rect| wording::rect(*rect)).collect::<Vec<_>>(), 3)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The number of edits of a full table that is filled from the beginning, without a band.
    fn plain_distance(one: &[u8], other: &[u8]) -> u32 {
        let mut row: Vec<u32> = (0..=other.len() as u32).collect();
        for (at, first) in one.iter().enumerate() {
            let mut next = vec![at as u32 + 1];
            for (column, second) in other.iter().enumerate() {
                let both = if first / 2 == second / 2 { row[column] + u32::from(first != second) } else { NEVER };
                next.push(both.min(row[column + 1] + 1).min(next[column] + 1));
            }
            row = next;
        }
        row[other.len()]
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        /// Elements belong together if they differ in the last bit at most.
        #[test]
        fn the_way_has_the_fewest_edits_and_keeps_the_order(
            one in prop::collection::vec(0_u8..6, 0..40), other in prop::collection::vec(0_u8..6, 0..40),
        ) {
            let cost = |first: usize, second: usize| {
                (one[first] / 2 == other[second] / 2).then(|| u32::from(one[first] != other[second]))
            };
            let pairs = align(one.len(), other.len(), &cost).unwrap();
            let edits: u32 = pairs.iter().map(|pair| match pair {
                Pair::Both(first, second) => cost(*first, *second).unwrap(),
                Pair::First(..) | Pair::Second(_) => 1,
            }).sum();
            prop_assert_eq!(edits, plain_distance(&one, &other));
            let firsts = pairs.iter().filter_map(|pair| match pair {
                Pair::Both(first, _) | Pair::First(first, _) => Some(*first),
                Pair::Second(_) => None,
            });
            prop_assert_eq!(firsts.collect::<Vec<_>>(), (0..one.len()).collect::<Vec<_>>());
        }
    }
}
