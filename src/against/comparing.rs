//! What is different in steps that were aligned, in words, with both places. Knows steps; which of the differences is worth
//! what is for the rules.

use std::collections::HashSet;

use super::{
    align::{EDIT, Pair, Rows, TooDifferent, align, align_rows},
    track::{Asked, AskedUpdate, Joined, Nearest, Track},
};
use crate::{
    geometry::Rect,
    plan::{Departure, DepartureKind},
    rules::wording,
};

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
    let joined = Joined::new(trace, tolerance.late_ms, &Planned { plan, tolerance });
    let shown = [&plan.steps, &trace.steps].map(|steps| shown_for(steps));
    let cost = |planned: usize, at: usize, taken: usize| {
        let (step, done) = (&plan.steps[planned], joined.step(at, taken)?);
        let edits = if is_as_planned(step, done, tolerance) { 0 } else { EDIT };
        let apart = || {
            let shown_ms = shown[0][planned].zip(shown[1][at]);
            let long_ago = shown_ms.is_some_and(|(planned, done)| (planned - done).abs() > tolerance.late_ms);
            gaps_apart((&plan.steps, planned), (&trace.steps, at, taken), tolerance.late_ms) + u64::from(long_ago)
        };
        let in_vain = if joined.is_in_vain(at, taken) { JOINED_IN_VAIN } else { 0 };
        (step.screen == done.screen).then(|| edits + in_vain + apart())
    };
    let pairs = align_rows(plan.steps.len(), &Rows::new(joined.most(), |at| joined.seem(at)), &cost)?;
    let (trace, pairs) = joined.along(pairs);
    let known = plan.steps.iter().map(|step| step.screen).collect();
    Ok(differences(&Aligned { plan, trace: &trace, pairs, known, words: &OF_A_PLAN }, tolerance, place))
}

/// How long before each step another screen was last sent, ms; where a person brought the screen, how long it has been there.
fn shown_for(steps: &[Asked]) -> Vec<Option<f64>> {
    // The first step with the screen, and the step that its time counts from.
    let mut run: Option<(&Asked, &Asked)> = None;
    let mut last: Option<&Asked> = None;
    let mut since = |step| {
        let step: &Asked = step;
        let begins = || (step, last.filter(|_| step.after_person_ms.is_none()).unwrap_or(step));
        let now = run.filter(|(first, _)| first.screen == step.screen).unwrap_or_else(begins);
        (run, last) = (Some(now), Some(step));
        Some(step.request_ms? - now.1.request_ms?)
    };
    steps.iter().map(&mut since).collect()
}

/// More than pauses that are not as planned.
const JOINED_IN_VAIN: u64 = 4;

/// How many of the pauses before and after a step are not as planned, of those that no person decides: of steps that are alike,
/// the one at its time is meant.
fn gaps_apart((plan, planned): (&[Asked], usize), (trace, at, taken): (&[Asked], usize, usize), within_ms: f64) -> u64 {
    let gap = |steps: &[Asked], from: Option<usize>, to: usize| {
        let (from, to) = (steps.get(from?)?, steps.get(to)?);
        let is_free = to.after_person_ms.is_some();
        Some(to.request_ms? - from.request_ms?).filter(|_| !is_free)
    };
    let is_apart = |planned: Option<f64>, done: Option<f64>| {
        planned.zip(done).is_some_and(|(planned, done)| (planned - done).abs() > within_ms)
    };
    let before = is_apart(gap(plan, planned.checked_sub(1), planned), gap(trace, at.checked_sub(1), at));
    let after = is_apart(gap(plan, Some(planned), planned + 1), gap(trace, Some(at), at + taken));
    u64::from(before) + u64::from(after)
}

/// What was meant beside what was done, with what belongs together.
pub(super) struct Aligned<'t> {
    pub(super) plan: &'t Track,
    pub(super) trace: &'t Track,
    pub(super) pairs: Vec<Pair>,
    /// The screens that what was meant has anywhere.
    pub(super) known: HashSet<blake3::Hash>,
    pub(super) words: &'t Words,
}

/// How what was meant is spoken of.
#[derive(Debug)]
pub(super) struct Words {
    /// What it is.
    pub(super) what: &'static str,
    /// What it consists of.
    pub(super) part: &'static str,
    /// Of a step that was added, although its screen is known.
    pub(super) added: &'static str,
    /// Of a step that was added with a screen of its own.
    pub(super) unknown: &'static str,
}

const OF_A_PLAN: Words = Words {
    what: "plan",
    part: "step",
    added: "the plan has no update here, although it shows this screen elsewhere",
    unknown: "the plan has no such screen: these levels are in memory in none of its steps",
};

/// Every difference of what was aligned, in words.
pub(super) fn differences(aligned: &Aligned<'_>, tolerance: Tolerance, place: &dyn Fn(&str) -> String) -> Compared {
    let departures = Vec::new();
    let mut comparison = Comparison {
        aligned,
        tolerance,
        place,
        departures,
        as_planned: 0,
        before: None,
        planned_before: None,
        done_before: None,
        last_place: None,
    };
    aligned.pairs.iter().for_each(|pair| comparison.pair(*pair));
    Compared {
        departures: comparison.departures,
        as_planned: comparison.as_planned,
        planned: aligned.plan.steps.len() as u64,
    }
}

/// Whether a step asks for the updates that are planned.
fn is_as_planned(planned: &Asked, done: &Asked, tolerance: Tolerance) -> bool {
    planned.is_open || are_same(&planned.updates, &done.updates, tolerance)
}

/// The steps of a plan.
struct Planned<'t> {
    plan: &'t Track,
    tolerance: Tolerance,
}

impl Nearest for Planned<'_> {
    fn edits(&self, done: &Asked) -> u32 {
        let alike = self.plan.steps.iter().filter(|planned| planned.screen == done.screen);
        fewest_edits(alike.map(|planned| (planned.is_open, &*planned.updates)), done, self.tolerance)
    }

    fn most_updates(&self) -> usize {
        self.plan.steps.iter().map(|planned| planned.updates.len()).max().unwrap_or(0)
    }
}

/// How many updates are too many, too few or different compared with the nearest of some steps, of which each is still open
/// or has its updates; the most that there can be if there is none.
pub(super) fn fewest_edits<'m>(
    meant: impl Iterator<Item = (bool, &'m [AskedUpdate])>,
    done: &Asked,
    tolerance: Tolerance,
) -> u32 {
    let edits = |(is_open, updates)| if is_open { 0 } else { edits(updates, &done.updates, tolerance) };
    meant.map(edits).min().unwrap_or(u32::MAX)
}

/// How many updates are too many, too few or different in a list.
fn edits(planned: &[AskedUpdate], done: &[AskedUpdate], tolerance: Tolerance) -> u32 {
    let differ = |one: usize, other: usize| u32::from(!is_same(&planned[one], &done[other], tolerance));
    let pairs = align(planned.len(), done.len(), &|one, other| Some(differ(one, other))).unwrap_or_default();
    let count = |pair: &Pair| if let Pair::Both(one, other, _) = pair { differ(*one, *other) } else { 1 };
    pairs.iter().map(count).sum()
}

/// Whether two steps ask for the same updates.
pub(super) fn are_same(planned: &[AskedUpdate], done: &[AskedUpdate], tolerance: Tolerance) -> bool {
    planned.len() == done.len() && planned.iter().zip(done).all(|(one, other)| is_same(one, other, tolerance))
}

/// Whether two updates ask for the same.
pub(super) fn is_same(one: &AskedUpdate, other: &AskedUpdate, tolerance: Tolerance) -> bool {
    one.mode == other.mode && are_near(one, other, tolerance)
}

/// Whether two updates ask for the same boxes, as far as the grid goes: what is sent is the same, or what was asked for is nearer
/// than that.
fn are_near(one: &AskedUpdate, other: &AskedUpdate, Tolerance { window_px: [across, down], .. }: Tolerance) -> bool {
    let near = |(one, other): (&Rect, &Rect)| {
        let edges = |rect: &Rect| [(rect.x, across), (rect.right(), across), (rect.y, down), (rect.bottom(), down)];
        edges(one).into_iter().zip(edges(other)).all(|((one, within), (other, _))| one.abs_diff(other) < within.max(1))
    };
    let all_near = |one: &[Rect], other: &[Rect]| one.len() == other.len() && one.iter().zip(other).all(near);
    one.sent == other.sent || all_near(&one.asked, &other.asked)
}

/// The comparison as it goes from step to step.
struct Comparison<'t> {
    aligned: &'t Aligned<'t>,
    tolerance: Tolerance,
    place: &'t dyn Fn(&str) -> String,
    departures: Vec<Departure>,
    as_planned: u64,
    /// When the updates of the last two steps that belong together were requested, ms: planned and done.
    before: Option<(f64, f64)>,
    /// The same of the last step that was planned, and of the last that was done, whether they belong together or not.
    planned_before: Option<f64>,
    done_before: Option<f64>,
    /// Where the last step that belongs together is meant.
    last_place: Option<String>,
}

impl Comparison<'_> {
    fn pair(&mut self, pair: Pair) {
        let Aligned { plan, trace, .. } = self.aligned;
        match pair {
            Pair::Both(planned, done, _) => self.both(&plan.steps[planned], &trace.steps[done]),
            Pair::First(planned, by_then) => {
                self.left_out(&plan.steps[planned], by_then);
                self.planned_before = plan.steps[planned].request_ms;
            }
            Pair::Second(done) => {
                self.added(&trace.steps[done]);
                self.done_before = trace.steps[done].request_ms;
            }
        }
    }

    fn both(&mut self, planned: &Asked, done: &Asked) {
        let before = self.departures.len();
        if !planned.is_open {
            self.updates(planned, done);
        }
        self.lateness(planned, done);
        self.before = planned.request_ms.zip(done.request_ms);
        (self.planned_before, self.done_before) = (planned.request_ms, done.request_ms);
        self.last_place = Some((self.place)(&planned.pointer));
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
                Pair::Both(one, other, _) => self.otherwise(planned, &planned.updates[one], done, &done.updates[other]),
                Pair::First(one, _) => self.update_left_out(planned, &planned.updates[one], done),
                Pair::Second(other) => self.update_added(planned, done, &done.updates[other]),
            }
        }
    }

    /// Where an update is meant; of one that is not written there, where its step is as well.
    fn place_of_update(&self, step: &Asked, update: &AskedUpdate) -> String {
        let place = (self.place)(&update.pointer);
        if update.pointer.starts_with(&step.pointer) {
            return place;
        }
        format!("{place}, due at {}", (self.place)(&step.pointer))
    }

    /// Says what is different in two updates that belong together.
    fn otherwise(&mut self, step: &Asked, planned: &AskedUpdate, done: &Asked, update: &AskedUpdate) {
        if is_same(planned, update, self.tolerance) {
            return;
        }
        let at = self.place_of_update(step, planned);
        let (is, wanted) = (boxes(&update.sent), boxes(&planned.sent));
        let what = self.aligned.words.what;
        let message = match (planned.mode == update.mode, are_near(planned, update, self.tolerance)) {
            (false, true) => {
                format!("the device used `{}` here, but the {what} says `{}` ({at})", update.mode, planned.mode)
            }
            (true, _) => format!("the device sent the window {is} here, but the {what} sends {wanted} ({at})"),
            (false, false) => format!(
                "the device used `{}` on the window {is} here, but the {what} says `{}` on {wanted} ({at})",
                update.mode, planned.mode
            ),
        };
        let help =
            format!("find out why the firmware departs from the {what}, and correct whichever of the two is wrong");
        self.tell(DepartureKind::DoneOtherwise, done, Some(update), message, help);
    }

    /// Says that something came later than planned: an answer is counted from the act of the person, everything else
    /// from the step before.
    fn lateness(&mut self, planned: &Asked, done: &Asked) {
        let done_ms = done.after_person_ms.or(done.after_unanswered_ms);
        let requests = planned.request_ms.zip(done.request_ms).zip(self.before);
        let (late_ms, since) = match (planned.after_person_ms, done_ms, requests) {
            (Some(planned_ms), Some(done_ms), _) => (done_ms - planned_ms, "the person acted"),
            // Nobody presses on schedule, and when somebody did is not recorded.
            (Some(_), None, _) | (None, _, None) => return,
            (None, _, Some(((planned_ms, done_ms), (planned_before, done_before)))) => {
                // What was added or left out since has its own finding, and is not reported once more as lateness.
                let since =
                    |planned_before: f64, done_before: f64| (done_ms - done_before) - (planned_ms - planned_before);
                let last = self.planned_before.zip(self.done_before);
                let together = since(planned_before, done_before);
                let late_ms = last.map_or(together, |(planned, done)| together.min(since(planned, done)));
                (late_ms, "the step before")
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
        let what = self.aligned.words.what;
        let modes = planned.updates.iter().map(|update| format!("`{}`", update.mode)).collect::<Vec<_>>();
        let message = format!(
            "the device left out {}{} of the {what}, which sends {} ({})",
            planned.name,
            planned.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\"")),
            if planned.is_open { "updates of its choice".into() } else { wording::listed(&modes, 4) },
            (self.place)(&planned.pointer)
        );
        let help = "check whether the firmware drops screens when it is busy, and whether the trace is complete";
        let steps = &self.aligned.trace.steps;
        if let Some(done) = steps.get(by_then).or(steps.last()) {
            // A place of its own for each step that was left out before the same record.
            let pointer = format!("{}/at", done.pointer);
            self.tell_at(DepartureKind::NotDone, done, (pointer, Some(planned.index)), message, help);
        } else {
            self.tell_without_step(planned, message, help);
        }
    }

    fn update_left_out(&mut self, step: &Asked, planned: &AskedUpdate, done: &Asked) {
        let at = self.place_of_update(step, planned);
        let part = self.aligned.words.part;
        let message =
            format!("the device left out the `{}` on {} of this {part} ({at})", planned.mode, boxes(&planned.sent));
        let help = "check whether the firmware drops updates when it is busy, and whether the trace is complete";
        let pointer = format!("{}/at", done.pointer);
        self.tell_at(DepartureKind::NotDone, done, (pointer, None), message, help);
    }

    fn added(&mut self, done: &Asked) {
        let Words { what, part, added, unknown } = self.aligned.words;
        let message = if self.aligned.known.contains(&done.screen) { added } else { unknown };
        let after = self.last_place.as_ref().map_or(String::new(), |place| format!(" (after {place})"));
        let help = format!("add the {part} to the {what} if it is meant, or find out what makes the firmware send it");
        self.tell(DepartureKind::NotInPlan, done, done.updates.first(), format!("{message}{after}"), help);
    }

    fn update_added(&mut self, planned: &Asked, done: &Asked, update: &AskedUpdate) {
        let at = (self.place)(&planned.pointer);
        let Words { what, part, .. } = self.aligned.words;
        let message = format!("the {what} has no `{}` on {} in this {part} ({at})", update.mode, boxes(&update.sent));
        let help = format!("add the update to the {what} if it is meant, or find out what makes the firmware send it");
        self.tell(DepartureKind::NotInPlan, done, Some(update), message, help);
    }

    fn tell(&mut self, kind: DepartureKind, done: &Asked, update: Option<&AskedUpdate>, message: String, help: String) {
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
            help,
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
