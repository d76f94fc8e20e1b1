//! The longest waits and answers at each node, from the queues that walks meet there and from what edges change.
//!
//! An update of a controller that drops what it is not free for may be lost where it would have to wait.

use std::thread;

use super::{
    answered::Answered,
    kinds::{Kind, Kinds},
    proving::Proving,
    queues::{Controller, QueueWalk, Queues, Sending},
    result::Bound,
};
use crate::display::{Display, WhenBusy};

/// In which of its drives an edge, or a start, does something: a bit for each drive.
#[derive(Clone, Copy, Debug)]
pub(super) struct Changes {
    /// They change something, as facts count it, on some walk.
    pub(super) may: u32,
    /// The same on every walk.
    pub(super) surely: u32,
    /// Some pixel gets another level on some walk: a mode may take it away from what is in memory.
    pub(super) may_show: u32,
    /// Some pixel is driven on every walk.
    pub(super) surely_drive: u32,
}

/// Which of its drives answers each edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Answers<'a> {
    /// By kind of edge, by its number among those that may lose something.
    pub(super) by_kind: &'a [Answered],
    pub(super) kind_of_edge: &'a [u32],
    /// By edge.
    pub(super) changes: &'a [Changes],
}

impl Answers<'_> {
    pub(super) fn of(self, edge: usize) -> Answered {
        match self.by_kind[self.kind_of_edge[edge] as usize] {
            // Nothing is to change, and something may be seen to change all the same.
            Answered::Nothing if self.changes[edge].may_show != 0 => Answered::Unsure,
            known => known,
        }
    }
}

/// What is proved of the times at a node.
#[expect(clippy::struct_field_names, reason = "the unit stands in the name")]
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct NodeTimes {
    pub(super) wait_ms: Bound,
    pub(super) answer_ms: Bound,
    pub(super) finish_ms: Bound,
}

/// The longest times of an edge, ms, and after which of the queues they come.
#[expect(clippy::struct_field_names, reason = "the unit stands in the name")]
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct EdgeTimes {
    wait_ms: Longest,
    /// The same without those that wait for nothing but an earlier update of their move.
    collide_ms: Longest,
    answer_ms: Longest,
    finish_ms: Longest,
    /// Until enough is seen to answer a person.
    answered_ms: Longest,
}

#[derive(Clone, Copy, Debug, Default)]
struct Longest {
    ms: f64,
    after: u32,
}

impl Longest {
    fn offer(&mut self, ms: f64, after: u32) {
        if ms > self.ms {
            *self = Self { ms, after };
        }
    }
}

/// The drives of each edge, and of each start, that a busy controller may lose: a bit each.
pub(super) fn may_be_lost(
    proving: Proving<'_>,
    kinds: &Kinds,
    controller: &Controller<'_>,
    queues: &Queues,
) -> [Vec<u32>; 2] {
    let waiting =
        |waits: &[f64]| waits.iter().enumerate().filter(|(_, ms)| **ms > 1e-9).fold(0, |bits, (at, _)| bits | 1 << at);
    let graph = proving.graph;
    let of_edge = |(number, edge): (usize, &crate::flow::Edge)| {
        let kind = &kinds.list[kinds.of_edge[number] as usize];
        queues.at(edge.from).fold(0, |lost, (_, busy)| {
            let mut waits = Vec::new();
            controller.make(busy, edge.by, kind, |sending| waits.push(sending.wait_ms));
            lost | waiting(&waits)
        })
    };
    let of_start = |start: &super::kinds::StartKind| {
        let mut waits = Vec::new();
        controller
            .take(&mut controller.idle(), &kinds.list[start.kind], &mut |sending: Sending| waits.push(sending.wait_ms));
        waiting(&waits)
    };
    [graph.edges.iter().enumerate().map(of_edge).collect(), kinds.starts.iter().map(of_start).collect()]
}

/// The longest times of every edge.
pub(super) fn edge_times(
    proving: Proving<'_>,
    kinds: &Kinds,
    controller: &Controller<'_>,
    queues: &Queues,
    changes: &[Changes],
    answers: Answers<'_>,
) -> Vec<EdgeTimes> {
    let Proving { flow, graph, threads, .. } = proving;
    let mut times = vec![EdgeTimes::default(); graph.edges.len()];
    let each = times.len().div_ceil(threads.max(1)).max(1);
    let drops = drops_alone(&flow.head.display);
    thread::scope(|scope| {
        for (part, times) in times.chunks_mut(each).enumerate() {
            scope.spawn(move || {
                let mut sent = Vec::new();
                for (at, times) in times.iter_mut().enumerate() {
                    let number = part * each + at;
                    let edge = &graph.edges[number];
                    let kind = &kinds.list[kinds.of_edge[number] as usize];
                    for (after, busy) in queues.at(edge.from) {
                        sent.clear();
                        controller.make(busy, edge.by, kind, |sending| sent.push(sending));
                        if drops {
                            sent = without_others(&flow.head.display, kind);
                        }
                        times.add(&sent, kind, changes[number], after);
                        if let Answered::By(drive) = answers.of(number)
                            && flow.moves[edge.by].cause.is_person()
                        {
                            times.answered_ms.offer(seen_at_ms(&sent, kind, drive), after);
                        }
                    }
                }
            });
        }
    });
    times
}

/// When all drives up to one show something, ms from the request on.
fn seen_at_ms(sent: &[Sending], kind: &Kind, drive: u32) -> f64 {
    let updates = kind.updates.iter().filter(|update| update.region.is_some());
    let all = sent.iter().zip(updates).take(drive as usize + 1);
    all.map(|(sending, update)| sending.start_ms + update.first_visible_ms).fold(0.0, f64::max)
}

impl EdgeTimes {
    fn add(&mut self, sent: &[Sending], kind: &Kind, changes: Changes, after: u32) {
        let Changes { may, surely, may_show, surely_drive } = changes;
        let seen = kind.updates.iter().filter(|update| update.region.is_some()).map(|update| update.first_visible_ms);
        let (mut first_sure, mut last_may) = (f64::INFINITY, 0.0_f64);
        for (at, (sending, first_visible_ms)) in sent.iter().zip(seen).enumerate() {
            self.wait_ms.offer(sending.wait_ms, after);
            if is_collision(sending, at, surely_drive) {
                self.collide_ms.offer(sending.wait_ms, after);
            }
            if may >> at & 1 == 1 {
                last_may = last_may.max(sending.start_ms + first_visible_ms);
            }
            if (may | may_show) >> at & 1 == 1 {
                self.finish_ms.offer(sending.finish_ms, after);
            }
            if surely >> at & 1 == 1 {
                first_sure = first_sure.min(sending.start_ms + first_visible_ms);
            }
        }
        self.answer_ms.offer(if surely == 0 { last_may } else { first_sure }, after);
    }
}

/// Whether a wait counts as a collision: what follows an earlier update of its own move in another mode was asked for just so,
/// if it drives anything.
fn is_collision(sending: &Sending, drive: usize, surely_drive: u32) -> bool {
    !sending.settles || surely_drive >> drive & 1 == 0
}

fn drops_alone(display: &Display) -> bool {
    display.when_busy == WhenBusy::Drops
}

/// When the updates of a request are sent by a controller that drops what it is not free for: what is taken waits for the
/// transfers of the same request at most.
fn without_others(display: &Display, kind: &Kind) -> Vec<Sending> {
    let mut sent_ms = 0.0;
    let sending = kind.updates.iter().filter(|update| update.region.is_some()).map(|update| {
        let before_ms = sent_ms;
        sent_ms += display.link.transfer_ms(update.transfer_px);
        Sending {
            wait_ms: before_ms,
            arrived_ms: sent_ms,
            start_ms: sent_ms,
            finish_ms: sent_ms + update.duration_ms,
            settles: false,
        }
    });
    sending.collect()
}

/// The longest times at every node.
pub(super) fn node_times(
    proving: Proving<'_>,
    kinds: &Kinds,
    controller: &Controller<'_>,
    times: &[EdgeTimes],
    start_changes: &[Changes],
) -> Vec<NodeTimes> {
    let graph = proving.graph;
    let mut nodes = vec![EdgeTimes::default(); graph.nodes.len()];
    for (number, start) in kinds.starts.iter().enumerate() {
        let kind = &kinds.list[start.kind];
        let mut sent = Vec::new();
        controller.take(&mut controller.idle(), kind, &mut |sending: Sending| sent.push(sending));
        if drops_alone(&proving.flow.head.display) {
            sent = without_others(&proving.flow.head.display, kind);
        }
        nodes[start.node].add(&sent, kind, start_changes[number], 0);
    }
    for (edge, times) in graph.edges.iter().zip(times) {
        let node = &mut nodes[edge.to];
        node.wait_ms.offer(times.wait_ms.ms, 0);
        node.answer_ms.offer(times.answer_ms.ms, 0);
        node.finish_ms.offer(times.finish_ms.ms, 0);
    }
    let bound = |longest: Longest| if longest.ms.is_finite() { Bound::Proved(longest.ms) } else { Bound::Unbounded };
    let of_node = |times: EdgeTimes| NodeTimes {
        wait_ms: bound(times.wait_ms),
        answer_ms: bound(times.answer_ms),
        finish_ms: bound(times.finish_ms),
    };
    nodes.into_iter().map(of_node).collect()
}

/// The longest wait of an update of a move or of a start for anything but an earlier update that it settles; `times` are those of
/// the edges.
pub(super) fn longest_collision(
    proving: Proving<'_>,
    kinds: &Kinds,
    controller: &Controller<'_>,
    times: &[EdgeTimes],
    start_changes: &[Changes],
) -> Bound {
    let display = &proving.flow.head.display;
    let mut of_starts_ms = 0.0_f64;
    for (number, start) in kinds.starts.iter().enumerate().filter(|_| !drops_alone(display)) {
        let mut at = 0;
        controller.take(&mut controller.idle(), &kinds.list[start.kind], &mut |sending: Sending| {
            if is_collision(&sending, at, start_changes[number].surely_drive) {
                of_starts_ms = of_starts_ms.max(sending.wait_ms);
            }
            at += 1;
        });
    }
    let ms = times.iter().map(|times| times.collide_ms.ms).fold(of_starts_ms, f64::max);
    if ms.is_finite() { Bound::Proved(ms) } else { Bound::Unbounded }
}

/// The longest time to a first answer, and until it is complete, over all moves of people; `times` are those of the edges.
pub(super) fn times_of_people(proving: Proving<'_>, times: &[EdgeTimes], answers: Answers<'_>) -> [Bound; 2] {
    let (flow, graph) = (proving.flow, proving.graph);
    let mut longest = [0.0_f64; 2];
    let mut is_sure = true;
    for (number, times) in times.iter().enumerate() {
        if flow.moves[graph.edges[number].by].cause.is_person() {
            is_sure &= answers.of(number) != Answered::Unsure;
            longest = [longest[0].max(times.answered_ms.ms), longest[1].max(times.finish_ms.ms)];
        }
    }
    let [answer, finish] = longest.map(|ms| if ms.is_finite() { Bound::Proved(ms) } else { Bound::Unbounded });
    [if is_sure { answer } else { answer.or_worse(Bound::NotProved) }, finish]
}

/// Which of the times of an edge is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Which {
    Wait,
    Answer,
}

/// The walk to the longest time of all edges, with that edge and the time, ms; none where no edge takes any.
pub(super) fn longest(times: &[EdgeTimes], queues: &Queues, which: Which) -> Option<(QueueWalk, usize, f64)> {
    let of = |times: &EdgeTimes| if which == Which::Wait { times.wait_ms } else { times.answered_ms };
    let (edge, longest) =
        times.iter().map(of).enumerate().max_by(|(_, one), (_, other)| one.ms.total_cmp(&other.ms))?;
    (longest.ms > 0.0).then(|| (queues.walk_to(longest.after), edge, longest.ms))
}
