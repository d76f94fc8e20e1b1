//! Walks on the whole model: every rule over the walks that take every move, the rules of a limit over walks that are
//! likely to pass it, and shorter walks to what was found.
//!
//! Knows walks, and what the rules find; judges nothing.

use super::{
    FlowMap, FlowTask,
    gathered::{Gathered, Place},
    names::Names,
    pace,
    verdicts::{JUDGED, Judged, Reached},
};
use crate::{
    flow::{APART_MS, Pace, Walk, WalkPlan, WalkedEdge},
    panel::PlayedStep,
    proof::{Bound, Proof, Witness},
    review::{Review, review},
    rules::{Looks, Selection},
};

/// How many pixels may be played, in moves times pixels of a screen, to find shorter walks: some seconds.
const PIXELS_FOR_SHORTER_WALKS: u64 = 400_000_000;
/// The most and the least moves that are played for them.
const MOVES_FOR_SHORTER_WALKS: [u64; 2] = [60, 3000];
/// How often the loop of a figure without bound is walked, until a rule reports it.
const ROUNDS: [usize; 4] = [1, 8, 64, 512];
/// The longest walk that is played to come near a figure, in moves.
const LONGEST_WITNESS: usize = 4000;

/// What the rules find on walks.
pub(super) struct Playing<'f> {
    pub(super) task: &'f FlowTask<'f>,
    pub(super) map: &'f FlowMap,
    pub(super) names: &'f Names<'f>,
    pub(super) gathered: Gathered,
    pub(super) reached: Reached,
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
            let Some(witness) = (judged.witness)(proof) else { continue };
            let grows = judged.bound(proof) == Bound::Unbounded;
            let rounds: &[usize] = if grows { &ROUNDS } else { &[witness.rounds] };
            for rounds in rounds {
                if self.play_witness(judged, &Witness { rounds: *rounds, ..witness.clone() }) {
                    break;
                }
            }
        }
    }

    /// Plays a walk for some rules, as soon as its moves may come and a minute apart; whether they report anything.
    fn play_witness(&mut self, judged: &Judged, witness: &Witness) -> bool {
        let selection = self.only(judged.rules);
        let edges: Vec<usize> = witness.edges().take(LONGEST_WITNESS).collect();
        let Some(selection) = selection.filter(|_| !edges.is_empty()) else { return false };
        let walk = self.apart(witness.start, witness.at, &edges);
        let task = self.task;
        let soonest = pace::soonest(task.flow, self.map, task.screens, &walk, &[]);
        let mut is_found = false;
        for walk in [soonest, walk] {
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            is_found |= !review.findings.is_empty();
            self.gathered.add_found(review, &walk, &plan, &|walk| self.names.walk(walk));
        }
        is_found
    }

    /// Some rules alone, as far as they are to run.
    fn only(&self, rules: &[&str]) -> Option<Selection> {
        let all = self.task.selection;
        let only: Vec<String> = rules.iter().filter(|rule| all.takes(rule)).map(|rule| (*rule).to_owned()).collect();
        (!only.is_empty()).then(|| Selection { only, without: Vec::new(), list: all.list })
    }

    /// Plays the moves that leave something behind, of which no walk so far has shown it.
    pub(super) fn play_what_is_left_behind(&mut self, proof: &Proof) {
        let Some(selection) = self.only(&["left-behind"]) else { return };
        let mut moves = self.moves_for_shorter_walks();
        for left in &proof.left_behind {
            let Some(edge) = left.edge else { continue };
            let place = (format!("/moves/{}", self.map.graph.edges[edge].by), "left-behind");
            if self.gathered.has(&place) {
                continue;
            }
            let Some(walk) = self.shortest_over(edge) else { continue };
            let Some(rest) = moves.checked_sub(walk.moves.len() as u64) else { return };
            moves = rest;
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            self.gathered.add_found(review, &walk, &plan, &|walk| self.names.walk(walk));
        }
    }

    /// Looks for a shorter walk to each finding, and plays the walk to it alone, so that its figures are those at the end
    /// of that walk.
    pub(super) fn shorten(&mut self) {
        let mut moves = self.moves_for_shorter_walks();
        let direct = |playing: &Self, walk: &Walk| {
            let shortest = playing.shortest_over(walk.moves.last()?.edge)?;
            (shortest.moves.len() < walk.moves.len()).then_some(shortest)
        };
        let left = self.by_walk(|playing, walk| direct(playing, walk).or_else(|| Some(walk.clone())));
        let left = self.play_shorter(left, &mut moves);
        let own = self.by_walk(|_, walk| Some(walk.clone()));
        let own = own
            .into_iter()
            .map(|(walk, places)| (walk, places.into_iter().filter(|place| left.contains(place)).collect::<Vec<_>>()));
        let own = own.filter(|(_, places)| !places.is_empty()).collect();
        self.play_shorter(own, &mut moves);
    }

    /// The places by the walk that is to be played for them, the shortest first.
    fn by_walk(&self, of: impl Fn(&Self, &Walk) -> Option<Walk>) -> Vec<(Walk, Vec<Place>)> {
        let mut walks: Vec<(Walk, Vec<Place>)> = Vec::new();
        for (place, walk) in self.gathered.walks() {
            let Some(walk) = of(self, walk) else { continue };
            match walks.iter_mut().find(|(known, _)| *known == walk) {
                Some((_, places)) => places.push(place.clone()),
                None => walks.push((walk, vec![place.clone()])),
            }
        }
        walks.sort_by_key(|(walk, _)| walk.moves.len());
        walks
    }

    /// Plays walks for their places while there are moves left; gives the places that show nothing at the end of theirs.
    fn play_shorter(&mut self, walks: Vec<(Walk, Vec<Place>)>, moves: &mut u64) -> Vec<Place> {
        let mut left = Vec::new();
        for (walk, places) in walks {
            let rules: Vec<&str> = places.iter().map(|(_, rule)| *rule).collect();
            let rest = moves.checked_sub(walk.moves.len() as u64 + 1);
            let (Some(rest), Some(selection)) = (rest, self.only(&rules)) else {
                left.extend(places);
                continue;
            };
            *moves = rest;
            let Some((review, plan)) = self.review(&walk, &selection, &mut || {}) else { continue };
            left.extend(self.gathered.shorten(places, &review, &walk, &plan, &|walk| self.names.walk(walk)));
        }
        left
    }

    fn moves_for_shorter_walks(&self) -> u64 {
        let [least, most] = MOVES_FOR_SHORTER_WALKS;
        (PIXELS_FOR_SHORTER_WALKS / self.task.flow.head.screen_size().pixels().max(1)).clamp(least, most)
    }

    /// A shortest walk that ends with a move, a minute between two of its moves.
    fn shortest_over(&self, edge: usize) -> Option<Walk> {
        let graph = &self.map.graph;
        let from = graph.edges[edge].from;
        let edges: Vec<usize> = graph.walk_to(from).into_iter().chain([edge]).collect();
        let at = graph.edges[*edges.first()?].from;
        let start = self.task.flow.starts.iter().position(|start| start.at == graph.nodes[at].state)?;
        Some(self.apart(start, at, &edges))
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

impl Reached {
    fn see(&mut self, step: &PlayedStep<'_>) {
        for update in step.updates.iter().filter(|update| !update.sent.is_empty() && update.lost.is_none()) {
            self.wait_ms = self.wait_ms.max(update.times.wait_ms);
        }
    }
}
