//! Ghosts of a kind, followed from the step in which they appear to the last one in which they are seen.
//!
//! Those that appear together are one group, which is reported when it is over. Knows their figures and how sure those are, not
//! the sentence that is said of them.

use super::{remedy, wording};
use crate::{
    finding::{Observation, ResidueModes, Sink, StepField, Where},
    geometry::Rect,
    panel::{Ghost, PlayedStep},
    plan::Plan,
};

/// What a ghost comes from, in words.
type Origin = fn(&Ghost, &PlayedStep<'_>, &Plan) -> String;

/// What is said of the ghosts of a kind.
#[derive(Clone, Copy)]
pub(super) struct Words {
    /// What one comes from.
    pub(super) origin: Origin,
    /// What is seen of a group.
    pub(super) observation: fn(&Group, &GhostGroups<'_>) -> Observation,
}

/// Which ghosts are followed.
#[derive(Clone, Copy)]
pub(super) enum Kind {
    /// Those of pixels that were driven: all that are no outlines.
    Driven,
    /// Outlines, from a difference (L*) and a number of pixels on.
    Outlines {
        /// The least difference to the median of their level, L*.
        limit_l: f64,
        /// The least number of pixels.
        least_px: f64,
    },
}

impl Kind {
    fn takes(self, ghost: &Ghost) -> bool {
        match self {
            Self::Driven => !ghost.is_outline(),
            Self::Outlines { limit_l, least_px } => {
                ghost.is_outline() && ghost.worst_l >= limit_l && ghost.pixels as f64 >= least_px
            }
        }
    }
}

/// The ghosts of a kind, as they come and go.
#[derive(Clone)]
pub(super) struct GhostGroups<'p> {
    pub(super) plan: &'p Plan,
    kind: Kind,
    /// The difference from which on they are reported, L*.
    limit_l: f64,
    words: Words,
    /// The modes so far that leave residue.
    modes: ResidueModes,
    open: Vec<Group>,
    /// Those of the step before.
    last: Vec<Ghost>,
}

/// Ghosts that appeared in one step.
#[derive(Clone)]
pub(super) struct Group {
    place: Where,
    /// The boxes of the largest of them, also as they grow.
    rects: Vec<Rect>,
    /// The box around them as they appeared.
    appeared: Rect,
    /// At the step where they are worst.
    pub(super) worst: State,
}

/// The ghosts of a group as they are at a step.
#[derive(Clone)]
pub(super) struct State {
    step: u64,
    around: Rect,
    pub(super) count: u64,
    pub(super) pixels: u64,
    /// Those that were not driven since driven neighbours left their residue.
    pub(super) rim_px: u64,
    pub(super) worst_l: f64,
    weight: f64,
    pub(super) origin: String,
    help: String,
}

impl Group {
    /// The step where the group is worst, in words, where that is not the one where it begins: figures are of that step.
    pub(super) fn at_its_worst(&self) -> String {
        let step = self.worst.step;
        if step == self.place.step { String::new() } else { format!(" at its worst (step {step})") }
    }
}

/// As many of the ghosts that appear in a step are followed, the largest ones; all are counted.
const MOST: usize = 64;
/// A ghost that comes back after no more steps than this is the same one: a key that is pressed and let go.
const GRACE: u64 = 3;

impl<'p> GhostGroups<'p> {
    /// Follows the ghosts of a kind from a difference on, L*.
    pub(super) fn new(plan: &'p Plan, kind: Kind, limit_l: f64, words: Words) -> Self {
        Self { plan, kind, limit_l, words, modes: ResidueModes::default(), open: Vec::new(), last: Vec::new() }
    }

    /// Sees a step; reports the groups that are over.
    pub(super) fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.modes.see(step);
        let kind = self.kind;
        let ghosts = || step.ghosts.iter().filter(|ghost| kind.takes(ghost));
        if ghosts().eq(&self.last) {
            // Those that were seen a step ago are seen still.
            let before = step.planned.index.saturating_sub(1);
            let is_seen = !self.last.is_empty();
            let seen = self.open.iter_mut().filter(|group| is_seen && group.place.last_step == before);
            seen.for_each(|group| group.place.last_step = step.planned.index);
            return;
        }
        let now = ghosts().copied().collect();
        let over = self.follow(step);
        self.last = now;
        self.report(over, sink);
    }

    /// Reports the groups that are still open.
    pub(super) fn end(&mut self, sink: &mut Sink) {
        let open = std::mem::take(&mut self.open);
        self.report(open, sink);
    }

    fn report(&self, groups: Vec<Group>, sink: &mut Sink) {
        for group in groups {
            let observation = (self.words.observation)(&group, self);
            sink.report(group.place, observation);
        }
    }

    /// What is seen of a group; `counted` is what its members are called among the figures.
    pub(super) fn observation(&self, group: &Group, message: String, counted: &'static str) -> Observation {
        let display = &self.plan.display;
        let State { around, count, pixels, worst_l, ref help, .. } = group.worst;
        Observation {
            rect: Some(around),
            message,
            help: help.clone(),
            figures: vec![
                ("worst_l", worst_l),
                ("limit_l", self.limit_l),
                (counted, count as f64),
                ("px", pixels as f64),
                ("mm2", display.area_mm2(pixels)),
            ],
            margin: self.modes.margin(worst_l, self.limit_l, display),
            // What every round of a repetition leaves in a place is reported once.
            key: wording::rect(group.appeared),
            ..Observation::default()
        }
    }

    fn follow(&mut self, step: &PlayedStep<'_>) -> Vec<Group> {
        let (now, plan, kind, origin) = (step.planned.index, self.plan, self.kind, self.words.origin);
        let over = self.open.extract_if(.., |group| group.place.last_step + GRACE < now).collect();
        let mut fresh = Vec::new();
        let mut seen: Vec<Vec<&Ghost>> = vec![Vec::new(); self.open.len()];
        for ghost in step.ghosts.iter().filter(|ghost| kind.takes(ghost)) {
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
                && let Some(worst) = state(step, &ghosts, plan, origin)
            {
                group.worst = worst;
                group.rects = largest(ghosts);
            }
        }
        if let Some(worst) = state(step, &fresh, plan, origin) {
            let (place, appeared) = (Where::of(step, StepField::Updates), worst.around);
            self.open.push(Group { place, rects: largest(fresh), appeared, worst });
        }
        over
    }
}

/// Some ghosts as they are at a step; nothing of none.
fn state(step: &PlayedStep<'_>, ghosts: &[&Ghost], plan: &Plan, origin: Origin) -> Option<State> {
    let worst = ghosts.iter().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))?;
    let around = ghosts.iter().map(|ghost| ghost.rect).reduce(Rect::around)?;
    Some(State {
        step: step.planned.index,
        around,
        count: ghosts.len() as u64,
        pixels: pixels(ghosts),
        rim_px: ghosts.iter().map(|ghost| ghost.rim_px).sum(),
        worst_l: worst.worst_l,
        weight: weight(ghosts),
        origin: origin(worst, step, plan),
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
