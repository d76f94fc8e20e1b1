//! Walks on the whole model: every rule over the walks that take every move, the rules of a limit over walks that are
//! likely to pass it, and shorter walks to what was found.
//!
//! Knows walks, and what the rules find; judges nothing.

use std::collections::{BTreeSet, HashMap};

use super::{
    gathered::{Gathered, Place},
    map::{FlowMap, FlowTask},
    pace,
    verdicts::{JUDGED, Judged, Reached},
    walk_names::Names,
};
use crate::{
    finding::Finding,
    flow::{APART_MS, Pace, Walk, WalkPlan, WalkedEdge},
    panel::PlayedStep,
    proof::{Bound, MOST_STARTS, Proof, Witness},
    review::{Review, review},
    rules::{Looks, Selection, over_walks},
};

/// How many pixels may be played beside the covering walks, in moves times pixels of a screen: some seconds.
const PIXELS_TO_PLAY: u64 = 40_000_000;
/// The least moves that are played all the same.
const FEWEST_MOVES: u64 = 40;
/// The most moves that are played to find shorter walks, and to find what breaks a limit.
const MOST_FOR_SHORTER_WALKS: u64 = 600;
const MOST_HUNTED: u64 = 6000;
/// The most moves of short walks that are all played, and at how many paces a walk is hunted.
const LONGEST_SHORT: usize = 4;
const PACES: usize = 3;
/// How often the loop of a figure without bound is walked, until a rule reports it.
const ROUNDS: [usize; 4] = [1, 8, 64, 512];
/// How often the part of a walk is halved behind which a finding shows.
const MOST_HALVES: usize = 6;
/// The longest walk that is played to come near a figure, in moves.
const LONGEST_WITNESS: usize = 4000;

/// The most laps of a loop, beside two that are walked always.
const MOST_LAPS: f64 = 200.0;
/// The most ways through a flow that are looked at for loops of some moves, and the most loops of one length.
const MOST_WAYS: usize = 4096;
const MOST_LOOPS: usize = 64;
/// The most walks of which something is put aside.
const MOST_ASIDE: usize = 64;
/// Walks at random that are played to find what breaks a limit, and their moves.
const RANDOM_WALKS: u64 = 8;
const RANDOM_MOVES: usize = 60;

/// By move and state, a node.
type FirstFrom = HashMap<(usize, usize), usize>;

/// What the rules find on walks.
pub(super) struct Playing<'f> {
    pub(super) task: &'f FlowTask<'f>,
    pub(super) map: &'f FlowMap,
    pub(super) names: &'f Names<'f>,
    pub(super) gathered: Gathered,
    pub(super) reached: Reached,
    /// What walks showed beside the limits for which they were played.
    pub(super) aside: Vec<(Review, Walk)>,
}

impl Playing<'_> {
    /// Plays a walk for every rule that looks at what is played.
    pub(super) fn play(&mut self, walk: &Walk, see: &mut dyn FnMut()) {
        let selection = self.task.selection.without_those_that(|looks| looks == Looks::Verdict);
        let Some((mut review, plan)) = self.review(walk, &selection, see) else { return };
        // What the command line leaves out is said of the flow.
        let left_out = selection.words();
        review.summary.not_checked.retain(|text| Some(text) != left_out.as_ref());
        self.gathered.add(review, walk, &plan, &|walk| self.names.walk(walk));
    }

    fn review(&mut self, walk: &Walk, selection: &Selection, see: &mut dyn FnMut()) -> Option<(Review, WalkPlan)> {
        let task = self.task;
        let plan = walk.plan(task.flow, &self.map.graph, task.screens);
        let reached = &mut self.reached;
        let reviewed = review(&plan.plan, task.screens, selection, task.threads, &mut |step: &PlayedStep<'_>| {
            reached.see(step);
            see();
        });
        // Every screen was decoded before, so none is broken.
        Some((reviewed.ok()?, plan))
    }

    /// Plays the walks that are likely to come near what was proved, for the rules whose limits those pass.
    pub(super) fn play_witnesses(&mut self, proof: &Proof) {
        for judged in &JUDGED {
            if judged.is_kept(&self.task.flow.head, proof) {
                continue;
            }
            let grows = judged.bound(proof) == Bound::Unbounded;
            for witness in (judged.witnesses)(proof) {
                let rounds: &[usize] = if grows && !witness.around.is_empty() { &ROUNDS } else { &[witness.rounds] };
                let mut walks = rounds.iter().map(|rounds| Witness { rounds: *rounds, ..witness.clone() });
                if walks.any(|witness| self.play_witness(judged, &witness)) {
                    break;
                }
            }
        }
    }

    /// Plays a walk as soon as its moves may come, with a slow way to its rest, and a minute apart; whether the limit is passed. A
    /// walk that is played for one limit is looked at for all.
    fn play_witness(&mut self, judged: &Judged, witness: &Witness) -> bool {
        let selection = self.only_judged();
        let edges: Vec<usize> = witness.edges().take(LONGEST_WITNESS).collect();
        let Some(selection) = selection else { return false };
        let walk = self.apart(witness.start, witness.at, &edges);
        let task = self.task;
        let paced = |later_ms: &[f64]| pace::soonest(task.flow, self.map, task.screens, &walk, later_ms);
        let mut walks = vec![paced(&[])];
        let later_ms = pace::close_to_the_ticks(task.flow, self.map, &walk);
        if later_ms.iter().any(|ms| *ms > 0.0) {
            walks.push(paced(&later_ms));
        }
        if witness.around.is_empty() && !witness.rest.is_empty() {
            // Where nothing waits any more, what comes next can start at once.
            let slowly = witness.way.len() + 1;
            walks.push(paced(&vec![APART_MS; slowly]));
        }
        walks.push(walk.clone());
        let mut is_found = false;
        for walk in walks {
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            is_found |= review.findings.iter().any(|finding| judged.is_about(finding));
            self.add_witness(review, &walk, &plan, &|finding| judged.is_about(finding));
        }
        is_found
    }

    /// Adds what a walk shows of the limits for which it was played; what it shows of others is put aside.
    fn add_witness(
        &mut self,
        mut review: Review,
        walk: &Walk,
        plan: &WalkPlan,
        is_looked_for: &dyn Fn(&Finding) -> bool,
    ) {
        let found = std::mem::take(&mut review.findings);
        let (own, others): (Vec<Finding>, Vec<Finding>) = found.into_iter().partition(is_looked_for);
        if !others.is_empty() && self.aside.len() < MOST_ASIDE {
            self.aside.push((Review { findings: others, ..review.clone() }, walk.clone()));
        }
        self.gathered.add_found(Review { findings: own, ..review }, walk, plan, &|walk| self.names.walk(walk));
    }

    /// Adds what was put aside of limits that no other walk was found to break.
    pub(super) fn add_what_is_aside(&mut self) {
        let task = self.task;
        for (mut review, walk) in std::mem::take(&mut self.aside) {
            review.findings.retain(|finding| {
                JUDGED.iter().any(|judged| judged.is_about(finding) && !self.gathered.has_any(judged))
            });
            if !review.findings.is_empty() {
                let plan = walk.plan(task.flow, &self.map.graph, task.screens);
                self.gathered.add_found(review, &walk, &plan, &|walk| self.names.walk(walk));
            }
        }
    }

    /// The rules of all limits alone, as far as they are to run.
    fn only_judged(&self) -> Option<Selection> {
        let rules: BTreeSet<&str> = JUDGED.iter().flat_map(|judged| judged.rules).copied().collect();
        self.only(&rules.into_iter().collect::<Vec<_>>())
    }

    /// Some rules alone, as far as they are to run.
    fn only(&self, rules: &[&str]) -> Option<Selection> {
        let all = self.task.selection;
        let only: Vec<String> = rules.iter().filter(|rule| all.takes(rule)).map(|rule| (*rule).to_owned()).collect();
        (!only.is_empty()).then(|| Selection { only, without: Vec::new(), ..all.clone() })
    }

    /// Plays the moves that leave something behind, of which no walk so far has shown it.
    pub(super) fn play_what_is_left_behind(&mut self, proof: &Proof) {
        if !self.task.selection.takes(over_walks::LEFT_BEHIND) {
            return;
        }
        let Some(selection) = self.only_judged() else { return };
        let mut moves = self.moves_to_play(MOST_FOR_SHORTER_WALKS);
        for left in &proof.left_behind {
            let Some(edge) = left.edge else { continue };
            if self.gathered.has_at_move(self.map.graph.edges[edge].by, over_walks::LEFT_BEHIND) {
                continue;
            }
            let Some(walk) = self.shortest_over(edge) else { continue };
            let Some(rest) = moves.checked_sub(walk.moves.len() as u64) else { return };
            moves = rest;
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            self.add_witness(review, &walk, &plan, &|finding| finding.rule == over_walks::LEFT_BEHIND);
        }
    }

    /// Looks for a shorter walk to each finding, and plays the walk to it alone, so that its figures are those at the end
    /// of that walk.
    pub(super) fn shorten(&mut self) {
        let mut moves = self.moves_to_play(MOST_FOR_SHORTER_WALKS);
        let nearest = Nearest::new(self.map);
        let mut open: BTreeSet<Place> = self.gathered.walks().map(|(place, ..)| place.clone()).collect();
        // The nearest of the same move, then of the same move between the same screens, then the walk to the place.
        for way in [Nearest::by_move, Nearest::by_screens, |_: &Nearest, edge| edge] {
            let walks = self.by_walk(&open, |playing, walk, to_place| {
                let Some(last) = walk.moves[..to_place].last() else { return Some(walk.up_to(0)) };
                let shortest = playing.shortest_over(way(&nearest, last.edge))?;
                (shortest.moves.len() < walk.moves.len()).then_some(shortest)
            });
            self.play_shorter(walks, &mut open, &mut moves);
        }
        let to_places = self.by_walk(&open, |_, walk, to_place| Some(walk.up_to(to_place)));
        self.play_shorter(to_places, &mut open, &mut moves);
        // What shows only later shows at the end of a part of the walk: halves of it are tried.
        for _ in 0..MOST_HALVES {
            let halves = self.by_walk(&open, |_, walk, to_place| {
                let longer = walk.moves.len() - to_place.min(walk.moves.len());
                (longer > 1).then(|| walk.up_to(to_place + longer / 2))
            });
            self.play_shorter_once(halves, &mut moves);
        }
        let own = self.by_walk(&open, |_, walk, _| Some(walk.clone()));
        self.play_shorter(own, &mut open, &mut moves);
    }

    /// The places by the walk that is to be played for them, the shortest first.
    fn by_walk(
        &self,
        open: &BTreeSet<Place>,
        of: impl Fn(&Self, &Walk, usize) -> Option<Walk>,
    ) -> Vec<(Walk, Vec<Place>)> {
        let mut walks: Vec<(Walk, Vec<Place>)> = Vec::new();
        for (place, walk, to_place) in self.gathered.walks().filter(|(place, ..)| open.contains(*place)) {
            let Some(walk) = of(self, walk, to_place) else { continue };
            match walks.iter_mut().find(|(known, _)| *known == walk) {
                Some((_, places)) => places.push(place.clone()),
                None => walks.push((walk, vec![place.clone()])),
            }
        }
        walks.sort_by_key(|(walk, _)| walk.moves.len());
        walks
    }

    /// Plays walks for their places while there are moves left, and keeps those that show the same.
    fn play_shorter_once(&mut self, walks: Vec<(Walk, Vec<Place>)>, moves: &mut u64) {
        self.play_shorter(walks, &mut BTreeSet::new(), moves);
    }

    /// Plays walks for their places while there are moves left; those that show the same at its end are open no more.
    fn play_shorter(&mut self, walks: Vec<(Walk, Vec<Place>)>, open: &mut BTreeSet<Place>, moves: &mut u64) {
        for (walk, places) in walks {
            let rules: Vec<&str> = places.iter().map(|place| place.rule).collect();
            let rest = moves.checked_sub(walk.moves.len() as u64 + 1);
            let (Some(rest), Some(selection)) = (rest, self.only(&rules)) else { continue };
            *moves = rest;
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            for place in self.gathered.shorten(places, &review, &walk, &plan, &|walk| self.names.walk(walk)) {
                open.remove(&place);
            }
        }
    }

    /// Looks for walks that break what is still open and not broken on any walk so far: all short ones where they are few, loops of
    /// two to four moves, walked again and again, and walks at random.
    pub(super) fn hunt(&mut self, proof: &Proof) {
        let head = &self.task.flow.head;
        let open = JUDGED.iter().filter(|judged| !judged.is_kept(head, proof) && !self.gathered.has_any(judged));
        let rules: Vec<&str> = open.flat_map(|judged| judged.rules).copied().collect();
        let Some(selection) = self.only(&rules) else { return };
        let mut moves = self.moves_to_play(MOST_HUNTED);
        let shortest = self.short_walks(moves as usize / (2 * PACES * LONGEST_SHORT));
        let first_from = self.first_from();
        let short = self.loops(2, &first_from).into_iter().chain(self.at_random());
        let long = [3, 4].into_iter().flat_map(|length| self.loops(length, &first_from));
        // Each is played at up to three paces. Longer loops are looked for only if they can still be played.
        let walks = short.chain(long).map_while(|walk| {
            moves = moves.checked_sub((PACES * walk.moves.len()) as u64)?;
            Some(walk)
        });
        for walk in shortest.into_iter().chain(walks.collect::<Vec<Walk>>()) {
            let paced = |later_ms: &[f64]| pace::soonest(self.task.flow, self.map, self.task.screens, &walk, later_ms);
            let later_ms = pace::close_to_the_ticks(self.task.flow, self.map, &walk);
            let near = later_ms.iter().any(|ms| *ms > 0.0).then(|| paced(&later_ms));
            let soonest = paced(&[]);
            for walk in [Some(walk), Some(soonest), near].into_iter().flatten() {
                let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
                self.gathered.add_found(review, &walk, &plan, &|walk| self.names.walk(walk));
            }
        }
    }

    /// All walks of the same number of moves, or of fewer that lead nowhere on: of as many moves as there are not more walks than
    /// so many.
    fn short_walks(&self, most: usize) -> Vec<Walk> {
        let graph = &self.map.graph;
        let mut ways: Vec<Vec<usize>> = vec![Vec::new()];
        for _ in 0..LONGEST_SHORT {
            let longer = |way: &Vec<usize>| {
                let on: Vec<usize> = match way.last() {
                    None => (0..graph.starts).flat_map(|start| graph.leaving(start)).collect(),
                    Some(last) => graph.leaving(graph.edges[*last].to).collect(),
                };
                let ends = on.is_empty().then(|| way.clone());
                let longer: Vec<Vec<usize>> = on.iter().map(|edge| [way.as_slice(), &[*edge]].concat()).collect();
                longer.into_iter().chain(ends)
            };
            let next: Vec<Vec<usize>> = ways.iter().flat_map(longer).take(most + 1).collect();
            if next.len() > most {
                break;
            }
            ways = next;
        }
        ways.iter().flat_map(|way| self.whole_walks(way)).collect()
    }

    /// The node from which the first edge of each move leaves each state.
    fn first_from(&self) -> FirstFrom {
        let graph = &self.map.graph;
        let mut first = FirstFrom::new();
        for edge in &graph.edges {
            first.entry((edge.by, graph.nodes[edge.from].state)).or_insert(edge.from);
        }
        first
    }

    /// Loops of so many moves, each walked until every limit of counts must be passed.
    fn loops(&self, length: usize, first_from: &FirstFrom) -> Vec<Walk> {
        let (graph, laps) = (&self.map.graph, self.laps());
        let walked = |around: &Vec<usize>| {
            let last = &self.task.flow.moves[around[length - 1]];
            let mut node = *first_from.get(&(around[0], last.to))?;
            let mut edges = graph.walk_to(node);
            for by in around.iter().cycle().take(length * laps) {
                let Some(edge) = graph.leaving(node).find(|edge| graph.edges[*edge].by == *by) else { break };
                edges.push(edge);
                node = graph.edges[edge].to;
            }
            Some(self.whole_walks(&edges))
        };
        self.loops_of_moves(length).iter().filter_map(walked).flatten().take(MOST_LOOPS).collect()
    }

    /// Moves that lead from state to state and back to the first, each loop once: its first move is the one that the flow lists
    /// first.
    fn loops_of_moves(&self, length: usize) -> Vec<Vec<usize>> {
        let moves = &self.task.flow.moves;
        let mut ways: Vec<Vec<usize>> = (0..moves.len()).map(|first| vec![first]).collect();
        for _ in 1..length {
            let longer = |way: &Vec<usize>| {
                let to = moves[way[way.len() - 1]].to;
                let next = (way[0]..moves.len()).filter(move |next| moves[*next].from.contains(&to));
                next.map(|next| [way.as_slice(), &[next]].concat()).collect::<Vec<_>>()
            };
            ways = ways.iter().flat_map(longer).take(MOST_WAYS).collect();
        }
        let closes = |way: &Vec<usize>| moves[way[0]].from.contains(&moves[way[length - 1]].to);
        // Four moves may be two, twice.
        let is_shorter =
            |way: &Vec<usize>| length > 2 && length.is_multiple_of(2) && way[..length / 2] == way[length / 2..];
        ways.into_iter().filter(|way| closes(way) && !is_shorter(way)).collect()
    }

    /// How often a loop is walked: past the limit of updates and past every cleaning.
    fn laps(&self) -> usize {
        let flow = self.task.flow;
        let limit = flow.head.limits.too_many_since_cleaning.updates.map_or(0.0, |limit| limit.value);
        let cleanings = flow.cleanings.iter().map(|cleaning| f64::from(cleaning.after_updates));
        cleanings.fold(limit, f64::max).clamp(0.0, MOST_LAPS) as usize + 2
    }

    fn at_random(&self) -> Vec<Walk> {
        let walk = |seed| {
            let walk = pace::random_edges(self.task.flow, self.map, RANDOM_MOVES, seed);
            self.whole_walks(&walk.moves.iter().map(|one| one.edge).collect::<Vec<_>>())
        };
        (0..RANDOM_WALKS).flat_map(walk).collect()
    }

    /// The walks over some edges from each start that brings their first screen, a minute between two of their moves.
    fn whole_walks(&self, edges: &[usize]) -> Vec<Walk> {
        let graph = &self.map.graph;
        let Some(first) = edges.first() else { return Vec::new() };
        let at = graph.edges[*first].from;
        let starts = self.task.flow.starts.iter().enumerate().filter(|(_, start)| start.at == graph.nodes[at].state);
        starts.take(MOST_STARTS).map(|(start, _)| self.apart(start, at, edges)).collect()
    }

    /// How many moves may be played beside the covering walks.
    fn moves_to_play(&self, most: u64) -> u64 {
        (PIXELS_TO_PLAY / self.task.flow.head.screen_size().pixels().max(1)).clamp(FEWEST_MOVES, most)
    }

    /// A shortest walk that ends with a move, a minute between two of its moves.
    fn shortest_over(&self, edge: usize) -> Option<Walk> {
        let graph = &self.map.graph;
        let from = graph.edges[edge].from;
        let edges: Vec<usize> = graph.walk_to(from).into_iter().chain([edge]).collect();
        self.whole_walks(&edges).into_iter().next()
    }

    fn apart(&self, start: usize, at: usize, edges: &[usize]) -> Walk {
        let (flow, graph) = (self.task.flow, &self.map.graph);
        let mut pace = Pace::default();
        let made = |edge: &usize| {
            let after_ms = pace.after(&flow.moves[graph.edges[*edge].by], APART_MS);
            WalkedEdge { edge: *edge, after_ms }
        };
        Walk { start, at, moves: edges.iter().map(made).collect() }
    }
}

/// The edge that is nearest to a start among those that are alike.
struct Nearest<'m> {
    map: &'m FlowMap,
    by_move: HashMap<usize, usize>,
    by_screens: HashMap<(usize, [usize; 4]), usize>,
}

impl<'m> Nearest<'m> {
    fn new(map: &'m FlowMap) -> Self {
        let mut nearest = Self { map, by_move: HashMap::new(), by_screens: HashMap::new() };
        // Edges are sorted by the node before, and nodes by how near they are.
        for (number, edge) in map.graph.edges.iter().enumerate() {
            nearest.by_move.entry(edge.by).or_insert(number);
            nearest.by_screens.entry((edge.by, nearest.screens(number))).or_insert(number);
        }
        nearest
    }

    /// The states and pictures before and after.
    fn screens(&self, edge: usize) -> [usize; 4] {
        let graph = &self.map.graph;
        let (from, to) = (&graph.nodes[graph.edges[edge].from], &graph.nodes[graph.edges[edge].to]);
        [from.state, from.picture, to.state, to.picture]
    }

    fn by_move(&self, edge: usize) -> usize {
        self.by_move[&self.map.graph.edges[edge].by]
    }

    fn by_screens(&self, edge: usize) -> usize {
        self.by_screens[&(self.map.graph.edges[edge].by, self.screens(edge))]
    }
}

impl Reached {
    fn see(&mut self, step: &PlayedStep<'_>) {
        for update in step.updates.iter().filter(|update| !update.sent.is_empty() && update.lost.is_none()) {
            self.wait_ms = self.wait_ms.max(update.times.wait_ms);
        }
    }
}
