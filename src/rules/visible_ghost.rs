//! `visible-ghost`: a place that looks visibly lighter or darker than the rest of its level.

use super::{Rule, Setup, remedy, wording};
use crate::{
    finding::{Observation, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::{Ghost, PlayedStep},
    plan::Plan,
};

/// Follows ghosts from the step in which they appear to the last one in which they are seen. Those that appear together
/// are told together.
#[derive(Clone)]
pub(super) struct VisibleGhost<'p> {
    plan: &'p Plan,
    limit_l: f64,
    open: Vec<Group>,
    /// The ghosts of the step before.
    last: Vec<Ghost>,
    modes: ResidueModes,
}

/// Ghosts that appeared in one step.
#[derive(Clone)]
struct Group {
    place: Where,
    /// The boxes of the largest of them, also as they grow.
    rects: Vec<Rect>,
    /// The box around them as they appeared.
    appeared: Rect,
    /// At the step where they are worst.
    worst: State,
}

/// The ghosts of a group as they are at a step.
#[derive(Clone)]
struct State {
    step: u64,
    around: Rect,
    count: u64,
    pixels: u64,
    worst_l: f64,
    weight: f64,
    origin: String,
    help: String,
}

/// As many of the ghosts that appear in a step are followed, the largest ones; all are counted.
const MOST: usize = 64;
/// A ghost that comes back after no more steps than this is the same one: a key that is pressed and let go.
const GRACE: u64 = 3;

impl<'p> VisibleGhost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            limit_l: setup.limits.visible_ghost.limit_l.value,
            plan: setup.plan,
            open: Vec::new(),
            last: Vec::new(),
            modes: ResidueModes::default(),
        }
    }

    fn follow(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now = step.planned.index;
        let over: Vec<Group> = self.open.extract_if(.., |group| group.place.last_step + GRACE < now).collect();
        for group in over {
            self.tell(group, sink);
        }
        let mut fresh = Vec::new();
        let mut seen: Vec<Vec<&Ghost>> = vec![Vec::new(); self.open.len()];
        for ghost in step.ghosts {
            let known = self.open.iter().position(|group| group.rects.iter().any(|rect| rect.overlaps(ghost.rect)));
            match known {
                Some(group) => seen[group].push(ghost),
                // One that is too small to be followed may have been there before.
                None if self.last.iter().any(|last| last.rect.overlaps(ghost.rect)) => {}
                None => fresh.push(ghost),
            }
        }
        for (group, ghosts) in self.open.iter_mut().zip(seen) {
            if ghosts.is_empty() {
                continue;
            }
            group.place.last_step = now;
            if weight(&ghosts) > group.worst.weight
                && let Some(worst) = state(step, &ghosts, self.plan)
            {
                group.worst = worst;
                group.rects = largest(ghosts);
            }
        }
        if let Some(worst) = state(step, &fresh, self.plan) {
            let (place, appeared) = (Where::of(step, StepField::Updates), worst.around);
            self.open.push(Group { place, rects: largest(fresh), appeared, worst });
        }
    }

    fn tell(&self, group: Group, sink: &mut Sink) {
        let display = &self.plan.display;
        let State { step, around, count, pixels, worst_l, origin, help, .. } = group.worst;
        let (worst, area) = (wording::figure(worst_l), wording::area(pixels, display));
        // The finding begins where the ghost does; figures are of the step where it is worst.
        let when = if step == group.place.step { String::new() } else { format!(" at its worst, at step {step}") };
        let message = if count == 1 {
            format!("a ghost of {worst} L* on {area}{when}: {origin}")
        } else {
            format!("{count} ghosts of up to {worst} L* on {area}{when}; of the strongest: {origin}")
        };
        let observation = Observation {
            rect: Some(around),
            message,
            help,
            figures: vec![
                ("worst_l", worst_l),
                ("limit_l", self.limit_l),
                ("ghosts", count as f64),
                ("px", pixels as f64),
                ("mm2", display.area_mm2(pixels)),
            ],
            margin: self.modes.margin(worst_l, self.limit_l, display),
            // A ghost that every round of a repetition leaves in a place is told once.
            key: wording::rect(group.appeared),
            ..Observation::default()
        };
        sink.report(group.place, observation);
    }
}

/// Some ghosts as they are at a step; nothing of none.
fn state(step: &PlayedStep<'_>, ghosts: &[&Ghost], plan: &Plan) -> Option<State> {
    let worst = ghosts.iter().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))?;
    let around = ghosts.iter().map(|ghost| ghost.rect).reduce(Rect::around)?;
    Some(State {
        step: step.planned.index,
        around,
        count: ghosts.len() as u64,
        pixels: pixels(ghosts),
        worst_l: worst.worst_l,
        weight: weight(ghosts),
        origin: remedy::origin(worst, step, plan),
        help: remedy::removal(worst, around, step, plan),
    })
}

fn pixels(ghosts: &[&Ghost]) -> u64 {
    ghosts.iter().map(|ghost| ghost.pixels).sum()
}

/// How much of them there is to see: the strength of the strongest by the area of all.
fn weight(ghosts: &[&Ghost]) -> f64 {
    ghosts.iter().map(|ghost| ghost.worst_l).fold(0.0, f64::max) * pixels(ghosts) as f64
}

/// The boxes of the largest ones.
fn largest(mut ghosts: Vec<&Ghost>) -> Vec<Rect> {
    ghosts.sort_by_key(|ghost| std::cmp::Reverse(ghost.pixels));
    ghosts.iter().take(MOST).map(|ghost| ghost.rect).collect()
}

impl Rule for VisibleGhost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step);
        if step.ghosts == self.last {
            // Those that were seen a step ago are seen still.
            let before = step.planned.index.saturating_sub(1);
            let seen = self.open.iter_mut().filter(|group| !step.ghosts.is_empty() && group.place.last_step == before);
            seen.for_each(|group| group.place.last_step = step.planned.index);
            return;
        }
        self.follow(step, sink);
        self.last.clear();
        self.last.extend_from_slice(step.ghosts);
    }

    fn end(&mut self, sink: &mut Sink) {
        for group in std::mem::take(&mut self.open) {
            self.tell(group, sink);
        }
    }
}
