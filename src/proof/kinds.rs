//! What the edges of a graph do, each way once: the screens before and after, and the updates with what they send where.
//!
//! Many edges do the same, because counters do not change what is sent.

use std::collections::HashMap;

use super::{
    proving::Proving,
    sent::{SentTable, listed},
};
use crate::{
    display::{Display, Level},
    panel::{Aim, Driving, Law},
    plan::Update,
};

/// A way to drive: a mode, for as long as one update drives it.
#[derive(Debug)]
pub(super) struct Way {
    pub(super) law: Law,
    /// By the level of a pixel and the level that it is to get.
    aims: Vec<Aim>,
    levels: usize,
    /// Whether pixels that it drives count as clean afterwards.
    pub(super) cleans: bool,
}

impl Way {
    fn new(display: &Display, mode: usize, driving: Driving) -> Self {
        let (mode, ink) = (&display.modes[mode], &display.ink);
        let levels = 0..ink.levels() as Level;
        let pairs = levels.clone().flat_map(|level| levels.clone().map(move |target| (level, target)));
        Self {
            law: Law::new(mode, ink, driving.temperature_c, driving.share),
            aims: pairs.map(|(level, target)| Aim::new(mode, ink, level, target)).collect(),
            levels: ink.levels(),
            #[expect(clippy::float_cmp, reason = "a whole drive is exactly 1")]
            cleans: mode.cleans && driving.share == 1.0,
        }
    }

    /// Where it brings a pixel of a level that is to get another.
    pub(super) fn aim(&self, level: Level, target: Level) -> Aim {
        self.aims[usize::from(level) * self.levels + usize::from(target)]
    }
}

/// An update of an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct KindUpdate {
    pub(super) mode: usize,
    /// What it sends; nothing if there is none.
    pub(super) region: Option<usize>,
    /// The pixels to transfer.
    pub(super) transfer_px: u64,
    pub(super) duration_ms: f64,
    /// From its start to the first visible change, ms.
    pub(super) first_visible_ms: f64,
}

/// All sets of the drives of a set, a bit each, that set and the empty one among them: what a controller may lose together.
pub(super) fn subsets(of: u32) -> impl Iterator<Item = u32> {
    std::iter::successors(Some(of), move |lost| (*lost > 0).then(|| (lost - 1) & of))
}

/// One drive of an edge: how, and over which region.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct KindDrive {
    pub(super) way: usize,
    pub(super) region: usize,
}

/// What an edge, or a start, does.
#[derive(Debug)]
pub(super) struct Kind {
    /// The frame before.
    pub(super) before: usize,
    /// The frame after.
    pub(super) after: usize,
    /// All updates in their order, those of cleanings last.
    pub(super) updates: Vec<KindUpdate>,
    /// Those that send something.
    pub(super) drives: Vec<KindDrive>,
    /// The cleanings that run.
    pub(super) cleanings: Vec<usize>,
    /// Whether the move itself sends something, which counters count.
    pub(super) sends: bool,
    /// The number of the list of its drives' ways, each such list once.
    pub(super) sequence: usize,
}

/// A start that brings a node.
#[derive(Clone, Copy, Debug)]
pub(super) struct StartKind {
    pub(super) start: usize,
    pub(super) node: usize,
    pub(super) kind: usize,
}

/// What all edges and starts of a graph do.
#[derive(Debug)]
pub(super) struct Kinds {
    pub(super) list: Vec<Kind>,
    pub(super) ways: Vec<Way>,
    /// By edge.
    pub(super) of_edge: Vec<u32>,
    pub(super) starts: Vec<StartKind>,
    /// The ways of each sequence.
    pub(super) sequences: Vec<Vec<usize>>,
    /// By kind, the number of what it sends, whatever the screens.
    pub(super) sending_of: Vec<u32>,
    /// For each of these numbers one of its kinds.
    pub(super) sendings: Vec<usize>,
}

impl Kinds {
    pub(super) fn new(proving: Proving<'_>, sent: &SentTable) -> Self {
        let Proving { flow, graph, frames, .. } = proving;
        let mut making = Making::new(proving, sent);
        let mut known: HashMap<(usize, usize, usize, &[usize]), u32> = HashMap::new();
        let screen = |node: usize| flow.states[graph.nodes[node].state].screens[graph.nodes[node].picture];
        let mut of_edge = Vec::with_capacity(graph.edges.len());
        for edge in &graph.edges {
            let (before, after) = (screen(edge.from), screen(edge.to));
            let kind = known.entry((edge.by, before.0, after.0, &edge.cleanings)).or_insert_with(|| {
                let regions = sent.of_move(edge.by, before, after);
                let asked = listed(&flow.moves[edge.by].updates).iter().zip(regions.iter().copied());
                let cleanings = edge.cleanings.iter().map(|cleaning| sent.cleanings[*cleaning]);
                let updates: Vec<Update> =
                    edge.cleanings.iter().map(|cleaning| Update::of_all(flow.cleanings[*cleaning].mode)).collect();
                let sends = regions.iter().any(Option::is_some);
                let kind = making.kind([before.0, after.0], asked.chain(updates.iter().zip(cleanings)));
                let made = &mut making.list[kind as usize];
                (made.sends, made.cleanings) = (sends, edge.cleanings.to_vec());
                kind
            });
            of_edge.push(*kind);
        }
        let mut starts = Vec::new();
        for (number, start) in flow.starts.iter().enumerate() {
            let nodes = graph.nodes[..graph.starts].iter().enumerate();
            for (node, _) in nodes.filter(|(_, node)| node.state == start.at) {
                let regions = sent.of_start(number, screen(node)).iter().copied();
                let asked = listed(&start.updates).iter().zip(regions);
                let kind = making.kind([frames.begins(), screen(node).0], asked) as usize;
                starts.push(StartKind { start: number, node, kind });
            }
        }
        let Making { list, ways, sequences, .. } = making;
        let (sending_of, sendings) = sendings(&list);
        Self { list, ways, of_edge, starts, sequences, sending_of, sendings }
    }

    /// The most updates of an edge that send something.
    pub(super) fn most_drives(&self) -> usize {
        self.list.iter().map(|kind| kind.drives.len()).max().unwrap_or(0)
    }
}

/// By kind, the number of what it sends, and one kind for each such number.
fn sendings(list: &[Kind]) -> (Vec<u32>, Vec<usize>) {
    let mut numbers: HashMap<&[KindDrive], u32> = HashMap::new();
    let mut examples = Vec::new();
    let mut of = Vec::with_capacity(list.len());
    for (number, kind) in list.iter().enumerate() {
        let next = examples.len() as u32;
        let known = *numbers.entry(&kind.drives).or_insert(next);
        if known == next {
            examples.push(number);
        }
        of.push(known);
    }
    (of, examples)
}

struct Making<'f> {
    proving: Proving<'f>,
    list: Vec<Kind>,
    ways: Vec<Way>,
    driven: Vec<(usize, Driving)>,
    sequences: Vec<Vec<usize>>,
    numbers: HashMap<Vec<usize>, usize>,
    /// The pixels of each region.
    pixels: &'f [u64],
}

impl<'f> Making<'f> {
    fn new(proving: Proving<'f>, sent: &'f SentTable) -> Self {
        Self {
            proving,
            list: Vec::new(),
            ways: Vec::new(),
            driven: Vec::new(),
            sequences: Vec::new(),
            numbers: HashMap::new(),
            pixels: &sent.regions.pixels,
        }
    }

    fn kind<'u>(&mut self, frames: [usize; 2], asked: impl Iterator<Item = (&'u Update, Option<usize>)>) -> u32 {
        let [before, after] = frames;
        let (mut updates, mut drives) = (Vec::new(), Vec::new());
        for (update, region) in asked {
            let made = self.update(update, region);
            updates.push(made);
            if let Some(region) = region {
                drives.push(KindDrive { way: self.way(update.mode, made.duration_ms), region });
            }
        }
        let sequence: Vec<usize> = drives.iter().map(|drive| drive.way).collect();
        let next = self.sequences.len();
        let number = *self.numbers.entry(sequence.clone()).or_insert(next);
        if number == next {
            self.sequences.push(sequence);
        }
        self.list.push(Kind { before, after, updates, drives, cleanings: Vec::new(), sends: false, sequence: number });
        self.list.len() as u32 - 1
    }

    fn update(&self, update: &Update, region: Option<usize>) -> KindUpdate {
        let head = &self.proving.flow.head;
        let mode = &head.display.modes[update.mode];
        let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(head.temperature_c));
        let sent_px = region.map_or(0, |region| self.pixels[region]);
        KindUpdate {
            mode: update.mode,
            region,
            transfer_px: if update.with_old { 2 * sent_px } else { sent_px },
            duration_ms,
            first_visible_ms: mode.first_visible_ms.unwrap_or(duration_ms / 4.0),
        }
    }

    fn way(&mut self, mode: usize, duration_ms: f64) -> usize {
        let head = &self.proving.flow.head;
        let driving = Driving::new(&head.display.modes[mode], duration_ms, head.temperature_c);
        // Impulse is not looked at.
        let driving = Driving { stretch: 1.0, ..driving };
        let known = self.driven.iter().position(|known| *known == (mode, driving));
        known.unwrap_or_else(|| {
            self.driven.push((mode, driving));
            self.ways.push(Way::new(&head.display, mode, driving));
            self.ways.len() - 1
        })
    }
}
