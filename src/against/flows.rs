//! A flow as what was meant: the walk that is nearest to what a device did, and its moves beside the steps. Knows the moves
//! of the flow and what they send; which way through them is nearest is found by `walks`.

use std::collections::{HashMap, HashSet};

use super::{
    align::{Pair, TooDifferent, align},
    comparing::{Aligned, Compared, Tolerance, Words, are_same, differences, fewest_edits, is_same},
    track::{Asked, AskedUpdate, Joined, Nearest, Track, asked_boxes, hash_of_levels, in_order},
    walks::{Cost, JOINED_IN_VAIN, Link, OTHER_UPDATE, UNPAIRED_UPDATE, Ways},
};
use crate::{
    flow::{Flow, Node},
    flow_review::{DecodedScreens, FlowMap},
    geometry::Rect,
    plan::{Cause, ScreenId, Update, Updates, WindowAsk},
};

/// A flow that a device should follow.
#[derive(Clone, Copy, Debug)]
pub struct MeantFlow<'f> {
    /// The flow.
    pub flow: &'f Flow,
    /// Where its walks lead.
    pub map: &'f FlowMap,
    /// Its screens.
    pub screens: &'f DecodedScreens,
}

/// Compares what a device did with the walk of a flow that is nearest to it; `place` says what a pointer into the flow is,
/// and where.
///
/// # Errors
/// Where they are too different.
pub fn compare_with_flow(
    meant: MeantFlow<'_>,
    trace: &Track,
    tolerance: Tolerance,
    place: &dyn Fn(&str) -> String,
) -> Result<Compared, TooDifferent> {
    let moves = Moves::new(meant);
    let joined = Joined::new(trace, tolerance.late_ms, &MovesWithin { moves: &moves, tolerance });
    let cost = |edge: usize, step: usize, taken: usize| {
        let cost = moves.meant[moves.of_edge[edge]].cost(joined.step(step, taken)?, tolerance)?;
        let in_vain = if joined.is_in_vain(step, taken) { JOINED_IN_VAIN } else { 0 };
        Some(Cost { unlike: cost.unlike + in_vain, ..cost })
    };
    let links = moves.ways(&joined, tolerance, &cost).nearest()?;
    let mut steps: Vec<Asked> = Vec::new();
    let mut pairs = Vec::new();
    for link in links {
        let at = steps.len();
        let (pair, edge) = match link {
            Link::Both(edge, done, taken) => (Pair::Both(at, done, taken), edge),
            Link::LeftOut(edge, by_then) => (Pair::First(at, by_then), edge),
            Link::Added(done) => {
                pairs.push(Pair::Second(done));
                continue;
            }
        };
        steps.push(moves.meant[moves.of_edge[edge]].asked(at));
        pairs.push(pair);
    }
    let known: HashSet<blake3::Hash> = moves.meant.iter().map(|meant| meant.screen).collect();
    let plan = Track { steps };
    let (trace, pairs) = joined.along(pairs);
    Ok(differences(&Aligned { plan: &plan, trace: &trace, pairs, known, words: &OF_A_FLOW }, tolerance, place))
}

const OF_A_FLOW: Words = Words {
    what: "flow",
    part: "move",
    added: "no move of the flow leads to this screen here",
    unknown: "the flow has no such screen: these levels are in memory in none of its states",
};

/// What the pointers into a flow that departures name stand for, in words.
pub fn places_in_flow(flow: &Flow) -> Vec<(String, String)> {
    let mut places = Vec::new();
    let mut put = |pointer: &str, words: &str, updates: &Updates| {
        places.push((pointer.to_owned(), words.to_owned()));
        let count = if let Updates::Listed(updates) = updates { updates.len() } else { 0 };
        places.extend((0..count).map(|number| (pointer_of(pointer, number), words.to_owned())));
    };
    for (number, start) in flow.starts.iter().enumerate() {
        let words = if flow.starts.len() == 1 { "the start".to_owned() } else { format!("start {number}") };
        put(&start.pointer, &words, &start.updates);
    }
    for (number, one) in flow.moves.iter().enumerate() {
        put(&one.pointer, &format!("move {number}{}", quoted(one.label.as_deref())), &one.updates);
    }
    for (number, cleaning) in flow.cleanings.iter().enumerate() {
        put(&cleaning.pointer, &format!("cleaning {number}"), &Updates::Choose);
    }
    places
}

fn quoted(label: Option<&str>) -> String {
    label.map_or(String::new(), |label| format!(" \"{label}\""))
}

/// The pointer to an update; the whole file, if the flow gives no start of its own.
fn pointer_of(pointer: &str, number: usize) -> String {
    if pointer.is_empty() { String::new() } else { format!("{pointer}/updates/{number}") }
}

/// A move between two screens, or a start, with the cleanings that are due.
#[derive(Debug)]
struct Meant {
    screen: blake3::Hash,
    updates: Vec<AskedUpdate>,
    is_open: bool,
    cause: Cause,
    pointer: String,
    name: String,
    label: Option<String>,
}

impl Meant {
    fn is_silent(&self) -> bool {
        !self.is_open && self.updates.is_empty()
    }

    fn cost(&self, done: &Asked, tolerance: Tolerance) -> Option<Cost> {
        if self.screen != done.screen || self.is_silent() {
            return None;
        }
        // Of moves that are as near, the one with the same cause.
        let by_another = u32::from(self.cause != done.cause);
        if self.is_open || are_same(&self.updates, &done.updates, tolerance) {
            return Some(Cost { edits: 0, unlike: by_another });
        }
        let differ =
            |one: usize, other: usize| u32::from(!is_same(&self.updates[one], &done.updates[other], tolerance));
        let pairs = align(self.updates.len(), done.updates.len(), &|one, other| Some(differ(one, other)));
        let unlike = |pair: &Pair| match pair {
            Pair::Both(one, other, _) => OTHER_UPDATE * differ(*one, *other),
            Pair::First(..) | Pair::Second(_) => UNPAIRED_UPDATE,
        };
        let unlike: u32 = pairs.unwrap_or_default().iter().map(unlike).sum();
        Some(Cost { edits: 1, unlike: by_another + unlike })
    }

    fn asked(&self, at: usize) -> Asked {
        Asked {
            index: at as u64,
            name: self.name.clone(),
            screen: self.screen,
            updates: self.updates.clone(),
            is_open: self.is_open,
            pointer: self.pointer.clone(),
            label: self.label.clone(),
            cause: self.cause,
            // A move may come as late as it likes, but an answer to a person may not.
            request_ms: None,
            after_person_ms: self.cause.is_person().then_some(0.0),
            after_unanswered_ms: None,
        }
    }
}

/// All moves of a flow, by the edges of its graph, with the starts behind them.
struct Moves<'f> {
    of: MeantFlow<'f>,
    meant: Vec<Meant>,
    of_edge: Vec<usize>,
    /// The starts and the nodes that they bring.
    starts: Vec<(usize, usize)>,
    hashes: HashMap<ScreenId, blake3::Hash>,
}

/// The moves of a flow, and how far windows may differ from theirs.
struct MovesWithin<'m> {
    moves: &'m Moves<'m>,
    tolerance: Tolerance,
}

impl Nearest for MovesWithin<'_> {
    fn edits(&self, done: &Asked) -> u32 {
        let alike = self.moves.meant.iter().filter(|meant| meant.screen == done.screen && !meant.is_silent());
        fewest_edits(alike.map(|meant| (meant.is_open, &*meant.updates)), done, self.tolerance)
    }

    fn most_updates(&self) -> usize {
        self.moves.meant.iter().map(|meant| meant.updates.len()).max().unwrap_or(0)
    }
}

/// What makes edges alike: the move, the screens, and the cleanings that follow.
type Alike<'g> = (usize, ScreenId, ScreenId, &'g [usize]);

impl<'f> Moves<'f> {
    fn new(of: MeantFlow<'f>) -> Self {
        let table = of.flow.head.display.ink.level_table();
        let screens = of.flow.states.iter().flat_map(|state| &state.screens);
        let hash = |screen: &ScreenId| (*screen, hash_of_levels(of.screens.of(*screen).shades(), &table));
        let hashes = screens.map(hash).collect();
        let mut moves = Self { of, meant: Vec::new(), of_edge: Vec::new(), starts: Vec::new(), hashes };
        moves.add_edges();
        moves.add_starts();
        moves
    }

    fn add_edges(&mut self) {
        let MeantFlow { flow, map, .. } = self.of;
        let mut known: HashMap<Alike<'f>, usize> = HashMap::new();
        for edge in &map.graph.edges {
            let [from, to] = [edge.from, edge.to].map(|node| map.graph.nodes[node].screen(flow));
            let alike = (edge.by, from, to, &*edge.cleanings);
            let number = *known.entry(alike).or_insert_with(|| {
                let meant = self.of_move(alike);
                self.meant.push(meant);
                self.meant.len() - 1
            });
            self.of_edge.push(number);
        }
    }

    fn of_move(&self, (by, from, to, cleanings): Alike<'_>) -> Meant {
        let MeantFlow { flow, map, .. } = self.of;
        let one = &flow.moves[by];
        let mut updates = self.updates(&one.updates, &map.sent().boxes_of_move(by, from, to), &one.pointer);
        // Nothing can follow updates that nobody has chosen yet.
        let is_open = one.updates == Updates::Choose;
        let runs = cleanings.iter().filter(|_| !is_open).map(|rule| (&flow.cleanings[*rule], *rule));
        let boxes = map.sent().boxes_of_cleanings();
        updates.extend(
            runs.map(|(cleaning, rule)| self.update(cleaning.mode, None, boxes[rule], cleaning.pointer.clone())),
        );
        updates.retain(|update| !update.sent.is_empty());
        Meant {
            screen: self.hashes[&to],
            updates,
            is_open,
            cause: one.cause,
            pointer: one.pointer.clone(),
            name: format!("move {by}"),
            label: one.label.clone(),
        }
    }

    /// The starts, as edges that leave a node in front of all others.
    fn add_starts(&mut self) {
        let MeantFlow { flow, map, .. } = self.of;
        for (number, start) in flow.starts.iter().enumerate() {
            let brought = |(_, node): &(usize, &Node)| node.state == start.at;
            for (at, node) in map.graph.nodes[..map.graph.starts].iter().enumerate().filter(brought) {
                let screen = node.screen(flow);
                let boxes = map.sent().boxes_of_start(number, screen);
                let mut updates = self.updates(&start.updates, &boxes, &start.pointer);
                updates.retain(|update| !update.sent.is_empty());
                self.starts.push((number, at));
                self.of_edge.push(self.meant.len());
                self.meant.push(Meant {
                    screen: self.hashes[&screen],
                    updates,
                    is_open: start.updates == Updates::Choose,
                    cause: Cause::System,
                    pointer: start.pointer.clone(),
                    name: "the start".into(),
                    label: None,
                });
            }
        }
    }

    fn updates(&self, updates: &Updates, boxes: &[&[Rect]], pointer: &str) -> Vec<AskedUpdate> {
        let listed: &[Update] = if let Updates::Listed(updates) = updates { updates } else { &[] };
        let numbered = listed.iter().zip(boxes).enumerate();
        numbered
            .map(|(number, (update, boxes))| {
                self.update(update.mode, Some(&update.window), boxes, pointer_of(pointer, number))
            })
            .collect()
    }

    fn update(&self, mode: usize, asked: Option<&WindowAsk>, boxes: &[Rect], pointer: String) -> AskedUpdate {
        let head = &self.of.flow.head;
        AskedUpdate {
            mode: head.display.modes[mode].name.clone(),
            asked: asked_boxes(asked, boxes, head.screen_size()),
            sent: in_order(boxes),
            pointer,
        }
    }

    fn ways<'w>(
        &self,
        trace: &Joined<'_>,
        tolerance: Tolerance,
        cost: &'w dyn Fn(usize, usize, usize) -> Option<Cost>,
    ) -> Ways<'w> {
        let graph = &self.of.map.graph;
        let nodes = graph.nodes.len();
        let mut first: Vec<usize> = (0..nodes).map(|node| graph.leaving(node).start).collect();
        first.extend([graph.edges.len(), self.of_edge.len()]);
        let to = graph.edges.iter().map(|edge| edge.to).chain(self.starts.iter().map(|(_, node)| *node)).collect();
        let is_silent = self.of_edge.iter().map(|meant| self.meant[*meant].is_silent()).collect();
        let most = trace.most();
        let least = self.least(trace, &most, tolerance);
        Ways { first, to, is_silent, start: nodes, steps: most.len(), most, cost, least }
    }

    /// How many edits the steps from each one on need at least: one for each that no move is like, however they are joined.
    fn least(&self, trace: &Joined<'_>, most: &[usize], tolerance: Tolerance) -> Vec<u32> {
        let mut by_screen: HashMap<blake3::Hash, Vec<&Meant>> = HashMap::new();
        for meant in self.meant.iter().filter(|meant| !meant.is_silent()) {
            by_screen.entry(meant.screen).or_default().push(meant);
        }
        let is_like =
            |meant: &&Meant, done: &Asked| meant.is_open || are_same(&meant.updates, &done.updates, tolerance);
        let mut least = vec![0; most.len() + 1];
        for at in (0..most.len()).rev() {
            let rows = (1..=most[at]).filter_map(|taken| Some((taken, trace.step(at, taken)?)));
            let edits = |(taken, done): (usize, &Asked)| {
                let moves = by_screen.get(&done.screen).map_or(&[][..], Vec::as_slice);
                least[at + taken] + u32::from(!moves.iter().any(|meant| is_like(meant, done)))
            };
            least[at] = rows.map(edits).min().unwrap_or_default();
        }
        least
    }
}
