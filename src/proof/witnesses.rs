//! Walks that are likely to reach the largest figures: the shortest in a cell whose count or residue reaches them.
//!
//! A walk is looked for by the number of its moves: the best of every state after one move, after two, and so on.

use super::{
    answered::Answered,
    behaviour::{Behaviour, Extreme, NONE},
    proving::Proving,
    queues::QueueWalk,
    result::Witness,
    states::{States, Ways},
    waits::Answers,
};

/// As many passings are looked at in all.
const MOST_WORK: usize = 60_000_000;

/// The most moves of a walk.
const MOST_MOVES: usize = 400;

/// How often a loop that grows for ever is walked.
const ROUNDS: usize = 31;

/// What a walk is looked for: the figure that it must reach, and where.
pub(super) struct Wanted<'w> {
    pub(super) at_least: f64,
    /// At which states; everywhere if there is none.
    pub(super) node: Option<u32>,
    /// What comes after a passing's effect.
    pub(super) after: &'w dyn Fn(&Behaviour<'_>, u32, f64) -> f64,
    /// Whether larger is worse.
    pub(super) extreme: Extreme,
    /// Whether a state that is shown counts.
    pub(super) shows: &'w dyn Fn(&Behaviour<'_>, u32) -> bool,
}

/// The shortest walk of a cell that reaches a figure.
pub(super) fn shortest(
    states: &States,
    behaviour: &mut Behaviour<'_>,
    ways: &Ways<'_>,
    wanted: &Wanted<'_>,
) -> Option<Witness> {
    let sign = if wanted.extreme == Extreme::Highest { 1.0 } else { -1.0 };
    let reaches = |behaviour: &Behaviour<'_>, state: usize, value: f64| {
        value * sign >= wanted.at_least * sign
            && wanted.node.is_none_or(|node| states.node[state] == node)
            && (wanted.shows)(behaviour, states.shown[state])
    };
    let mut best = vec![f64::NEG_INFINITY; states.count()];
    let mut starts = vec![NONE; states.count()];
    for initial in &states.initial {
        let value = sign * (wanted.after)(behaviour, initial.effect, 0.0);
        let at = initial.state as usize;
        if value > best[at] {
            (best[at], starts[at]) = (value, initial.start);
        }
    }
    let mut layers: Vec<Vec<u32>> = Vec::new();
    let most_layers = (MOST_WORK / states.passings.len().max(1)).clamp(1, MOST_MOVES);
    loop {
        let found = (0..states.count())
            .find(|state| best[*state].is_finite() && reaches(behaviour, *state, sign * best[*state]));
        if let Some(state) = found {
            return Some(walked_back(states, behaviour, ways, &layers, &starts, state, sign * best[state]));
        }
        if layers.len() == most_layers {
            return None;
        }
        let mut next = vec![f64::NEG_INFINITY; states.count()];
        let mut over = vec![NONE; states.count()];
        for state in (0..states.count()).filter(|state| best[*state].is_finite()) {
            for passing in states.leaving(state) {
                let one = states.passings[passing];
                let value = sign * (wanted.after)(behaviour, one.effect, sign * best[state]);
                if value > next[one.to as usize] {
                    next[one.to as usize] = value;
                    over[one.to as usize] = passing as u32;
                }
            }
        }
        best = next;
        layers.push(over);
    }
}

fn walked_back(
    states: &States,
    behaviour: &mut Behaviour<'_>,
    ways: &Ways<'_>,
    layers: &[Vec<u32>],
    starts: &[u32],
    end: usize,
    figure: f64,
) -> Witness {
    let mut way = Vec::new();
    let mut at = end;
    for layer in layers.iter().rev() {
        let passing = layer[at] as usize;
        way.push(states.edge(ways, behaviour, passing));
        at = states.source(passing);
    }
    way.reverse();
    Witness {
        start: starts[at] as usize,
        at: states.node[at] as usize,
        way,
        around: Vec::new(),
        rounds: 0,
        rest: Vec::new(),
        figure,
    }
}

/// As many moves are given whose own updates may not answer, each with two walks at most.
const MOST_UNSURE: usize = 4;
/// As many starts that bring one screen are tried for one way on from there.
pub const MOST_STARTS: usize = 4;

/// Walks over moves of people whose own updates may show too little: on to the screen before, which takes the change back, and
/// on over any other move.
pub(super) fn to_what_is_unsure(proving: Proving<'_>, ways: &Ways<'_>, answers: Answers<'_>) -> Vec<Witness> {
    let (flow, graph) = (proving.flow, proving.graph);
    let mut moves: Vec<usize> = Vec::new();
    let mut found = Vec::new();
    for (number, edge) in graph.edges.iter().enumerate() {
        let is_one = flow.moves[edge.by].cause.is_person() && answers.of(number) == Answered::Unsure;
        if !is_one || moves.contains(&edge.by) || moves.len() == MOST_UNSURE {
            continue;
        }
        moves.push(edge.by);
        let mut way = graph.walk_to(edge.from);
        let at = way.first().map_or(edge.from, |first| graph.edges[*first].from);
        way.push(number);
        let screen = |node: usize| graph.nodes[node].screen(flow);
        let back = graph.leaving(edge.to).find(|next| screen(graph.edges[*next].to) == screen(edge.from));
        let other = graph.leaving(edge.to).find(|next| Some(*next) != back);
        let nexts = [back, other].into_iter().flatten().map(Some);
        let nexts: Vec<Option<usize>> = nexts.chain((graph.leaving(edge.to).is_empty()).then_some(None)).collect();
        let starts = ways.starts.iter().filter(|start| start.node == at).take(MOST_STARTS);
        found.extend(starts.flat_map(|start| nexts.iter().map(|next| (start.start, *next))).map(|(start, next)| {
            Witness {
                start,
                at,
                way: way.iter().copied().chain(next).collect(),
                around: Vec::new(),
                rounds: 0,
                rest: Vec::new(),
                figure: f64::INFINITY,
            }
        }));
    }
    found
}

/// The walk to a queue and over one edge more.
pub(super) fn of_queue(walk: QueueWalk, edge: usize, ways: &Ways<'_>, figure: f64) -> Witness {
    let start = ways.starts[walk.start];
    let rounds = if walk.around.is_empty() { 0 } else { ROUNDS };
    let mut witness = Witness {
        start: start.start,
        at: start.node,
        way: walk.way,
        around: walk.around,
        rounds,
        rest: walk.rest,
        figure,
    };
    if witness.around.is_empty() {
        witness.way.push(edge);
    } else {
        witness.rest.push(edge);
    }
    witness
}
