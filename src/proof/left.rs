//! What moves leave behind: pixels that show an old level because no window of the move contained them, and after how many
//! moves they are right again.
//!
//! Exact, by the states of each cell.

use std::collections::BTreeMap;

use super::{
    behaviour::Behaviour,
    longest_paths::Parts,
    result::{Bound, LeftBehind},
    states::{States, Ways},
};
use crate::geometry::Rect;

/// What is left behind, collected cell by cell.
#[derive(Debug, Default)]
pub(super) struct Left {
    /// By node, the pixels of all cells that some walk leaves behind there.
    pub(super) pixels: BTreeMap<u32, u64>,
    /// By edge, or by start and node.
    places: BTreeMap<By, LeftBehind>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum By {
    Start(u32, u32),
    Edge(u32),
}

impl Left {
    /// Adds what is left of a cell.
    pub(super) fn add(
        &mut self,
        states: &States,
        behaviour: &mut Behaviour<'_>,
        ways: &Ways<'_>,
        pixels: u64,
        rect: Rect,
    ) {
        let is_left = |effect: u32| behaviour.effects[effect as usize].is_left;
        if !behaviour.effects.iter().any(|effect| effect.is_left) {
            return;
        }
        let mut may_be_left = vec![false; states.count()];
        let mut may_be_right = vec![false; states.count()];
        let initial = states.initial.iter().map(|initial| (initial.state, initial.effect));
        let all = initial.chain(states.passings.iter().map(|passing| (passing.to, passing.effect)));
        for (state, effect) in all {
            let marks = if is_left(effect) { &mut may_be_left } else { &mut may_be_right };
            marks[state as usize] = true;
        }
        let mut nodes: Vec<u32> =
            (0..states.count()).filter(|state| may_be_left[*state]).map(|state| states.node[state]).collect();
        nodes.sort_unstable();
        nodes.dedup();
        for node in nodes {
            *self.pixels.entry(node).or_default() += pixels;
        }
        let until = Until::new(states, behaviour, &may_be_left);
        let mut found: Vec<(By, u32)> = Vec::new();
        for initial in states.initial.iter().filter(|initial| behaviour.effects[initial.effect as usize].is_left) {
            found.push((By::Start(initial.start, states.node[initial.state as usize]), initial.state));
        }
        for source in (0..states.count()).filter(|source| may_be_right[*source]) {
            for passing in states.leaving(source) {
                let one = states.passings[passing];
                if behaviour.effects[one.effect as usize].is_left {
                    found.push((By::Edge(states.edge(ways, behaviour, passing) as u32), one.to));
                }
            }
        }
        found.sort_unstable();
        found.dedup();
        let mut last = None;
        for (by, state) in found {
            let counted = if last == Some(by) { 0 } else { pixels };
            last = Some(by);
            self.add_place(by, states.node[state as usize], counted, rect, until.of(state));
        }
    }

    fn add_place(&mut self, by: By, node: u32, pixels: u64, rect: Rect, [shortest, longest]: [Bound; 2]) {
        let (edge, start) = match by {
            By::Edge(edge) => (Some(edge as usize), None),
            By::Start(start, _) => (None, Some(start as usize)),
        };
        let known = self.places.entry(by).or_insert(LeftBehind {
            edge,
            start,
            node: node as usize,
            pixels: 0,
            rect,
            shortest,
            longest,
        });
        known.pixels += pixels;
        known.rect = known.rect.around(rect);
        known.shortest = match (known.shortest, shortest) {
            (Bound::Proved(one), Bound::Proved(other)) => Bound::Proved(one.min(other)),
            (Bound::Proved(one), _) | (_, Bound::Proved(one)) => Bound::Proved(one),
            (other, _) => other,
        };
        known.longest = known.longest.or_worse(longest);
    }

    /// Takes in what another part of the work found.
    pub(super) fn join(&mut self, other: Self) {
        for (node, pixels) in other.pixels {
            *self.pixels.entry(node).or_default() += pixels;
        }
        for (by, place) in other.places {
            let LeftBehind { node, pixels, rect, shortest, longest, .. } = place;
            self.add_place(by, node as u32, pixels, rect, [shortest, longest]);
        }
    }

    /// All places in order, and the largest number of moves until something is right again.
    pub(super) fn into_places(self) -> (Vec<LeftBehind>, Bound) {
        let places: Vec<LeftBehind> = self.places.into_values().collect();
        let longest = places.iter().map(|place| place.longest).fold(Bound::Proved(0.0), Bound::or_worse);
        (places, longest)
    }
}

/// After how many moves a cell that was left behind is right again.
struct Until {
    /// By state; `None` if no walk brings it right.
    shortest: Vec<Option<u32>>,
    /// By state; `None` if some walk never brings it right.
    longest: Vec<Option<u32>>,
}

impl Until {
    fn new(states: &States, behaviour: &Behaviour<'_>, may_be_left: &[bool]) -> Self {
        let is_left = |effect: u32| behaviour.effects[effect as usize].is_left;
        let parts = Parts::new(states, is_left);
        let mut until = Self { shortest: vec![None; states.count()], longest: vec![None; states.count()] };
        // From the ends backward: every part after those to which it leads.
        let in_order: Vec<&[u32]> = parts.in_order().collect();
        for part in in_order.into_iter().rev() {
            for state in part.iter().map(|state| *state as usize).filter(|state| may_be_left[*state]) {
                until.longest[state] = longest(state, states, behaviour, &parts, &until.longest);
            }
        }
        until.work_out_shortest(states, behaviour);
        until
    }

    fn work_out_shortest(&mut self, states: &States, behaviour: &Behaviour<'_>) {
        let mut has_changed = true;
        while has_changed {
            has_changed = false;
            for state in 0..states.count() {
                let after = |passing: usize| {
                    let one = states.passings[passing];
                    let is_left = behaviour.effects[one.effect as usize].is_left;
                    if is_left { self.shortest[one.to as usize].map(|moves| moves + 1) } else { Some(1) }
                };
                let best = states.leaving(state).filter_map(after).min();
                if best.is_some() && best != self.shortest[state] {
                    self.shortest[state] = best;
                    has_changed = true;
                }
            }
        }
    }

    fn of(&self, state: u32) -> [Bound; 2] {
        [&self.shortest, &self.longest]
            .map(|moves| moves[state as usize].map_or(Bound::Unbounded, |moves| Bound::Proved(moves.into())))
    }
}

/// The most moves from a state until it is right; `None` if a cycle keeps it, or a walk ends before.
fn longest(
    state: usize,
    states: &States,
    behaviour: &Behaviour<'_>,
    parts: &Parts,
    known: &[Option<u32>],
) -> Option<u32> {
    let mut most = None;
    for passing in states.leaving(state) {
        let one = states.passings[passing];
        let to = one.to as usize;
        let moves = if !behaviour.effects[one.effect as usize].is_left {
            1
        } else if parts.of(to) == parts.of(state) {
            return None;
        } else {
            known[to]? + 1
        };
        most = most.max(Some(moves));
    }
    most
}
