//! When the updates of every edge can start and end, from its request on, and how long after the request before that comes.
//!
//! A start lies anywhere from the request, with the transfers of its own move, to the longest wait that some walk meets
//! there. Knows no pixels.

use super::{
    kinds::{Kind, Kinds},
    proving::Proving,
    queues::{Controller, Queues, Sending},
};
use crate::{display::WhenBusy, flow::Input, plan::Cause};

/// When an update can start, ms from its request, and how long it takes.
#[expect(clippy::struct_field_names, reason = "the unit stands in the name")]
#[derive(Clone, Copy, Debug)]
pub(super) struct DriveTimes {
    pub(super) earliest_ms: f64,
    pub(super) latest_ms: f64,
    /// The longest time between the arrival of its data and its start.
    pub(super) panel_wait_ms: f64,
    pub(super) duration_ms: f64,
}

/// A move along an edge, as far as its times go.
#[derive(Clone, Copy, Debug)]
pub(super) struct EdgeTiming {
    /// The least time since the request before, and since the clock's move before, ms.
    pub(super) soonest_ms: f64,
    pub(super) every_ms: f64,
    pub(super) is_clock: bool,
    /// Whether it comes only when all updates have ended.
    pub(super) waits_until_free: bool,
    /// At least as long its updates keep the panel busy, ms from its request.
    busy_ms: f64,
    /// How long the transfers of all its updates take, ms; 0 where any may be lost.
    pub(super) transfers_ms: f64,
    /// Where its drives begin in the list.
    first: u32,
    end: u32,
}

/// The times of all edges and starts.
#[derive(Debug)]
pub(super) struct FlashTimes {
    drives: Vec<DriveTimes>,
    edges: Vec<EdgeTiming>,
    starts: Vec<EdgeTiming>,
    /// Whether no update starts before all earlier ones have ended, wherever they are.
    pub(super) is_one_by_one: bool,
}

impl FlashTimes {
    pub(super) fn new(proving: Proving<'_>, kinds: &Kinds, controller: &Controller<'_>, queues: &Queues) -> Self {
        let (flow, graph) = (proving.flow, proving.graph);
        let display = &flow.head.display;
        let drops = display.when_busy == WhenBusy::Drops;
        let is_one_by_one = display.parallel_updates == 1 || display.link.waits_for_panel;
        let mut times = Self { drives: Vec::new(), edges: Vec::new(), starts: Vec::new(), is_one_by_one };
        let transfer_ms = |pixels: u64| display.link.transfer_ms(pixels);
        for (number, edge) in graph.edges.iter().enumerate() {
            let kind = &kinds.list[kinds.of_edge[number] as usize];
            let one = &flow.moves[edge.by];
            let latest_ms = latest(kind, queues.is_proved, |tell| {
                queues.at(edge.from).for_each(|(_, busy)| {
                    let mut at = 0;
                    controller.make(busy, edge.by, kind, |sending| {
                        tell(at, sending);
                        at += 1;
                    });
                });
            });
            let timing = EdgeTiming {
                soonest_ms: one.soonest_ms,
                every_ms: one.every_ms,
                is_clock: one.cause == Cause::Clock,
                waits_until_free: flow.input == Input::WhenFree && one.cause.is_person(),
                ..times.add(kind, &latest_ms, drops, transfer_ms)
            };
            times.edges.push(timing);
        }
        for start in &kinds.starts {
            let kind = &kinds.list[start.kind];
            let latest_ms = latest(kind, true, |tell| {
                let mut at = 0;
                controller.take(&mut controller.idle(), kind, &mut |sending: Sending| {
                    tell(at, sending);
                    at += 1;
                });
            });
            let timing = times.add(kind, &latest_ms, drops, transfer_ms);
            times.starts.push(timing);
        }
        times
    }

    fn add(
        &mut self,
        kind: &Kind,
        latest_ms: &[[f64; 2]],
        drops: bool,
        transfer_ms: impl Fn(u64) -> f64,
    ) -> EdgeTiming {
        let first = self.drives.len() as u32;
        let (mut sent_ms, mut busy_ms) = (0.0, 0.0_f64);
        let updates = kind.updates.iter().filter(|update| update.region.is_some());
        for (update, [latest_ms, panel_wait_ms]) in updates.zip(latest_ms) {
            let own_ms = transfer_ms(update.transfer_px);
            sent_ms += own_ms;
            // Of a controller that drops updates, those before may be lost, and what is not lost waits for nothing else.
            let [earliest_ms, latest_ms, panel_wait_ms] =
                if drops { [own_ms, sent_ms, f64::INFINITY] } else { [sent_ms, *latest_ms, *panel_wait_ms] };
            let duration_ms = update.duration_ms;
            self.drives.push(DriveTimes {
                earliest_ms,
                latest_ms: latest_ms.max(earliest_ms),
                panel_wait_ms,
                duration_ms,
            });
            if !drops {
                busy_ms = busy_ms.max(earliest_ms + duration_ms);
            }
        }
        let end = self.drives.len() as u32;
        EdgeTiming {
            soonest_ms: 0.0,
            every_ms: 0.0,
            is_clock: false,
            waits_until_free: false,
            busy_ms,
            transfers_ms: if drops { 0.0 } else { sent_ms },
            first,
            end,
        }
    }

    pub(super) fn edge(&self, edge: usize) -> &EdgeTiming {
        &self.edges[edge]
    }

    pub(super) fn start(&self, start: usize) -> &EdgeTiming {
        &self.starts[start]
    }

    /// The times of those of its updates that send something.
    pub(super) fn drives(&self, timing: &EdgeTiming) -> &[DriveTimes] {
        &self.drives[timing.first as usize..timing.end as usize]
    }
}

impl EdgeTiming {
    /// At least as long after its request the panel is busy with it, ms.
    pub(super) fn busy_ms(&self) -> f64 {
        self.busy_ms
    }
}

/// The latest start of every update of a kind, ms from its request on, and from the arrival of its data on, over all queues
/// that it can meet.
fn latest(kind: &Kind, is_proved: bool, sendings: impl FnOnce(&mut dyn FnMut(usize, Sending))) -> Vec<[f64; 2]> {
    let mut latest_ms = vec![[if is_proved { 0.0 } else { f64::INFINITY }; 2]; kind.drives.len()];
    if is_proved {
        sendings(&mut |at, sending| {
            let [start_ms, panel_wait_ms] = &mut latest_ms[at];
            *start_ms = start_ms.max(sending.start_ms);
            // Where both are endless nothing is known of what is between.
            let waited_ms = sending.start_ms - sending.arrived_ms;
            *panel_wait_ms = if waited_ms.is_nan() { f64::INFINITY } else { panel_wait_ms.max(waited_ms) };
        });
    }
    latest_ms
}
