//! From a flow to its review: plays the walks that take every move, shows them to the rules, and adds what is known of
//! all walks.
//!
//! Pictures come from the caller; nothing here touches files, clock or environment.

mod a_day;
mod decoded;
mod drawing;
mod gathered;
mod map;
mod pace;
mod playing;
mod verdicts;
mod walk_names;
mod walk_text;

use std::collections::BTreeMap;

use crate::{
    display::WhenBusy,
    finding::{
        Finding, FlowPlace, FlowSize, OfFlow, ProvedFigures, Severity, accept_findings, add_fingerprints, sort_findings,
    },
    flow::{Flow, Node, Reach, Walk, WalkPlan, WalkedEdge, covering_walks},
    plan::ScreenId,
    proof::{Bound, NodeProof, Proof},
    review::Review,
    rules::{RuleRunner, link_causes},
};
pub use a_day::ADay;
use a_day::a_day;
pub use decoded::DecodedScreens;
use drawing::drawing;
pub use drawing::{Drawing, DrawnState, DrawnWay};
use gathered::Gathered;
pub use map::{FlowMap, FlowTask, NoMap};
use playing::Playing;
use verdicts::{JUDGED, Reached};
pub use verdicts::{LimitVerdict, Verdict};
use walk_names::Names;
pub use walk_text::{PathsOfPlan, fields_of, text_of_walk};

/// The result of the review of a flow.
#[derive(Debug)]
pub struct FlowReview {
    /// Findings, figures and rules, as of a plan.
    pub review: Review,
    /// What is said of a flow alone.
    pub of_flow: OfFlowReview,
    /// What is known of every node, in the order in which walks reach them.
    pub nodes: Vec<NodeFigures>,
    /// The walk that people are shown: the one that leads to the worst finding, otherwise one that takes many moves.
    pub shown: WalkPlan,
    /// The walk that leads to each finding, by its fingerprint.
    pub walks: BTreeMap<String, Walk>,
    /// Where walks lead.
    pub map: FlowMap,
}

/// What is said of a flow in addition to what is said of a plan.
#[derive(Clone, Debug)]
pub struct OfFlowReview {
    /// How large the flow is, and what of it was played.
    pub size: FlowSize,
    /// The walk that people are shown, in words.
    pub shown: String,
    /// Whether every walk keeps the limits that are judged over all walks.
    pub verdicts: Vec<LimitVerdict>,
    /// What a day is expected to take; `None` if no move says how often it is made.
    pub a_day: Option<ADay>,
    /// The flow as it is drawn, with that walk.
    pub drawing: Drawing,
}

/// What is known of a node of a flow.
#[derive(Clone, Debug)]
pub struct NodeFigures {
    /// The state.
    pub state: String,
    /// The name of its picture.
    pub picture: String,
    /// The counters of the cleanings.
    pub counters: Vec<u32>,
    /// The figures that hold there for every walk.
    pub proof: NodeProof,
    /// How many pixels some walk leaves behind there; `None` if that was not proved.
    pub left_behind_px: Option<u64>,
}

/// A walk that somebody asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AskedWalk {
    /// A shortest one to a state, every move as soon as it may come.
    To(usize),
    /// One of so many moves at random, from a seed.
    AtRandom(usize, u64),
}

impl FlowMap {
    /// A walk as it is asked for; `None` if no walk leads there.
    pub fn walk(&self, flow: &Flow, screens: &DecodedScreens, asked: AskedWalk) -> Option<Walk> {
        match asked {
            AskedWalk::To(state) => self.walk_to(flow, screens, state),
            AskedWalk::AtRandom(moves, seed) => Some(pace::at_random(flow, self, screens, moves, seed)),
        }
    }

    fn walk_to(&self, flow: &Flow, screens: &DecodedScreens, state: usize) -> Option<Walk> {
        let node = self.graph.nodes.iter().position(|node| node.state == state)?;
        let edges = self.graph.walk_to(node);
        let at = edges.first().map_or(node, |edge| self.graph.edges[*edge].from);
        let start = flow.starts.iter().position(|start| start.at == self.graph.nodes[at].state)?;
        let moves = edges.into_iter().map(|edge| WalkedEdge { edge, after_ms: 0.0 }).collect();
        Some(pace::soonest(flow, self, screens, &Walk { start, at, moves }, &[]))
    }
}

/// A walk in words.
pub fn words_of(flow: &Flow, map: &FlowMap, walk: &Walk, picture_name: &dyn Fn(ScreenId) -> String) -> String {
    Names { flow, graph: &map.graph, picture: picture_name }.walk(walk).words
}

/// Reviews a flow; `progress` is given the number of moves played so far and of all.
///
/// # Errors
/// Where the flow has too many nodes or edges.
pub fn review_flow(task: &FlowTask<'_>, progress: &mut dyn FnMut(u64, u64)) -> Result<FlowReview, NoMap> {
    let FlowTask { flow, screens, .. } = *task;
    let map = FlowMap::new(flow, screens)?;
    let graph = &map.graph;
    let proof = map.prove(flow, task.threads);
    let most_different = |state: usize| screens.most_different(&flow.states[state].screens);
    let walks = covering_walks(flow, graph, &most_different);
    let names = Names { flow, graph, picture: task.picture_name };
    let (gathered, reached) = (Gathered::default(), Reached::default());
    let mut playing = Playing { task, map: &map, names: &names, gathered, reached, aside: Vec::new() };
    let moves = walks.iter().map(|walk| walk.moves.len()).sum::<usize>();
    let total = (moves + walks.len()) as u64;
    let mut done = 0;
    for walk in &walks {
        playing.play(walk, &mut || {
            done += 1;
            progress(done, total);
        });
    }
    playing.play_witnesses(&proof);
    playing.play_what_is_left_behind(&proof);
    playing.hunt(&proof);
    playing.add_what_is_aside();
    playing.shorten();
    let Playing { gathered, reached, .. } = playing;
    let size = FlowSize {
        states: flow.states.len(),
        moves: flow.moves.len(),
        nodes: graph.nodes.len(),
        edges: graph.edges.len(),
        walks: walks.len(),
        played_moves: moves,
        cells: proof.cells,
        unjoined_cells: proof.unjoined_cells,
    };
    let known = Known { proof: &proof, reached, of_flow: of_flow(flow, &graph.reach(flow)) };
    let (review, walks_to, verdicts) = verdict(task, gathered, known);
    let shown = shown_walk(&review.findings, &walks_to, &walks);
    Ok(FlowReview {
        review,
        of_flow: OfFlowReview {
            size,
            shown: names.walk(&shown).words,
            verdicts,
            a_day: a_day(flow, &map),
            drawing: drawing(flow, &map, screens, &shown),
        },
        nodes: node_figures(&names, &proof),
        shown: shown.plan(flow, graph, screens),
        walks: walks_to,
        map,
    })
}

/// What is known of all walks.
struct Known<'p> {
    proof: &'p Proof,
    reached: Reached,
    of_flow: OfFlow,
}

/// A review, the walk to each finding by its fingerprint, and what is known of each limit.
type Concluded = (Review, BTreeMap<String, Walk>, Vec<LimitVerdict>);

/// What holds for the flow as a whole: limits, accepted findings, budgets, and what no walk reaches.
fn verdict(task: &FlowTask<'_>, gathered: Gathered, mut known: Known<'_>) -> Concluded {
    let (flow, selection) = (task.flow, task.selection);
    let mut summary = gathered.summary.clone();
    let mut failed = gathered.failed.clone();
    let (mut findings, links) = gathered.into_findings();
    let mut runner = RuleRunner::new(&flow.head, selection);
    let ran = runner.ran().to_vec();
    let run = JUDGED.iter().filter(|judged| judged.rules.iter().any(|rule| ran.contains(rule)));
    let found = (&summary, &known.reached);
    let verdicts: Vec<LimitVerdict> =
        run.filter_map(|judged| judged.verdict(&flow.head, known.proof, &findings, found)).collect();
    known.of_flow.open = verdicts.iter().filter_map(LimitVerdict::open).collect();
    let matched = accept_findings(&mut findings, &flow.head.accept);
    let proved = ProvedFigures::of(known.proof, flow.head.display.when_busy == WhenBusy::Drops);
    summary.not_checked.extend(budgets_not_checked(flow, &proved));
    summary.proved = Some(proved);
    summary.not_checked.extend(selection.words());
    summary.count(&findings);
    runner.conclude(&summary, &findings, &matched, None, Some(&known.of_flow));
    let mut concluded = runner.take_findings();
    accept_findings(&mut concluded, &flow.head.accept);
    findings.extend(concluded);
    sort_findings(&mut findings);
    add_fingerprints(&mut findings);
    link_causes(&mut findings);
    links.link_causes(&mut findings);
    let walks = links.walks_by_fingerprint(&findings);
    summary.count(&findings);
    failed.extend(runner.failed());
    (Review { findings, summary, rules: ran, failed }, walks, verdicts)
}

/// The budgets on figures that were not proved, in words.
fn budgets_not_checked(flow: &Flow, proved: &ProvedFigures) -> Vec<String> {
    let known = proved.figures();
    let missing = flow.head.budgets.keys().filter(|name| !known.contains_key(name.as_str()));
    missing.map(|name| format!("the budget on `{name}`, because this figure was not proved")).collect()
}

fn of_flow(flow: &Flow, reach: &Reach) -> OfFlow {
    let state = |at: &usize| {
        let state = &flow.states[*at];
        FlowPlace { name: Some(state.name.clone()), pointer: state.pointer.clone() }
    };
    let one_move = |at: &usize| {
        let one = &flow.moves[*at];
        FlowPlace { name: one.label.clone(), pointer: one.pointer.clone() }
    };
    OfFlow {
        never_reached: reach.never_reached.iter().map(state).collect(),
        no_way_out: reach.no_way_out.iter().map(state).collect(),
        never_taken: reach.never_taken.iter().map(one_move).collect(),
        open: Vec::new(),
    }
}

/// The walk to the worst finding that was seen on one; otherwise the longest of those that were played.
fn shown_walk(findings: &[Finding], walks_to: &BTreeMap<String, Walk>, played: &[Walk]) -> Walk {
    let open = findings.iter().filter(|finding| finding.is_open() && finding.severity > Severity::Note);
    let with_walk = open.filter_map(|finding| Some((finding.severity, walks_to.get(&finding.fingerprint)?)));
    // Of several the shortest, and of those the first.
    let worst = with_walk.rev().max_by_key(|(severity, walk)| (*severity, std::cmp::Reverse(walk.moves.len())));
    let longest = || played.iter().max_by_key(|walk| walk.moves.len());
    let nothing = Walk { start: 0, at: 0, moves: Vec::new() };
    worst.map(|(_, walk)| walk).or_else(longest).cloned().unwrap_or(nothing)
}

fn node_figures(names: &Names<'_>, proof: &Proof) -> Vec<NodeFigures> {
    let is_proved = proof.left_behind_moves != Bound::NotProved;
    let figures = |(node, of_node): (&Node, &NodeProof)| NodeFigures {
        state: names.flow.states[node.state].name.clone(),
        picture: (names.picture)(node.screen(names.flow)),
        counters: node.counters.clone(),
        proof: *of_node,
        left_behind_px: is_proved.then_some(of_node.left_behind_px),
    };
    names.graph.nodes.iter().zip(&proof.nodes).map(figures).collect()
}
