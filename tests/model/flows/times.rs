//! Every queue that walks meet at a node, listed one by one without leaving any out, as long as there are not too many.

use std::collections::HashSet;

use stillpage::{
    flow::{Graph, Input},
    plan::Cause,
};

use super::{
    apart::{Does, Sent, edge_does, starts},
    made::Made,
};
use crate::plain::geometry::{count, overlap};

/// How long after the last request everything is still busy, ms.
#[derive(Clone)]
struct Queue {
    node: usize,
    link: f64,
    places: Vec<f64>,
    /// Whose pixels, by edge (or start) and update, and until when.
    running: Vec<((usize, usize), f64)>,
    since_clock: f64,
}

/// A queue in whole numbers, in an order that does not depend on how it came about.
type QueueKey = (usize, Vec<i64>, Vec<((usize, usize), i64)>);

impl Queue {
    fn key(&self) -> QueueKey {
        let whole = |ms: f64| (ms * 1e5).round() as i64;
        let mut places: Vec<i64> = self.places.iter().map(|ms| whole(*ms)).collect();
        places.sort_unstable();
        places.extend([whole(self.link), whole(self.since_clock)]);
        let mut running: Vec<_> = self.running.iter().map(|(whose, ms)| (*whose, whole(*ms))).collect();
        running.sort_unstable();
        (self.node, places, running)
    }
}

/// What the queues of a flow come to.
pub(super) struct Times {
    /// By node, the longest wait, ms.
    pub(super) wait_ms: Vec<f64>,
    /// By edge and by start, which updates have to wait somewhere.
    pub(super) edges: Vec<u32>,
    pub(super) starts: Vec<u32>,
}

struct Listing<'m> {
    made: &'m Made,
    does: Vec<Does<'m>>,
    times: Times,
}

/// `None` where there are more queues than so many.
pub(super) fn all(made: &Made, graph: &Graph, most: usize) -> Option<Times> {
    let starts = starts(made, graph);
    let nodes: Vec<usize> = starts.iter().map(|(_, node, _)| *node).collect();
    let mut does: Vec<Does<'_>> = graph.edges.iter().map(|edge| edge_does(made, graph, edge)).collect();
    let edges = does.len();
    does.extend(starts.into_iter().map(|(_, _, does)| does));
    let times = Times { wait_ms: vec![0.0; graph.nodes.len()], edges: vec![0; edges], starts: vec![0; nodes.len()] };
    let longest_every_ms = made.flow.moves.iter().map(|one| one.every_ms).fold(0.0, f64::max);
    let mut listing = Listing { made, does, times };
    let mut open = Vec::new();
    let mut known = HashSet::new();
    for (number, node) in nodes.into_iter().enumerate() {
        let places = vec![0.0; made.display.parallel_updates];
        let idle = Queue { node, link: 0.0, places, running: Vec::new(), since_clock: longest_every_ms };
        let queue = listing.take(idle, edges + number);
        if known.insert(queue.key()) {
            open.push(queue);
        }
    }
    while let Some(queue) = open.pop() {
        // Waits that are much longer than an update grow, or nearly so.
        const FAR_MS: f64 = 20_000.0;
        if known.len() > most || queue.places.iter().any(|busy| *busy > FAR_MS) {
            return None;
        }
        for (number, edge) in graph.edges.iter().enumerate().filter(|(_, edge)| edge.from == queue.node) {
            let one = &made.flow.moves[edge.by];
            let mut soonest_ms = one.soonest_ms;
            if one.cause == Cause::Clock {
                soonest_ms = soonest_ms.max(one.every_ms - queue.since_clock);
            }
            if made.flow.input == Input::WhenFree && one.cause.is_person() {
                soonest_ms = queue.places.iter().copied().fold(soonest_ms, f64::max);
            }
            // As soon as it may come, and so late that a tick may follow at once.
            let due_ms = soonest_ms.max(longest_every_ms - queue.since_clock);
            let is_alike = one.cause == Cause::Clock || due_ms <= soonest_ms;
            for after_ms in [Some(soonest_ms), (!is_alike).then_some(due_ms)].into_iter().flatten() {
                let mut next = queue.clone();
                for busy in next.places.iter_mut().chain([&mut next.link]) {
                    *busy = (*busy - after_ms).max(0.0);
                }
                next.running.iter_mut().for_each(|(_, busy)| *busy -= after_ms);
                next.running.retain(|(_, busy)| *busy > 0.0);
                next.since_clock =
                    if one.cause == Cause::Clock { 0.0 } else { (queue.since_clock + after_ms).min(longest_every_ms) };
                next.node = edge.to;
                let next = listing.take(next, number);
                if known.insert(next.key()) {
                    open.push(next);
                }
            }
        }
    }
    Some(listing.times)
}

impl Listing<'_> {
    fn take(&mut self, mut queue: Queue, number: usize) -> Queue {
        let sending = self.does[number].updates.iter().enumerate().filter(|(_, sent)| sent.covered.contains(&true));
        for (bit, (at, sent)) in sending.enumerate() {
            let transfer = self.transfer_ms(sent);
            let arrived = queue.link + transfer;
            queue.places.sort_by(f64::total_cmp);
            let mut start = arrived.max(queue.places[0]);
            for ((edge, update), until) in &queue.running {
                if overlap(&self.does[*edge].updates[*update].covered, &sent.covered) {
                    start = start.max(*until);
                }
            }
            let finish = start + sent.for_ms;
            queue.places[0] = finish;
            queue.link = if self.made.display.link.waits_for_panel { finish } else { arrived };
            queue.running.push(((number, at), finish));
            let wait_ms = start - transfer;
            let longest = &mut self.times.wait_ms[queue.node];
            *longest = longest.max(wait_ms);
            if wait_ms > 1e-9 {
                let edges = self.times.edges.len();
                let lost =
                    if number < edges { &mut self.times.edges[number] } else { &mut self.times.starts[number - edges] };
                *lost |= 1 << bit;
            }
        }
        queue
    }

    fn transfer_ms(&self, sent: &Sent<'_>) -> f64 {
        let link = &self.made.display.link;
        let pictures = if sent.with_old { 2.0 } else { 1.0 };
        link.overhead_ms + pictures * count(&sent.covered) as f64 * link.bits_per_px / (link.megabits_per_s * 1000.0)
    }
}
