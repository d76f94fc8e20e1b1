//! The proof of flows against the plain model: on small random flows every figure is worked out a second time, and random
//! walks never exceed a bound.

mod apart;
mod made;
mod times;

use apart::{Apart, sends};
use made::{Made, Taste, random};
use stillpage::{
    flow::Graph,
    proof::{Bound, Proof, Proving, SentTable, prove},
};

/// As much may stand on the glass in all, at every node.
const MOST_STATES: usize = 400;
const MOST_QUEUES: usize = 5000;

fn graph_of(made: &Made) -> Graph {
    Graph::new(&made.flow, |passage| sends(made, passage)).unwrap()
}

fn proof_of(made: &Made, graph: &Graph) -> Proof {
    let sent = SentTable::new(&made.flow, &made.frames);
    prove(Proving { flow: &made.flow, graph, frames: &made.frames, threads: 2 }, &sent, &|_| {})
}

fn words(made: &Made) -> String {
    format!("{:#}\n{:#}\n{:?}", made.json, made.display_json, made.screens)
}

fn compare(seed: u64, taste: Taste) -> bool {
    let made = random(seed, taste);
    let graph = graph_of(&made);
    let begun = std::time::Instant::now();
    let times = times::all(&made, &graph, MOST_QUEUES);
    let losing = times.as_ref().filter(|_| taste == Taste::Drops);
    if taste == Taste::Drops && losing.is_none() {
        return false;
    }
    // The proof numbers only updates that send something, and so do the times.
    let may_be_lost = |edge: Option<usize>, start: usize| {
        losing.map_or(0, |times| edge.map_or(times.starts[start], |edge| times.edges[edge]))
    };
    let Some(apart) = Apart::new(&made, &graph, MOST_STATES, &may_be_lost) else { return false };
    let a = begun.elapsed();
    let proof = proof_of(&made, &graph);
    eprintln!("{seed} {:?} {:?} {:?} {}", a, begun.elapsed(), graph.edges.len(), proof.cannot_keep_up);
    for (node, (proved, truth)) in proof.nodes.iter().zip(apart.truths()).enumerate() {
        let place = || format!("seed {seed}, node {node} {:?}: {proved:?}, but {truth:?}\n{}", graph.nodes[node], words(&made));
        let most = truth.most.map_or(Bound::Unbounded, |most| Bound::Proved(most as f64));
        assert_eq!(proved.most_since_cleaning, most, "{}", place());
        let ghost_l = proved.ghost_l.figure().unwrap_or(f64::NAN);
        assert!((-1e-6..0.03).contains(&(ghost_l - truth.ghost_l)), "{}", place());
        assert_eq!(proved.left_behind_px, truth.left_px, "{}", place());
        if let (Some(times), true) = (&times, taste != Taste::Drops) {
            let wait_ms = proved.wait_ms.figure().unwrap_or(f64::INFINITY);
            assert!((wait_ms - times.wait_ms[node]).abs() < 0.01, "{} {}", times.wait_ms[node], place());
        }
    }
    true
}

/// Every figure of small flows is what it is when all that can stand on the glass is listed.
#[test]
fn small_flows_are_proved_exactly() {
    let cases = crate::number_of_plans();
    let compared = (0..cases).filter(|seed| compare(*seed, Taste::Plain)).count() as u64;
    assert!(compared * 2 > cases, "only {compared} of {cases} flows are small enough");
}

/// The same where drives leave something beside what they drive.
#[test]
fn small_flows_with_neighbours_are_proved_exactly() {
    let cases = crate::number_of_plans();
    let compared = (0..cases).filter(|seed| compare(*seed, Taste::Beside)).count() as u64;
    assert!(compared * 2 > cases, "only {compared} of {cases} flows are small enough");
}

/// The same where a busy controller loses what it is not free for.
#[test]
fn small_flows_with_losses_are_proved_exactly() {
    let cases = crate::number_of_plans();
    let compared = (0..cases).filter(|seed| compare(*seed, Taste::Drops)).count() as u64;
    assert!(compared * 4 > cases, "only {compared} of {cases} flows are small enough");
}
