//! What is true of every walk, worked out a second time: all that can stand on the whole glass at each node is listed, and
//! every figure is followed pixel by pixel through the plain model until nothing changes. Knows no cells.
//!
//! The graph of nodes and edges is the program's; `tests/reading/flows.rs` compares that with walks.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use stillpage::{
    flow::{Edge, Graph, Passage},
    plan::{Updates, WindowAsk},
};

use super::made::Made;
use crate::plain::{
    driving::{Drive, PanelState},
    geometry::{Mask, Rect, mask_of_boxes},
    reading::{Mode, Window},
    screens::Levels,
    windows::boxes,
};

/// An update with the pixels that it sends.
#[derive(Clone)]
pub(super) struct Sent<'m> {
    pub(super) mode: &'m Mode,
    pub(super) for_ms: f64,
    pub(super) with_old: bool,
    pub(super) covered: Mask,
}

/// What an edge does: its updates, and the screen that it brings.
#[derive(Clone)]
pub(super) struct Does<'m> {
    pub(super) updates: Vec<Sent<'m>>,
    pub(super) memory: &'m Levels,
}

/// The mask of what an update sends where the screens differ so.
fn sent<'m>(made: &'m Made, mode: usize, window: &WindowAsk, drive_ms: Option<f64>, differs: &Mask) -> Sent<'m> {
    let mode = &made.display.modes[mode];
    let window = match window {
        WindowAsk::All => Window::All,
        WindowAsk::Changed => Window::Changed,
        WindowAsk::Boxes(list) => {
            Window::Boxes(list.iter().map(|b| Rect { x: b.x, y: b.y, w: b.width, h: b.height }).collect())
        }
    };
    let boxes = boxes(&made.display, 0, mode, &window, differs);
    let for_ms = drive_ms.unwrap_or_else(|| mode.duration_at(25.0));
    Sent { mode, for_ms, with_old: false, covered: mask_of_boxes(made.size, &boxes.sent) }
}

fn listed<'m>(made: &'m Made, updates: &Updates, before: &Levels, after: &'m Levels) -> Does<'m> {
    let differs: Mask = before.iter().zip(after).map(|(one, other)| one != other).collect();
    let Updates::Listed(updates) = updates else { panic!("nothing is left to choose") };
    let one = |update: &stillpage::plan::Update| Sent {
        with_old: update.with_old,
        ..sent(made, update.mode, &update.window, update.drive_ms, &differs)
    };
    Does { updates: updates.iter().map(one).collect(), memory: after }
}

pub(super) fn screen(made: &Made, graph: &Graph, node: usize) -> usize {
    let node = &graph.nodes[node];
    made.flow.states[node.state].screens[node.picture].0
}

pub(super) fn begins(made: &Made) -> Levels {
    let (black, white) = (made.display.ink.black, made.display.ink.white);
    match made.json["begins"].as_str() {
        Some("black") => vec![black; made.size.pixels()],
        Some(_) => vec![white; made.size.pixels()],
        None => made.screens[0].clone(),
    }
}

pub(super) fn edge_does<'m>(made: &'m Made, graph: &Graph, edge: &Edge) -> Does<'m> {
    let (before, after) = (&made.screens[screen(made, graph, edge.from)], &made.screens[screen(made, graph, edge.to)]);
    let mut does = listed(made, &made.flow.moves[edge.by].updates, before, after);
    for cleaning in &edge.cleanings {
        let rule = &made.flow.cleanings[*cleaning];
        does.updates.push(sent(made, rule.mode, &rule.window, None, &vec![false; made.size.pixels()]));
    }
    does
}

/// The starts: which, the node, and what they do.
pub(super) fn starts<'m>(made: &'m Made, graph: &Graph) -> Vec<(usize, usize, Does<'m>)> {
    let mut starts = Vec::new();
    for (number, start) in made.flow.starts.iter().enumerate() {
        for node in (0..graph.starts).filter(|node| graph.nodes[*node].state == start.at) {
            let after = &made.screens[screen(made, graph, node)];
            starts.push((number, node, listed(made, &start.updates, &begins(made), after)));
        }
    }
    starts
}

/// Whether a passage sends anything: what counters count.
pub(super) fn sends(made: &Made, passage: Passage<'_>) -> bool {
    let does = listed(made, &passage.by.updates, &made.screens[passage.from.0], &made.screens[passage.to.0]);
    does.updates.iter().any(|sent| sent.covered.contains(&true))
}

/// The updates that send something: those that may be lost are numbered among them.
fn sending<'d, 'm>(does: &'d Does<'m>) -> impl Iterator<Item = &'d Sent<'m>> {
    does.updates.iter().filter(|sent| sent.covered.contains(&true))
}

/// Applies what an edge does, without the updates that are lost.
pub(super) fn apply(made: &Made, glass: &mut PanelState, does: &Does<'_>, lost: u32) {
    for (at, sent) in sending(does).enumerate() {
        if lost >> at & 1 == 1 {
            continue;
        }
        if sent.with_old {
            glass.remind(&sent.covered);
        }
        glass.update(drive(made, sent), &sent.covered, does.memory);
    }
}

pub(super) fn drive<'m>(made: &'m Made, sent: &Sent<'m>) -> Drive<'m> {
    Drive {
        ink: &made.display.ink,
        counts: made.display.counts,
        mode: sent.mode,
        for_ms: sent.for_ms,
        temperature_c: 25.0,
        width: made.size.w as usize,
    }
}

/// The pixels that an edge leaves behind.
pub(super) fn left_behind(glass: &PanelState, does: &Does<'_>, lost: u32) -> Mask {
    let sent = sending(does).enumerate().filter(|(at, _)| lost >> at & 1 == 0).map(|(_, sent)| sent);
    let sent: Vec<_> = sent.collect();
    let is_covered = |pixel: usize| sent.iter().any(|sent| sent.covered[pixel]);
    (0..glass.nominal.len()).map(|pixel| glass.nominal[pixel] != does.memory[pixel] && !is_covered(pixel)).collect()
}

/// A way from one thing on the glass to another.
struct Way {
    /// None of a start.
    from: Option<usize>,
    to: usize,
    does: usize,
    lost: u32,
    left: Mask,
    /// By pixel: whether the count begins again, and what is added.
    counts: Vec<(bool, u64)>,
}

/// All that can stand on the glass, and all ways between.
pub(super) struct Apart<'m> {
    made: &'m Made,
    does: Vec<Does<'m>>,
    ways: Vec<Way>,
    node: Vec<usize>,
    glass: Vec<Levels>,
    nodes: usize,
}

/// What every walk keeps to at a node.
#[derive(Clone, Debug)]
pub(super) struct NodeTruth {
    /// None where it grows for ever.
    pub(super) most: Option<u64>,
    pub(super) ghost_l: f64,
    pub(super) left_px: u64,
}

impl<'m> Apart<'m> {
    /// `None` where more can stand on the glass than so many pictures. `may_be_lost` says for an edge (or a start) which
    /// updates may be lost.
    pub(super) fn new(
        made: &'m Made,
        graph: &Graph,
        most: usize,
        may_be_lost: &dyn Fn(Option<usize>, usize) -> u32,
    ) -> Option<Self> {
        let mut apart = Apart {
            made,
            does: Vec::new(),
            ways: Vec::new(),
            node: Vec::new(),
            glass: Vec::new(),
            nodes: graph.nodes.len(),
        };
        let mut known: HashMap<(usize, Levels), usize> = HashMap::new();
        let first = begins(made);
        for (number, (_, node, does)) in starts(made, graph).into_iter().enumerate() {
            apart.does.push(does);
            apart.lead(&mut known, None, &first, node, apart.does.len() - 1, may_be_lost(None, number));
        }
        let edges = apart.does.len();
        apart.does.extend(graph.edges.iter().map(|edge| edge_does(made, graph, edge)));
        let mut at = 0;
        while at < apart.node.len() {
            if apart.node.len() > most {
                return None;
            }
            let (node, glass) = (apart.node[at], apart.glass[at].clone());
            for (number, edge) in graph.edges.iter().enumerate().filter(|(_, edge)| edge.from == node) {
                apart.lead(&mut known, Some(at), &glass, edge.to, edges + number, may_be_lost(Some(number), 0));
            }
            at += 1;
        }
        Some(apart)
    }

    fn lead(
        &mut self,
        known: &mut HashMap<(usize, Levels), usize>,
        from: Option<usize>,
        glass: &Levels,
        node: usize,
        does: usize,
        may_be_lost: u32,
    ) {
        let mut lost = may_be_lost;
        loop {
            let mut after = PanelState::clean(glass.clone(), false);
            let mut counted = after.clone();
            counted.since_cleaning.fill(1000);
            apply(self.made, &mut after, &self.does[does], lost);
            apply(self.made, &mut counted, &self.does[does], lost);
            let counts = counted.since_cleaning.iter().zip(&after.since_cleaning);
            let counts = counts.map(|(far, near)| (*far < 1000, *near)).collect();
            let left = left_behind(&after, &self.does[does], lost);
            let key = (node, after.nominal.clone());
            let to = *known.entry(key).or_insert_with(|| {
                self.node.push(node);
                self.glass.push(after.nominal.clone());
                self.node.len() - 1
            });
            self.ways.push(Way { from, to, does, lost, left, counts });
            if lost == 0 {
                break;
            }
            lost = (lost - 1) & may_be_lost;
        }
    }

    pub(super) fn truths(&self) -> Vec<NodeTruth> {
        let counts = self.counts();
        let highs = self.extreme(f64::max, f64::NEG_INFINITY);
        let lows = self.extreme(f64::min, f64::INFINITY);
        let left = self.left();
        (0..self.nodes)
            .map(|node| {
                let states: Vec<usize> = (0..self.node.len()).filter(|state| self.node[*state] == node).collect();
                let all: Vec<Option<u64>> = states.iter().flat_map(|state| counts[*state].clone()).collect();
                let most = all.iter().copied().collect::<Option<Vec<u64>>>();
                NodeTruth {
                    most: most.map(|all| all.into_iter().max().unwrap_or(0)),
                    ghost_l: self.ghost_l(&states, &highs, &lows),
                    left_px: left[node],
                }
            })
            .collect()
    }

    /// Longest paths by relaxing every way over and over (R. Bellman 1958, L. Ford 1956): what still grows after as many
    /// rounds as there are states grows for ever. None stands for that.
    fn counts(&self) -> Vec<Vec<Option<u64>>> {
        const NOTHING: i64 = i64::MIN;
        const ENDLESS: i64 = i64::MAX;
        let (states, pixels) = (self.node.len(), self.made.size.pixels());
        let mut most = vec![vec![NOTHING; pixels]; states];
        for round in 0..2 * states + 2 {
            let mut has_changed = false;
            for way in &self.ways {
                for (pixel, (is_cleaned, adds)) in way.counts.iter().copied().enumerate() {
                    let before = way.from.map_or(0, |from| most[from][pixel]);
                    let after = match before {
                        NOTHING => continue,
                        _ if is_cleaned => adds as i64,
                        ENDLESS => ENDLESS,
                        before => before + adds as i64,
                    };
                    if after > most[way.to][pixel] {
                        most[way.to][pixel] = if round > states { ENDLESS } else { after };
                        has_changed = true;
                    }
                }
            }
            if !has_changed {
                break;
            }
        }
        let told = |count: i64| if count == ENDLESS { None } else { Some(count.max(0) as u64) };
        most.into_iter().map(|pixels| pixels.into_iter().map(told).collect()).collect()
    }

    fn extreme(&self, better: fn(f64, f64) -> f64, nothing: f64) -> Vec<Vec<f64>> {
        let (pixels, first) = (self.made.size.pixels(), begins(self.made));
        let mut values = vec![vec![nothing; pixels]; self.node.len()];
        let mut is_new = vec![true; self.node.len()];
        for _ in 0..4000 {
            let mut moved_l = 0.0_f64;
            let news = std::mem::replace(&mut is_new, vec![false; self.node.len()]);
            for way in &self.ways {
                if way.from.is_some_and(|from| !news[from] || values[from][0].is_infinite()) {
                    continue;
                }
                let (glass, before) = match way.from {
                    Some(from) => (&self.glass[from], values[from].clone()),
                    None => (&first, vec![0.0; pixels]),
                };
                let mut panel = PanelState::clean(glass.clone(), false);
                panel.residue = before;
                apply(self.made, &mut panel, &self.does[way.does], way.lost);
                for (known, after) in values[way.to].iter_mut().zip(&panel.residue) {
                    let best = better(*known, *after);
                    let by_l = (best - *known).abs();
                    if by_l > 1e-9 {
                        *known = best;
                        is_new[way.to] = true;
                        moved_l = moved_l.max(by_l);
                    }
                }
            }
            if moved_l < 1e-9 {
                return values;
            }
        }
        panic!("no residue of a random flow grows for ever")
    }

    /// The pixels that may be left behind at each node.
    fn left(&self) -> Vec<u64> {
        let mut left: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); self.nodes];
        for way in &self.ways {
            left[self.node[way.to]].extend(way.left.iter().enumerate().filter(|(_, left)| **left).map(|(at, _)| at));
        }
        left.iter().map(|pixels| pixels.len() as u64).collect()
    }

    /// The strongest ghost at a node, from what every pixel may show at every level.
    fn ghost_l(&self, states: &[usize], highs: &[Vec<f64>], lows: &[Vec<f64>]) -> f64 {
        let ink = &self.made.display.ink;
        let pixels = self.made.size.pixels();
        let mut shows: Vec<BTreeMap<usize, [f64; 2]>> = vec![BTreeMap::new(); pixels];
        for state in states {
            for (pixel, shows) in shows.iter_mut().enumerate() {
                let level = self.glass[*state][pixel];
                let own = ink.lightness[level];
                let cut = |e: f64| (own + e).clamp(ink.darkest(), ink.lightest()) - own;
                let (low, high) = (cut(lows[*state][pixel]), cut(highs[*state][pixel]));
                let known = shows.entry(level).or_insert([low, high]);
                *known = [known[0].min(low), known[1].max(high)];
            }
        }
        let mut strongest = 0.0_f64;
        for level in 0..ink.levels() {
            let at_level: Vec<(bool, [f64; 2])> =
                shows.iter().filter_map(|shows| Some((shows.len() == 1, *shows.get(&level)?))).collect();
            let sure = at_level.iter().filter(|(is_sure, _)| *is_sure).count();
            let [mut least, mut most] = [0, 1].map(|end| {
                let mut all: Vec<f64> = at_level.iter().map(|(_, ends)| ends[end]).collect();
                all.sort_by(f64::total_cmp);
                if all.len() * 100 < pixels || all.is_empty() {
                    0.0
                } else if sure < all.len() {
                    if end == 0 { all[0] } else { all[all.len() - 1] }
                } else if all.len() % 2 == 1 {
                    all[all.len() / 2]
                } else {
                    f64::midpoint(all[all.len() / 2 - 1], all[all.len() / 2])
                }
            });
            if sure < at_level.len() && sure * 100 < pixels {
                (least, most) = (least.min(0.0), most.max(0.0));
            }
            for (_, [low, high]) in &at_level {
                strongest = strongest.max(high - least).max(most - low);
            }
        }
        strongest
    }
}
