//! The proof put together: what the moves do, then cells, then times, then walks that reach the figures.

use super::{
    behaviour::Parts,
    cell_walks::walk_all,
    cell_witnesses::Finder,
    cells::Cells,
    groups::{groups, is_always_right},
    kinds::Kinds,
    longest_paths::ENDLESS,
    losing::Losing,
    most_flashes::FlashWork,
    proving::Proving,
    queues::{Controller, Queues},
    reduced::Pictures,
    result::{Bound, NodeProof, Proof, Witnesses},
    sent::SentTable,
    states::Ways,
    strongest_ghosts::strongest_of_all,
    waits::{
        Answers, Changes, NodeTimes, Which, edge_times, longest, longest_collision, may_be_lost, node_times,
        times_of_people,
    },
    witnesses::{of_queue, to_what_is_unsure},
};
use crate::{display::WhenBusy, panel::Tones};

pub(super) fn prove(proving: Proving<'_>, sent: &SentTable, progress: &(dyn Fn(f64) + Sync)) -> Proof {
    let Proving { flow, graph, frames, threads, most_cells } = proving;
    let kinds = Kinds::new(proving, sent);
    let mut proof = Proof::not_proved(graph.nodes.len());
    if kinds.most_drives() > 32 {
        return proof;
    }
    let cells = Cells::new(frames, &sent.regions, threads);
    progress(0.1);
    let display = &flow.head.display;
    let controller = Controller::new(flow, display, &sent.regions);
    let queues = Queues::new(&controller, graph, &kinds);
    progress(0.2);
    let losing = if display.when_busy == WhenBusy::Drops {
        Losing::new(&kinds, may_be_lost(proving, &kinds, &controller, &queues))
    } else {
        Losing::nothing(&kinds)
    };
    let has_beside = display.modes.iter().any(|mode| mode.beside.is_some());
    let (groups, unjoined) = groups(&cells, has_beside, frames.size().width as usize, most_cells);
    let is_joined = unjoined > groups.len();
    let parts = Parts {
        kinds: &kinds,
        cells: &cells.list,
        losing: &losing.list,
        loses: display.when_busy == WhenBusy::Drops,
        counts_every_update: display.limits.counts_every_update,
        levels: display.ink.all(),
        is_always_right: is_joined
            && has_beside
            && display.when_busy == WhenBusy::Waits
            && is_always_right(&cells, &kinds),
    };
    let ways = Ways::of(graph, &kinds, &losing, frames.begins());
    let flashes = FlashWork {
        proving,
        kinds: &kinds,
        controller: &controller,
        queues: &queues,
        cells: &cells,
        losing: &losing.list,
        ways: &ways,
    };
    let flash_walks;
    (proof.flashes, flash_walks) = flashes.most();

    // What each cell may show, and how often it is updated.
    let pictures = Pictures::new(proving, &kinds, &ways);
    let part = walk_all(parts, &pictures, &ways, &groups, threads, progress);
    proof.cells = groups.len();
    proof.unjoined_cells = unjoined;
    for (node, most) in proof.nodes.iter_mut().zip(&part.most) {
        node.most_since_cleaning = if *most == ENDLESS { Bound::Unbounded } else { Bound::Proved(*most as f64) };
    }
    for (node, pixels) in &part.left.pixels {
        proof.nodes[*node as usize].left_behind_px = *pixels;
    }
    let left_walk;
    (proof.left_behind, proof.left_behind_moves, left_walk) = part.left.into_places();
    // What cells show takes the most room: it is gone before the times of edges are worked out.
    let ghosts =
        strongest_of_all(part.shows, &Tones::new(&display.ink), frames.size().pixels(), graph.nodes.len(), threads);
    for (node, ghost) in proof.nodes.iter_mut().zip(&ghosts) {
        node.ghost_l = ghost.bound;
    }

    // When updates begin and end, and when they answer.
    let answered = part.seen.answered(parts, display, threads);
    let changes: Vec<Changes> = part.of_edge.iter().map(|drives| drives.changes()).collect();
    let answers = Answers { by_kind: &answered, kind_of_edge: &ways.kind_of_edge, changes: &changes };
    let edges = edge_times(proving, &kinds, &controller, &queues, &changes, answers);
    if queues.is_proved {
        [proof.answer_of_people_ms, proof.finish_of_people_ms] = times_of_people(proving, &edges, answers);
        let changes: Vec<Changes> = part.of_start.iter().map(|drives| drives.changes()).collect();
        proof.collide_ms = longest_collision(proving, &kinds, &controller, &edges, &changes);
        let times = node_times(proving, &kinds, &controller, &edges, &changes);
        proof.nodes.iter_mut().zip(times).for_each(|(node, times)| node.take(times));
    }
    proof.queues_joined = queues.are_joined;
    proof.cannot_keep_up = queues.grow && display.when_busy == WhenBusy::Waits;

    // Walks that are likely to reach these figures.
    let finder = Finder { parts, ways: &ways, groups: &groups };
    let limit = flow.head.limits.too_many_since_cleaning.updates.map(|limit| limit.value);
    proof.witnesses = Witnesses {
        most_since_cleaning: finder.count(part.counts, limit),
        ghost_l: finder.ghosts(&ghosts, flow.head.limits.visible_ghost.limit_l.value),
        wait_ms: longest(&edges, &queues, Which::Wait).map(|(walk, edge, ms)| of_queue(walk, edge, &ways, ms)),
        answer_ms: longest(&edges, &queues, Which::Answer)
            .map(|(walk, edge, ms)| of_queue(walk, edge, &ways, ms))
            .into_iter()
            .chain(to_what_is_unsure(proving, &ways, answers))
            .collect(),
        left_behind_moves: left_walk,
        flashes: flash_walks,
    };
    progress(1.0);
    proof
}

impl NodeProof {
    fn take(&mut self, times: NodeTimes) {
        (self.wait_ms, self.answer_ms, self.finish_ms) = (times.wait_ms, times.answer_ms, times.finish_ms);
    }
}
