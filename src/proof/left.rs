//! What moves leave behind: pixels that show an old level because no window of the move contained them, and after how many
//! moves they are right again.
//!
//! Exact, by the states of each cell.

use std::collections::{BTreeMap, VecDeque};

use super::{
    behaviour::{Behaviour, NONE},
    longest_paths::Parts,
    result::{Bound, LeftBehind, Witness},
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
    /// The longest of them: how many moves, the number of the cell, and a walk.
    longest: Option<(u32, usize, Witness)>,
}

/// As many moves are as good as no end.
const ENDLESS: u32 = u32::MAX;

/// How often a loop that keeps something left behind is walked.
const ROUNDS: usize = 31;

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
        (number, pixels, rect): (usize, u64, Rect),
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
        let until = Until::new(states, behaviour);
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
        self.note_longest(&until, states, behaviour, ways, (number, &found));
        let mut last = None;
        for (by, state) in found {
            let counted = if last == Some(by) { 0 } else { pixels };
            last = Some(by);
            self.add_place(by, states.node[state as usize], counted, rect, until.of(state));
        }
    }

    /// Keeps a walk to what stays longest of a cell, if nothing stays longer of another one.
    fn note_longest(
        &mut self,
        until: &Until,
        states: &States,
        behaviour: &mut Behaviour<'_>,
        ways: &Ways<'_>,
        (number, found): (usize, &[(By, u32)]),
    ) {
        let moves = |state: u32| until.longest[state as usize].unwrap_or(ENDLESS);
        // Of several the first.
        let Some((by, state)) = found.iter().rev().max_by_key(|(_, state)| moves(*state)).copied() else { return };
        if self.longest.as_ref().is_some_and(|known| !is_longer((moves(state), number), (known.0, known.1))) {
            return;
        }
        let Some((start, mut way)) = way_to(by, state, states, behaviour, ways) else { return };
        let (rest, around) = until.stay(state, states, behaviour, ways);
        let rounds = if around.is_empty() { 0 } else { ROUNDS };
        way.extend(rest);
        let figure = until.longest[state as usize].map_or(f64::INFINITY, f64::from);
        let (start, at) = (ways.starts[start].start, ways.starts[start].node);
        self.longest =
            Some((moves(state), number, Witness { start, at, way, around, rounds, rest: Vec::new(), figure }));
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
        if let Some(one) = other.longest
            && self.longest.as_ref().is_none_or(|known| is_longer((one.0, one.1), (known.0, known.1)))
        {
            self.longest = Some(one);
        }
        for (by, place) in other.places {
            let LeftBehind { node, pixels, rect, shortest, longest, .. } = place;
            self.add_place(by, node as u32, pixels, rect, [shortest, longest]);
        }
    }

    /// All places in order, the largest number of moves until something is right again, and a walk on which it takes so many.
    pub(super) fn into_places(self) -> (Vec<LeftBehind>, Bound, Option<Witness>) {
        let places: Vec<LeftBehind> = self.places.into_values().collect();
        let longest = places.iter().map(|place| place.longest).fold(Bound::Proved(0.0), Bound::or_worse);
        (places, longest, self.longest.map(|(.., walk)| walk))
    }
}

/// Whether one cell stays longer than another; of equals the one with the lower number, whichever was looked at first.
fn is_longer(one: (u32, usize), other: (u32, usize)) -> bool {
    (one.0, std::cmp::Reverse(one.1)) > (other.0, std::cmp::Reverse(other.1))
}

/// The way from a start, by its number in the list of starts, over an edge that leaves something, to the state that it leaves.
fn way_to(
    by: By,
    state: u32,
    states: &States,
    behaviour: &mut Behaviour<'_>,
    ways: &Ways<'_>,
) -> Option<(usize, Vec<usize>)> {
    let mut before = vec![NONE; states.count()];
    let mut starts = vec![NONE; states.count()];
    let mut open: VecDeque<u32> = VecDeque::new();
    for initial in &states.initial {
        let at = initial.state as usize;
        let is_wanted = matches!(by, By::Start(start, _) if start == initial.start && initial.state == state);
        if is_wanted {
            return Some((start_at(ways, initial.start, states.node[at])?, Vec::new()));
        }
        if starts[at] == NONE {
            starts[at] = initial.start;
            open.push_back(initial.state);
        }
    }
    while let Some(at) = open.pop_front() {
        for passing in states.leaving(at as usize) {
            let to = states.passings[passing].to;
            let edge = if to == state { states.edge(ways, behaviour, passing) as u32 } else { NONE };
            if by == By::Edge(edge) {
                return walked_to(at, passing, &before, &starts, states, behaviour, ways);
            }
            if before[to as usize] == NONE && starts[to as usize] == NONE {
                before[to as usize] = passing as u32;
                open.push_back(to);
            }
        }
    }
    None
}

/// The way to a state and over one passing more.
fn walked_to(
    mut at: u32,
    last: usize,
    before: &[u32],
    starts: &[u32],
    states: &States,
    behaviour: &mut Behaviour<'_>,
    ways: &Ways<'_>,
) -> Option<(usize, Vec<usize>)> {
    let mut way = vec![states.edge(ways, behaviour, last)];
    while starts[at as usize] == NONE {
        let passing = before[at as usize] as usize;
        way.push(states.edge(ways, behaviour, passing));
        at = states.source(passing) as u32;
    }
    way.reverse();
    Some((start_at(ways, starts[at as usize], states.node[at as usize])?, way))
}

/// The place in the list of starts of one that brings a node.
fn start_at(ways: &Ways<'_>, start: u32, node: u32) -> Option<usize> {
    ways.starts.iter().position(|one| one.start == start as usize && one.node == node as usize)
}

/// After how many moves a cell that was left behind is right again.
struct Until {
    /// By state; `None` if no walk brings it right.
    shortest: Vec<Option<u32>>,
    /// By state; `None` if some walk never brings it right.
    longest: Vec<Option<u32>>,
}

impl Until {
    fn new(states: &States, behaviour: &Behaviour<'_>) -> Self {
        let is_wrong = |effect: u32| !behaviour.effects[effect as usize].is_right;
        let parts = Parts::new(states, is_wrong);
        let mut until = Self { shortest: vec![None; states.count()], longest: vec![None; states.count()] };
        // From the ends backward: every part after those to which it leads.
        let in_order: Vec<&[u32]> = parts.in_order().collect();
        for part in in_order.into_iter().rev() {
            for state in part.iter().map(|state| *state as usize) {
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
                    let is_wrong = !behaviour.effects[one.effect as usize].is_right;
                    if is_wrong { self.shortest[one.to as usize].map(|moves| moves + 1) } else { Some(1) }
                };
                let best = states.leaving(state).filter_map(after).min();
                if best.is_some() && best != self.shortest[state] {
                    self.shortest[state] = best;
                    has_changed = true;
                }
            }
        }
    }

    /// The edges on which what is left behind at a state stays so for longest, and those of a loop on which it stays for ever.
    fn stay(
        &self,
        state: u32,
        states: &States,
        behaviour: &mut Behaviour<'_>,
        ways: &Ways<'_>,
    ) -> (Vec<usize>, Vec<usize>) {
        let mut edges: Vec<usize> = Vec::new();
        let mut seen: Vec<usize> = vec![state as usize];
        loop {
            let at = seen[seen.len() - 1];
            let Some(passing) = self.longest_step(at, states, behaviour) else { return (edges, Vec::new()) };
            edges.push(states.edge(ways, behaviour, passing));
            let one = states.passings[passing];
            if behaviour.effects[one.effect as usize].is_right {
                return (edges, Vec::new());
            }
            if let Some(first) = seen.iter().position(|known| *known == one.to as usize) {
                let around = edges.split_off(first);
                return (edges, around);
            }
            seen.push(one.to as usize);
        }
    }

    /// The passing behind which it takes longest until what is left at a state is right; none where no move leads on.
    fn longest_step(&self, at: usize, states: &States, behaviour: &Behaviour<'_>) -> Option<usize> {
        let moves = |passing: &usize| {
            let one = states.passings[*passing];
            let is_wrong = !behaviour.effects[one.effect as usize].is_right;
            if is_wrong { self.longest[one.to as usize].map_or(ENDLESS, |moves| moves + 1) } else { 1 }
        };
        states.leaving(at).rev().max_by_key(moves)
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
        let moves = if behaviour.effects[one.effect as usize].is_right {
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
