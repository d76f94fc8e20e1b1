//! The walk through a graph that is nearest to a list of steps: with the fewest steps that were added, moves that were left
//! out, and moves that were made in another way. Knows numbers, not what they stand for.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BinaryHeap},
    ops::{Add, Range},
};

use super::align::TooDifferent;

/// The ways between some nodes, and what it costs to take one as a step.
pub(super) struct Ways<'w> {
    /// The number of the first way that leaves each node, and at the end how many there are.
    pub(super) first: Vec<usize>,
    /// Where each way leads.
    pub(super) to: Vec<usize>,
    /// Whether nothing is seen when it is taken.
    pub(super) is_silent: Vec<bool>,
    /// Where all walks begin.
    pub(super) start: usize,
    /// How many steps there are.
    pub(super) steps: usize,
    /// How many steps in a row may be one, from each one on; at least one.
    pub(super) most: Vec<usize>,
    /// What it costs that a way was taken as so many steps from one on; `None` if it cannot have been.
    pub(super) cost: &'w dyn Fn(usize, usize, usize) -> Option<Cost>,
    /// How many edits the steps from each one on cost at least, whatever the walk; at the end nothing.
    pub(super) least: Vec<u32>,
}

/// How far a walk is from the steps. The edits decide; of walks with as many, the more alike one is taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Cost {
    pub(super) edits: u32,
    pub(super) unlike: u32,
}

impl Add for Cost {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { edits: self.edits + other.edits, unlike: self.unlike + other.unlike }
    }
}

/// A move that was left out. Of explanations with as many edits, an update too many or too few in a step is simpler, and
/// another update or a step that was added is less simple: a device loses a move more often (common practice, no source).
const LEFT_OUT: Cost = Cost { edits: 1, unlike: 4 };
/// A step that was added.
const ADDED: Cost = Cost { edits: 1, unlike: 8 };
/// Steps that are joined, and still differ from the move: no simpler than a step that was added.
pub(super) const JOINED_IN_VAIN: u32 = ADDED.unlike;
/// An update too many or too few in a step that belongs to a move.
pub(super) const UNPAIRED_UPDATE: u32 = 2;
/// An update in another mode or on another window.
pub(super) const OTHER_UPDATE: u32 = 6;

/// A part of the walk beside the steps, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Link {
    /// This way was taken as so many steps from this one on.
    Both(usize, usize, usize),
    /// This way was left out before this step.
    LeftOut(usize, usize),
    /// No way was taken as this step.
    Added(usize),
}

/// The ways looked at in one search before it is given up.
const MOST_LOOKS: u64 = 400_000_000;
/// The same of a search for something better than what was found.
const MOST_LOOKS_FOR_BETTER: u64 = 60_000_000;
/// The states of walks that are kept in one search.
const MOST_KEPT: usize = 4_000_000;
/// How many edits a walk may be behind the best one at any step, in one search after the other; the last one finds the
/// nearest walk of all.
const SLACKS: [u32; 3] = [2, 8, u32::MAX];

impl Ways<'_> {
    /// The nearest walk. In a graph that is too large for the whole search, it is the nearest of those that are never more
    /// than two edits behind the best one.
    pub(super) fn nearest(&self) -> Result<Vec<Link>, TooDifferent> {
        let mut best: Option<Found> = None;
        for slack in SLACKS {
            let below = best.as_ref().map_or(u32::MAX, |found| found.edits);
            if below == self.least[0] {
                break;
            }
            let looks = if best.is_none() { MOST_LOOKS } else { MOST_LOOKS_FOR_BETTER };
            match (Search { ways: self, slack, below, looks, kept: MOST_KEPT }).run() {
                Ok(found) => best = found.or(best),
                Err(Spent) => break,
            }
        }
        best.map(|found| found.links).ok_or(TooDifferent)
    }

    fn leaving(&self, node: usize) -> Range<usize> {
        self.first[node]..self.first[node + 1]
    }
}

/// A walk that was found.
struct Found {
    edits: u32,
    links: Vec<Link>,
}

/// A search has looked at more than it may.
struct Spent;

/// A search for a walk with fewer edits than were found before.
struct Search<'w> {
    ways: &'w Ways<'w>,
    slack: u32,
    below: u32,
    looks: u64,
    kept: usize,
}

/// A node at which a walk may be when a step is over.
struct Arrival {
    node: usize,
    cost: Cost,
    /// The arrival before the steps that it takes.
    from: usize,
    /// The ways that were left out or silent on the way from there.
    before: Vec<usize>,
    /// The way that was taken as the steps; `None` if a step was added.
    by: Option<usize>,
    /// How many steps that were.
    taken: usize,
}

/// The cheapest way to arrive at a node with so many steps, and the node where it begins.
type Arrivals = BTreeMap<(usize, usize), (Cost, usize, usize)>;

/// How a node was reached without a step.
#[derive(Clone, Copy)]
struct Reached {
    cost: Cost,
    /// The arrival at the step before.
    from: usize,
    /// The way that leads here, and the node before it; `None` at the arrival itself.
    over: Option<(usize, usize)>,
}

impl Search<'_> {
    /// The walk; nothing if there is none with fewer edits.
    fn run(mut self) -> Result<Option<Found>, Spent> {
        let start =
            Arrival { node: self.ways.start, cost: Cost::default(), from: 0, before: Vec::new(), by: None, taken: 0 };
        let mut layers = vec![vec![start]];
        // Those that take several steps, by the step after which they are there.
        let mut later: Vec<Vec<Arrival>> = Vec::new();
        later.resize_with(self.ways.steps + 1, Vec::new);
        let mut reached: Vec<Option<Reached>> = vec![None; self.ways.first.len()];
        let mut touched = Vec::new();
        for step in 0..self.ways.steps {
            let last = &layers[step];
            let next = self.layer(step, last, &mut later, (&mut reached, &mut touched))?;
            touched.drain(..).for_each(|node: usize| reached[node] = None);
            if next.is_empty() && later[step + 2..].iter().all(Vec::is_empty) {
                return Ok(None);
            }
            self.kept = self.kept.checked_sub(next.len()).ok_or(Spent)?;
            layers.push(next);
        }
        Ok(self.traced(&layers))
    }

    /// The arrivals after a step, from those before it; those that take more steps are put to `later`.
    fn layer(
        &mut self,
        step: usize,
        last: &[Arrival],
        later: &mut [Vec<Arrival>],
        (reached, touched): (&mut [Option<Reached>], &mut Vec<usize>),
    ) -> Result<Vec<Arrival>, Spent> {
        let ways = self.ways;
        let mut heap = BinaryHeap::new();
        let mut reach = |heap: &mut BinaryHeap<_>, reached: &mut [Option<Reached>], node: usize, new: Reached| {
            let known = &mut reached[node];
            if known.is_none_or(|known| new.cost < known.cost) {
                if known.is_none() {
                    touched.push(node);
                }
                *known = Some(new);
                heap.push(Reverse((new.cost, node)));
            }
        };
        for (from, arrival) in last.iter().enumerate() {
            reach(&mut heap, reached, arrival.node, Reached { cost: arrival.cost, from, over: None });
        }
        let in_a_row = std::mem::take(&mut later[step + 1]);
        let stays = last.iter().map(|arrival| arrival.cost + ADDED);
        let best = stays.chain(in_a_row.iter().map(|arrival| arrival.cost)).min();
        // Where nothing has arrived, nothing is known of what is too far.
        let mut best = best.unwrap_or(Cost { edits: u32::MAX, unlike: 0 });
        let mut arrivals = Arrivals::new();
        while let Some(Reverse((cost, node))) = heap.pop() {
            let Some(here) = reached[node].filter(|here| here.cost == cost) else { continue };
            if self.is_too_far(cost, best, step) {
                break;
            }
            let edges = ways.leaving(node);
            self.looks = self.looks.checked_sub(edges.len() as u64 + 1).ok_or(Spent)?;
            for edge in edges {
                let to = ways.to[edge];
                let over = |cost: Cost| Reached { cost, from: here.from, over: Some((edge, node)) };
                if ways.is_silent[edge] {
                    reach(&mut heap, reached, to, over(cost));
                    continue;
                }
                for taken in 1..=ways.most[step] {
                    let Some(more) = (ways.cost)(edge, step, taken) else { continue };
                    let there = cost + more;
                    if taken == 1 {
                        best = best.min(there);
                    }
                    let known = arrivals.entry((taken, to)).or_insert((there, edge, node));
                    if there < known.0 {
                        *known = (there, edge, node);
                    }
                }
                reach(&mut heap, reached, to, over(cost + LEFT_OUT));
            }
        }
        let came = arrivals.into_iter().map(|((taken, node), (cost, edge, before))| {
            let (from, before) = way_to(before, reached);
            Arrival { node, cost, from, before, by: Some(edge), taken }
        });
        let (came, rows): (Vec<Arrival>, Vec<Arrival>) = came.partition(|arrival| arrival.taken == 1);
        for row in rows {
            later[step + row.taken].push(row);
        }
        let mut by_node: BTreeMap<usize, Arrival> = BTreeMap::new();
        for arrival in came.into_iter().chain(in_a_row) {
            let is_better = by_node.get(&arrival.node).is_none_or(|known| arrival.cost < known.cost);
            if is_better && !self.is_too_far(arrival.cost, best, step + 1) {
                by_node.insert(arrival.node, arrival);
            }
        }
        let mut next: Vec<Arrival> = by_node.into_values().collect();
        // A walk that stays where it is, unless another one gets there for less; those that moved are in order of nodes.
        let moved = next.len();
        for (from, arrival) in last.iter().enumerate() {
            let cost = arrival.cost + ADDED;
            let is_own = reached[arrival.node].is_some_and(|here| here.over.is_none() && here.from == from);
            let same = next[..moved].binary_search_by_key(&arrival.node, |other| other.node);
            let is_worse = same.is_ok_and(|same| next[same].cost <= cost);
            if is_own && !is_worse && !self.is_too_far(cost, best, step + 1) {
                next.push(Arrival { node: arrival.node, cost, from, before: Vec::new(), by: None, taken: 1 });
            }
        }
        Ok(next)
    }

    /// Whether walks of this cost before a step are not looked at.
    fn is_too_far(&self, cost: Cost, best: Cost, step: usize) -> bool {
        cost.edits > best.edits.saturating_add(self.slack) || cost.edits + self.ways.least[step] >= self.below
    }

    fn traced(&self, layers: &[Vec<Arrival>]) -> Option<Found> {
        let last = layers.last()?;
        let mut at = (0..last.len()).min_by_key(|at| last[*at].cost)?;
        let edits = last[at].cost.edits;
        let mut links = Vec::new();
        let mut step = layers.len() - 1;
        while step > 0 {
            let arrival = &layers[step][at];
            step -= arrival.taken;
            links.push(arrival.by.map_or(Link::Added(step), |edge| Link::Both(edge, step, arrival.taken)));
            let left_out = arrival.before.iter().rev().filter(|edge| !self.ways.is_silent[**edge]);
            links.extend(left_out.map(|edge| Link::LeftOut(*edge, step)));
            at = arrival.from;
        }
        links.reverse();
        Some(Found { edits, links })
    }
}

/// The arrival from which a node was reached, and the ways from there.
fn way_to(mut node: usize, reached: &[Option<Reached>]) -> (usize, Vec<usize>) {
    let mut ways = Vec::new();
    while let Some(Reached { from, over, .. }) = reached[node] {
        let Some((edge, before)) = over else {
            ways.reverse();
            return (from, ways);
        };
        ways.push(edge);
        node = before;
    }
    (0, ways)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A graph as lists: from, to, whether it is silent, its screen and its mode; the last node is the start.
    type Edge = (usize, usize, bool, u8, u8);

    const NODES: usize = 5;

    fn edges() -> impl Strategy<Value = Vec<Edge>> {
        let edge = (0..NODES, 0..NODES - 1, prop::bool::weighted(0.2), 0_u8..3, 0_u8..2);
        prop::collection::vec(edge, 1..14).prop_map(|mut edges| {
            edges.sort_unstable();
            edges
        })
    }

    fn cost((_, _, _, screen, mode): Edge, (is_screen, is_mode): (u8, u8)) -> Option<Cost> {
        (screen == is_screen).then(|| Cost { edits: u32::from(mode != is_mode), unlike: 0 })
    }

    /// Two steps with one screen may be one: in the first mode if they are alike, otherwise in the second.
    fn one_of(steps: &[(u8, u8)], taken: usize) -> Option<(u8, u8)> {
        match *steps.get(..taken)? {
            [one] => Some(one),
            [(screen, one), (other, two)] if screen == other => Some((screen, one ^ two)),
            _ => None,
        }
    }

    fn ways<'w>(edges: &[Edge], steps: usize, cost: &'w dyn Fn(usize, usize, usize) -> Option<Cost>) -> Ways<'w> {
        Ways {
            first: (0..=NODES).map(|node| edges.partition_point(|edge| edge.0 < node)).collect(),
            to: edges.iter().map(|edge| edge.1).collect(),
            is_silent: edges.iter().map(|edge| edge.2).collect(),
            start: NODES - 1,
            steps,
            most: vec![2; steps],
            cost,
            least: vec![0; steps + 1],
        }
    }

    /// The fewest edits, by going over all edges until nothing changes any more.
    fn plain_distance(edges: &[Edge], steps: &[(u8, u8)]) -> u32 {
        const FAR: u32 = 1000;
        let mut after = vec![[FAR; NODES]; steps.len() + 1];
        after[0][NODES - 1] = 0;
        let settle = |costs: &mut [u32; NODES]| {
            for _ in 0..=NODES {
                for (from, to, is_silent, ..) in edges {
                    costs[*to] = costs[*to].min(costs[*from] + u32::from(!is_silent));
                }
            }
        };
        for at in 0..=steps.len() {
            settle(&mut after[at]);
            let now = after[at];
            for taken in 1..=2 {
                let Some(step) = one_of(&steps[at..], taken) else { continue };
                let next = &mut after[at + taken];
                for edge in edges.iter().filter(|edge| !edge.2) {
                    if let Some(more) = cost(*edge, step) {
                        next[edge.1] = next[edge.1].min(now[edge.0] + more.edits);
                    }
                }
                if taken == 1 {
                    next.iter_mut().zip(now).for_each(|(next, cost)| *next = (*next).min(cost + 1));
                }
            }
        }
        after[steps.len()].into_iter().min().unwrap_or(FAR)
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn the_walk_has_the_fewest_edits_and_is_one_of_the_graph(
            edges in edges(), steps in prop::collection::vec((0_u8..4, 0_u8..2), 0..12),
        ) {
            let of = |edge: usize, step: usize, taken: usize| cost(edges[edge], one_of(&steps[step..], taken)?);
            let ways = ways(&edges, steps.len(), &of);
            let Ok(links) = ways.nearest() else { panic!("it is small") };
            let edits: u32 = links.iter().map(|link| match link {
                Link::Both(edge, step, taken) => of(*edge, *step, *taken).unwrap().edits,
                Link::LeftOut(..) | Link::Added(_) => 1,
            }).sum();
            prop_assert_eq!(edits, plain_distance(&edges, &steps));
            let taken = links.iter().flat_map(|link| match link {
                Link::Both(_, step, taken) => *step..*step + *taken,
                Link::Added(step) => *step..*step + 1,
                Link::LeftOut(..) => 0..0,
            });
            prop_assert_eq!(taken.collect::<Vec<_>>(), (0..steps.len()).collect::<Vec<_>>());
            // Silent edges may lie between two that are taken.
            let mut here = reachable_silently(&edges, [NODES - 1].into());
            for link in &links {
                if let Link::Both(edge, ..) | Link::LeftOut(edge, _) = link {
                    prop_assert!(here.contains(&edges[*edge].0), "{:?} of {:?}", links, edges);
                    here = reachable_silently(&edges, [edges[*edge].1].into());
                }
            }
        }
    }

    fn reachable_silently(
        edges: &[Edge],
        mut nodes: std::collections::BTreeSet<usize>,
    ) -> std::collections::BTreeSet<usize> {
        for _ in 0..NODES {
            let more: Vec<usize> =
                edges.iter().filter(|edge| edge.2 && nodes.contains(&edge.0)).map(|edge| edge.1).collect();
            nodes.extend(more);
        }
        nodes
    }
}
