//! The proof of flows against the plain model: on small random flows every figure is worked out a second time, and random
//! walks never exceed a bound.

mod apart;
mod made;
mod times;
mod walked;

use apart::{Apart, sends};
use made::{Made, Taste, random};
use serde_json::{Value, json};
use stillpage::{
    flow::Graph,
    proof::{Bound, MOST_CELLS, Proof, Proving, SentTable, prove},
};

/// As much may stand on the glass in all, at every node.
const MOST_STATES: usize = 400;
const MOST_QUEUES: usize = 1500;

fn graph_of(made: &Made) -> Graph {
    Graph::new(&made.flow, |passage| sends(made, passage)).unwrap()
}

fn proof_of(made: &Made, graph: &Graph) -> Proof {
    joined_proof_of(made, graph, MOST_CELLS)
}

/// The same where at most so many cells are told apart.
fn joined_proof_of(made: &Made, graph: &Graph, most_cells: usize) -> Proof {
    let sent = SentTable::new(&made.flow, &made.frames);
    prove(Proving { flow: &made.flow, graph, frames: &made.frames, threads: 2, most_cells }, &sent, &|_| {})
}

fn words(made: &Made) -> String {
    format!("{:#}\n{:#}\n{:?}", made.json, made.display_json, made.screens)
}

fn compare(seed: u64, taste: Taste) -> bool {
    let made = random(seed, taste);
    let graph = graph_of(&made);
    let times = times::all(&made, &graph, MOST_QUEUES);
    let losing = times.as_ref().filter(|_| taste == Taste::Drops);
    // What a pause before a tick may lose is not listed: there are as many pauses as there are numbers.
    if taste == Taste::Drops && (losing.is_none() || made.has_every_ms()) {
        return false;
    }
    // The proof numbers only updates that send something, and so do the times.
    let may_be_lost = |edge: Option<usize>, start: usize| {
        losing.map_or(0, |times| edge.map_or(times.starts[start], |edge| times.edges[edge]))
    };
    let Some(apart) = Apart::new(&made, &graph, MOST_STATES, &may_be_lost) else { return false };
    let proof = proof_of(&made, &graph);
    for (node, (proved, truth)) in proof.nodes.iter().zip(apart.truths()).enumerate() {
        let place =
            || format!("seed {seed}, node {node} {:?}: {proved:?}, but {truth:?}\n{}", graph.nodes[node], words(&made));
        let most = truth.most.map_or(Bound::Unbounded, |most| Bound::Proved(most as f64));
        assert_eq!(proved.most_since_cleaning, most, "{}", place());
        let ghost_l = proved.ghost_l.figure().unwrap_or(f64::NAN);
        assert!((-1e-6..0.03).contains(&(ghost_l - truth.ghost_l)), "{}", place());
        assert_eq!(proved.left_behind_px, truth.left_px, "{}", place());
        if let (Some(times), true) = (&times, taste != Taste::Drops) {
            let more_ms = proved.wait_ms.figure().unwrap_or(f64::INFINITY) - times.wait_ms[node];
            // Of all pauses before a tick only the longest are listed.
            let most_ms = if made.has_every_ms() { f64::INFINITY } else { 0.01 };
            assert!(more_ms > -0.01 && more_ms < most_ms, "{} {}", times.wait_ms[node], place());
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
    // Many are left out: those in which a tick has to wait for the one before it, and those with too many queues.
    let cases = 2 * crate::number_of_plans();
    let compared = (0..cases).filter(|seed| compare(*seed, Taste::Drops)).count() as u64;
    assert!(compared * 6 > cases, "only {compared} of {cases} flows are small enough");
}

/// What is proved of joined cells holds for each of them: no bound is below that of the cells told apart, and counts, which
/// are joined by their maxima, are mostly the same.
#[test]
fn joined_cells_give_no_bound_that_is_too_low() {
    let tastes = [Taste::Plain, Taste::Beside, Taste::Drops];
    let figure = |bound: &Bound| match bound {
        Bound::Proved(figure) => *figure,
        Bound::Unbounded | Bound::NotProved => f64::INFINITY,
    };
    let [mut nodes, mut joined_cells, mut same] = [0_u32; 3];
    for seed in 0..crate::number_of_plans() / 3 {
        let made = random(3_000_000 + seed, tastes[seed as usize % 3]);
        let graph = graph_of(&made);
        let (apart, joined) = (proof_of(&made, &graph), joined_proof_of(&made, &graph, 4));
        joined_cells += u32::from(joined.cells < apart.cells);
        for (node, (apart, joined)) in apart.nodes.iter().zip(&joined.nodes).enumerate() {
            let place = || format!("seed {seed}, node {node}: {joined:?} below {apart:?}\n{}", words(&made));
            assert!(figure(&joined.most_since_cleaning) >= figure(&apart.most_since_cleaning), "{}", place());
            assert!(figure(&joined.ghost_l) >= figure(&apart.ghost_l) - 1e-6, "{}", place());
            assert!(figure(&joined.wait_ms) >= figure(&apart.wait_ms) - 1e-6, "{}", place());
            assert!(joined.left_behind_px >= apart.left_behind_px, "{}", place());
            nodes += 1;
            same += u32::from(figure(&joined.most_since_cleaning) <= figure(&apart.most_since_cleaning));
        }
    }
    assert!(joined_cells > 0 && same * 2 > nodes, "{joined_cells} flows joined, {same} of {nodes} counts the same");
}

/// Random walks of 200 moves, some as soon as they may come and some later, never exceed a bound.
#[test]
fn walks_exceed_no_bound() {
    let tastes = [Taste::Plain, Taste::Beside, Taste::Drops];
    let mut near = [0, 0];
    for seed in 0..crate::number_of_plans() / 2 {
        let made = random(1_000_000 + seed, tastes[seed as usize % 3]);
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        let mut dice = crate::random_plans::dice::Dice::new(seed);
        for is_hasty in [true, false] {
            let seen = walked::random(&made, &graph, &proof, &mut dice, is_hasty).unwrap_or_else(|fault| {
                panic!("seed {seed}: {fault}\n{}", words(&made));
            });
            near[0] += usize::from(seen.has_figures);
            near[1] += usize::from(seen.is_near_ghost);
        }
    }
    assert!(near[1] * 3 > near[0], "only {} of {} walks come near the bound of their ghosts", near[1], near[0]);
}

/// The walks that the proof gives reach the figures that they are given for.
#[test]
fn witnesses_reach_their_figures() {
    let (mut found, mut with_ticks) = ([0; 4], [0; 2]);
    for seed in 0..crate::number_of_plans() / 3 {
        let made = random(2_000_000 + seed, if seed % 2 == 0 { Taste::Plain } else { Taste::Beside });
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        let reached = |witness: &stillpage::proof::Witness| walked::along(&made, &graph, witness);
        for walk in &proof.witnesses.most_since_cleaning {
            let most = reached(walk).last().unwrap().most;
            assert!(most as f64 >= walk.figure, "seed {seed}: {most} instead of {walk:?}\n{}", words(&made));
            found[0] += 1;
        }
        for (at, walk) in proof.witnesses.ghost_l.iter().enumerate() {
            // The medians need not be as unfortunate as they may be: the ghost may stay below its bound.
            let ghost_l = reached(walk).last().unwrap().ghost_l;
            assert!(ghost_l < walk.figure + 1e-3, "seed {seed}: {ghost_l} instead of {walk:?}\n{}", words(&made));
            // The first one is to come near the strongest ghost; others lead to weaker ones.
            if at == 0 {
                found[1] += 1;
                found[2] += usize::from(ghost_l > 0.8 * walk.figure - 0.05);
            }
        }
        if let Some(walk) = &proof.witnesses.wait_ms {
            let rounds = if walk.around.is_empty() { 0 } else { 300 };
            let steps = reached(&stillpage::proof::Witness { rounds, ..walk.clone() });
            let wait_ms = steps.last().unwrap().wait_ms;
            if walk.figure.is_finite() && made.has_every_ms() {
                let close_ms = walked::along_close_to_ticks(&made, &graph, walk).last().unwrap().wait_ms;
                let most_ms = wait_ms.max(close_ms);
                assert!(most_ms < walk.figure + 0.01, "seed {seed}: {most_ms} beyond {walk:?}\n{}", words(&made));
                with_ticks[0] += 1;
                with_ticks[1] += usize::from(most_ms > walk.figure - 0.01);
            } else if walk.figure.is_finite() {
                assert!(
                    (wait_ms - walk.figure).abs() < 0.01,
                    "seed {seed}: {wait_ms} instead of {walk:?}\n{}",
                    words(&made)
                );
            } else {
                let before =
                    steps[walk.way.len() + walk.around.len()..].iter().map(|step| step.wait_ms).take(walk.around.len());
                let before = before.fold(0.0, f64::max);
                let all = steps.iter().map(|step| step.wait_ms).fold(0.0, f64::max);
                assert!(all > before, "seed {seed}: {all} after {before}, {walk:?}\n{}", words(&made));
            }
            found[3] += 1;
        }
    }
    assert!(found[0] > 20 && found[1] > 20 && found[3] > 20, "{found:?}");
    assert!(found[2] * 2 > found[1], "only {} of {} witnesses come near the bound", found[2], found[1]);
    assert!(with_ticks[1] * 2 > with_ticks[0], "only {with_ticks:?} waits before ticks come to their bound");
}

/// The walk that the proof gives for what is left behind shows something old for as many moves as it says; round a loop for
/// ever.
#[test]
fn what_is_left_behind_stays_as_long_as_is_proved() {
    let (mut found, mut endless) = (0, 0);
    for seed in 0..crate::number_of_plans() / 2 {
        let made = random(4_000_000 + seed, if seed % 2 == 0 { Taste::Plain } else { Taste::Beside });
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        let Some(walk) = &proof.witnesses.left_behind_moves else {
            assert_eq!(proof.left_behind_moves, Bound::Proved(0.0), "seed {seed}\n{}", words(&made));
            continue;
        };
        let left: Vec<bool> = walked::along(&made, &graph, walk).iter().map(|seen| seen.wrong_px > 0).collect();
        let place = || format!("seed {seed}: {left:?} on {walk:?}\n{}", words(&made));
        found += 1;
        if let Some(moves) = proof.left_behind_moves.figure() {
            // The last move brings it right, at least where it was left first.
            assert_eq!(Bound::Proved(walk.figure), proof.left_behind_moves, "{}", place());
            let begins = walk.way.len() - moves as usize;
            assert!(left[begins..walk.way.len()].iter().all(|left| *left), "{}", place());
        } else {
            endless += 1;
            assert!(left[walk.way.len()..].iter().all(|left| *left), "{}", place());
        }
    }
    assert!(found > 20 && endless > 5 && found > endless, "{found} flows leave something, {endless} for ever");
}

/// Where waits have a bound, the walks that the proof gives for flashes mostly come to as many of them as it says that none
/// exceeds. Not always: it takes the wait of the first flash to be the longest, and what comes behind it not to wait, and no
/// walk need be so.
#[test]
fn most_bounds_of_flashes_are_reached() {
    let tastes = [Taste::Plain, Taste::Beside, Taste::Drops];
    let (mut found, mut is_reached, mut endless) = (0, 0, 0);
    for seed in 0..crate::number_of_plans() {
        let made = random(3_000_000 + seed, tastes[seed as usize % 3]);
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        endless += usize::from(proof.flashes == Bound::Unbounded);
        let Some(flashes) = proof.flashes.figure().filter(|flashes| *flashes > 0.0) else { continue };
        assert!(!proof.witnesses.flashes.is_empty(), "seed {seed}\n{}", words(&made));
        let halves = |witness: &stillpage::proof::Witness| {
            let slow = [0, witness.way.len(), witness.way.len() + 1];
            let along = slow.map(|slow| walked::along_with(&made, &graph, witness, slow));
            along.iter().flatten().map(|seen| seen.halves).max().unwrap_or(0)
        };
        let most = proof.witnesses.flashes.iter().map(halves).max().unwrap_or(0);
        assert!(most as f64 / 2.0 <= flashes, "seed {seed}: {most} halves beyond {flashes}\n{}", words(&made));
        if proof.worst(|node| node.wait_ms).figure().is_some() {
            found += 1;
            is_reached += usize::from(most as f64 / 2.0 >= flashes);
        }
    }
    assert!(found > 20 && endless > 0, "{found} flows flash, {endless} without end");
    assert!(is_reached * 10 > found * 6, "only {is_reached} of {found} bounds are reached");
}

/// A panel of one row with one mode a duration, and pictures that differ in one pixel each.
fn timed(durations: &[f64], moves: &Value, places: usize) -> Made {
    let modes: Vec<Value> = durations.iter().enumerate().map(|(number, ms)| {
        json!({ "name": format!("mode-{number}"), "drives": "all", "windowed": true, "cleans": number == 0, "duration_ms": ms })
    }).collect();
    let display = json!({
        "format": "display/1", "name": "random", "family": "separate-controller",
        "size_px": [4, 1], "pixels_per_inch": 25.4, "ink": { "levels": 2, "reflectance": [0.04, 0.5] },
        "windows": { "step_px": [1, 1] },
        "link": { "megabits_per_s": 1000, "bits_per_px": 1, "overhead_ms": 0 },
        "parallel_updates": places, "modes": modes,
    });
    let states = json!({ "s0": { "screen": "0.png" }, "s1": { "screen": "1.png" }, "s2": { "screen": "2.png" } });
    let starts = json!([{ "at": "s0", "updates": [] }]);
    let flow = json!({ "begins": "white", "states": states, "starts": starts, "moves": moves });
    made::made(flow, display, vec![vec![1; 4], vec![0, 1, 1, 1], vec![0, 0, 1, 1]])
}

/// Two updates of 5 and 3 ms that take turns at one place: the mean weight of their cycle is 4 ms (max-plus algebra, the
/// cycle mean of Baccelli, Cohen, Olsder and Quadrat, 'Synchronization and Linearity', 1992, section 3.2; the figures are
/// our own). Requests that come every 4 ms are kept up with, and those that come any sooner are not.
#[test]
fn a_loop_is_kept_up_with_from_its_cycle_mean_on() {
    let proved = |soonest_ms: f64| {
        let one = |from: &str, to: &str, mode: usize| {
            json!({
                "from": from, "to": to, "cause": "touch", "soonest_ms": soonest_ms,
                "updates": [{ "mode": format!("mode-{mode}") }],
            })
        };
        let made = timed(&[5.0, 3.0], &json!([one("s0", "s1", 0), one("s1", "s0", 1)]), 1);
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        (proof.worst(|node| node.wait_ms), proof.cannot_keep_up)
    };
    let (kept, grows) = proved(4.0);
    assert!((kept.figure().unwrap() - 1.0).abs() < 0.01 && !grows, "{kept:?}");
    assert_eq!(proved(3.99), (Bound::Unbounded, true));
}

/// The same with two places: each takes every second update, so that a block of two laps grows evenly, and every single
/// lap does not.
#[test]
fn places_take_turns_in_a_loop() {
    let proved = |soonest_ms: f64| {
        let one = |from: &str, to: &str, pixel: i64| {
            json!({
                "from": from, "to": to, "cause": "touch", "soonest_ms": soonest_ms,
                "updates": [{ "mode": "mode-0", "window": [[pixel, 0, 1, 1]] }],
            })
        };
        let moves = json!([one("s0", "s1", 0), one("s1", "s2", 1), one("s2", "s0", 2)]);
        let made = timed(&[10.0, 1.0], &moves, 2);
        proof_of(&made, &graph_of(&made)).worst(|node| node.wait_ms)
    };
    assert!(proved(5.0).figure().unwrap() < 0.01);
    assert_eq!(proved(4.99), Bound::Unbounded);
}

/// The longest way through a net of tasks, where every move counts as one and a cleaning begins anew: the critical path
/// of a small project (the longest path by value iteration, Puterman, 'Markov Decision Processes', 1994; the net is our
/// own). Ways from s0 to s2 take one move or two; a loop at s2 that drives nothing adds nothing.
#[test]
fn the_longest_way_counts() {
    let one = |from: &str, to: &str, mode: usize, pixel: i64| {
        json!({
            "from": from, "to": to, "updates": [{ "mode": format!("mode-{mode}"), "window": [[pixel, 0, 1, 1]] }],
        })
    };
    let idle = json!({ "from": "s2", "to": "s2", "updates": [] });
    let ways = json!([one("s0", "s1", 1, 0), one("s1", "s2", 1, 0), one("s0", "s2", 1, 0), idle]);
    let most = |moves: &Value| {
        let made = timed(&[5.0, 3.0], moves, 1);
        let graph = graph_of(&made);
        let proof = proof_of(&made, &graph);
        graph
            .nodes
            .iter()
            .zip(&proof.nodes)
            .map(|(node, proof)| (node.state, proof.most_since_cleaning))
            .collect::<Vec<_>>()
    };
    let proved = |count: f64| Bound::Proved(count);
    assert_eq!(most(&ways), [(0, proved(0.0)), (1, proved(1.0)), (2, proved(2.0))]);
    let mut again = ways.as_array().unwrap().clone();
    // Back to the beginning over another pixel: the first one grows for ever, although no move comes back to it.
    again.push(one("s2", "s0", 1, 3));
    assert!(most(&json!(again)).iter().all(|(_, most)| *most == Bound::Unbounded));
    // A cleaning of another pixel helps nothing, one of the whole panel ends it.
    let mut cleaned = again.clone();
    cleaned[4] = one("s2", "s0", 0, 3);
    assert!(most(&json!(cleaned)).iter().all(|(_, most)| *most == Bound::Unbounded));
    cleaned[4]["updates"][0]["window"] = json!("all");
    cleaned[4]["updates"][0].as_object_mut().unwrap().remove("window");
    assert_eq!(most(&json!(cleaned)), [(0, proved(0.0)), (1, proved(1.0)), (2, proved(2.0))]);
}
