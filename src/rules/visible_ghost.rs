//! `visible-ghost`: a place that looks visibly lighter or darker than the rest of its level.

use super::{Rule, Setup, remedy, words};
use crate::{
    finding::{Sight, Sink, StepField, Where},
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
}

/// Ghosts that appeared in one step.
#[derive(Clone)]
struct Group {
    place: Where,
    /// The boxes of the largest of them.
    rects: Vec<Rect>,
    around: Rect,
    count: u64,
    pixels: u64,
    worst_l: f64,
    origin: String,
    help: String,
}

/// As many of the ghosts that appear in a step are followed, the largest ones; all are counted.
const MOST: usize = 64;
/// A ghost that comes back after no more steps than this is the same one: a key that is pressed and let go.
const GRACE: u64 = 3;

impl<'p> VisibleGhost<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self { limit_l: setup.limit("limit_l"), plan: setup.plan, open: Vec::new(), last: Vec::new() }
    }

    fn follow(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let now = step.planned.index;
        let over: Vec<Group> = self.open.extract_if(.., |group| group.place.last_step + GRACE < now).collect();
        for group in over {
            self.tell(group, sink);
        }
        let mut fresh = Vec::new();
        for ghost in step.ghosts {
            let known = self.open.iter_mut().find(|group| group.rects.iter().any(|rect| rect.overlaps(ghost.rect)));
            match known {
                Some(group) => {
                    group.place.last_step = now;
                    group.worst_l = group.worst_l.max(ghost.worst_l);
                }
                // One that is too small to be followed may have been there before.
                None if self.last.iter().any(|last| last.rect.overlaps(ghost.rect)) => {}
                None => fresh.push(ghost),
            }
        }
        if let Some(group) = self.appear(step, fresh) {
            self.open.push(group);
        }
    }

    fn appear(&self, step: &PlayedStep<'_>, mut ghosts: Vec<&Ghost>) -> Option<Group> {
        ghosts.sort_by_key(|ghost| std::cmp::Reverse(ghost.pixels));
        let worst = ghosts.iter().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))?;
        let around = ghosts.iter().map(|ghost| ghost.rect).reduce(Rect::around)?;
        Some(Group {
            place: Where::of(step, StepField::Updates),
            rects: ghosts.iter().take(MOST).map(|ghost| ghost.rect).collect(),
            around,
            count: ghosts.len() as u64,
            pixels: ghosts.iter().map(|ghost| ghost.pixels).sum(),
            worst_l: worst.worst_l,
            origin: remedy::origin(worst, step, self.plan),
            help: remedy::removal(worst, around, step, self.plan),
        })
    }

    fn tell(&self, group: Group, sink: &mut Sink) {
        let display = &self.plan.display;
        let (worst, area) = (words::figure(group.worst_l), words::area(group.pixels, display));
        let message = if group.count == 1 {
            format!("a ghost of {worst} L* on {area}: {}", group.origin)
        } else {
            format!("{} ghosts of up to {worst} L* on {area}; of the strongest: {}", group.count, group.origin)
        };
        let sight = Sight {
            rect: Some(group.around),
            message,
            help: group.help,
            figures: vec![
                ("worst_l", group.worst_l),
                ("limit_l", self.limit_l),
                ("ghosts", group.count as f64),
                ("px", group.pixels as f64),
                ("mm2", display.area_mm2(group.pixels)),
            ],
            // A ghost that every round of a repetition leaves in a place is told once.
            key: words::rect(group.around),
            ..Sight::default()
        };
        sink.report(group.place, sight);
    }
}

impl Rule for VisibleGhost<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
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
