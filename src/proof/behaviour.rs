//! What every kind of edge does to a cell: from each level that the glass may show to the next, with what becomes of
//! residue and count.
//!
//! Where a mode leaves something beside what it drives, the levels of the side neighbours belong to what is known of a
//! cell. Several cells may be joined: then an edge does what it does to any of them.

use std::{
    collections::HashMap,
    hash::{BuildHasherDefault, Hasher},
};

use super::{
    cells::Cell,
    kinds::{Kind, Kinds, Way, subsets},
};
use crate::{
    display::{Level, LevelSet},
    panel::{Swing, law::pushed_at_most},
};

/// No neighbour: the panel ends there.
pub(super) const NONE: u32 = u32::MAX;

/// A cell whose bounds are worked out: one or more behaviours of pixels.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) members: Vec<Member>,
}

/// Pixels of one behaviour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Member {
    /// Its own cell, and those of its four side neighbours in rising order; [`NONE`] where they play no part.
    pub(super) cells: [u32; 5],
}

/// What an edge does to a pixel as far as where it is and what it is to show go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Aimed {
    /// The level in memory before; only looked at where several behaviours are joined.
    before: Level,
    /// The level in memory after.
    after: Level,
    /// Which of the drives send it, one bit each.
    sent: u32,
}

/// What the neighbours of a pixel do to it.
#[derive(Clone, Debug, PartialEq)]
enum Beside {
    /// As their own levels say.
    Known([Option<Aimed>; 4]),
    /// For each drive the least and the largest push, L*, whatever they show.
    Within(Vec<[f64; 2]>),
}

/// One of the ways in which an edge may treat a cell.
#[derive(Clone, Debug, PartialEq)]
struct Treatment {
    own: Aimed,
    beside: Beside,
}

/// Drives that may happen to a cell, one after the other.
#[derive(Debug)]
struct Treatments {
    /// None where nothing happens at all.
    sequence: Option<usize>,
    /// Which of the drives a busy controller may lose, one bit each.
    may_be_lost: u32,
    list: Vec<Treatment>,
}

/// What an edge does to a cell that shows a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Effect {
    /// What is shown afterwards.
    pub(super) to: u32,
    /// Whether the count begins again, and what is added after that.
    pub(super) is_cleaned: bool,
    pub(super) adds: u32,
    /// Residue after it is this much of the residue before, and this much more, L*; if there are links, they say it.
    pub(super) slope: f64,
    pub(super) offset: f64,
    links: (u32, u32),
    /// Whether it is left behind.
    pub(super) is_left: bool,
    /// Whether what is in memory is shown afterwards.
    pub(super) is_right: bool,
    /// In which drives it differs from memory before, one bit each.
    pub(super) changes: u32,
    /// In which it is driven.
    pub(super) driven: u32,
    /// In which it gets another level.
    pub(super) moves: u32,
}

impl Effect {
    /// Whether nothing of what was before is left.
    pub(super) fn is_reset(&self) -> bool {
        self.is_cleaned && self.slope == 0.0 && self.links.0 == self.links.1
    }

    /// The same with nothing known of what changes.
    pub(super) fn without_changes(self) -> Self {
        Self { changes: 0, driven: 0, moves: 0, ..self }
    }
}

/// A part of what an edge does to residue.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Link {
    Swing(Swing),
    /// The least and the largest push, and how far pushes lead, L*.
    Push([f64; 2], f64),
}

/// Which extreme of residue is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Extreme {
    Highest,
    Lowest,
}

/// What is shown at a cell: the level in memory, where it does not follow from the node, and the levels on the glass of
/// the pixel and its neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Shown {
    memory: Level,
    levels: [Level; 5],
}

/// What all edges do to a group.
#[derive(Debug)]
pub(super) struct Behaviour<'k> {
    kinds: &'k Kinds,
    counts_every_update: bool,
    is_joined: bool,
    shown: Vec<Shown>,
    numbers: HashMap<Shown, u32>,
    treatments: Vec<Treatments>,
    /// By kind of edge, and by what may be lost.
    of_kind: Vec<u32>,
    /// By what is shown and by treatments: from where to where its effects stand in the list.
    known: Vec<Vec<(u32, u32)>>,
    pub(super) effects: Vec<Effect>,
    links: Vec<Link>,
}

/// What groups are made of.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parts<'k> {
    pub(super) kinds: &'k Kinds,
    pub(super) cells: &'k [Cell],
    /// Kinds of edges, with which of their drives may be lost; edges refer to them by number.
    pub(super) losing: &'k [(u32, u32)],
    /// Whether any drive may be lost.
    pub(super) loses: bool,
    pub(super) counts_every_update: bool,
    /// All levels that the ink has.
    pub(super) levels: LevelSet,
    /// Whether the glass always shows what is in memory, in all cells; only asked where some are joined.
    pub(super) is_always_right: bool,
}

impl<'k> Behaviour<'k> {
    pub(super) fn new(parts: Parts<'k>, group: &Group) -> Self {
        let mut behaviour = Self {
            kinds: parts.kinds,
            counts_every_update: parts.counts_every_update,
            is_joined: group.members.len() > 1,
            shown: Vec::new(),
            numbers: HashMap::new(),
            treatments: Vec::new(),
            of_kind: Vec::with_capacity(parts.losing.len()),
            known: Vec::new(),
            effects: Vec::new(),
            links: Vec::new(),
        };
        behaviour.number_kinds(parts, group);
        // Behind all kinds of edges stands what changes nothing.
        behaviour.treatments.push(Treatments { sequence: None, may_be_lost: 0, list: Vec::new() });
        behaviour.of_kind.push(behaviour.treatments.len() as u32 - 1);
        behaviour
    }

    /// Numbers the kinds of edges by what they do to the group. Kinds of one send in the same places and lead between frames
    /// that the group cannot tell apart: each such way is looked at once.
    fn number_kinds(&mut self, parts: Parts<'_>, group: &Group) {
        let mut sets = Sets::default();
        let is_joined = self.is_joined;
        let frames = alike_frames(parts, group);
        let sendings = alike_sendings(parts, group);
        let mut known: HashMap<(u32, u32, u32, u32), u32, Quick> = HashMap::default();
        for (number, may_be_lost) in parts.losing {
            let kind = &parts.kinds.list[*number as usize];
            let before = if is_joined { frames[kind.before] } else { 0 };
            let (after, sending) = (frames[kind.after], sendings[parts.kinds.sending_of[*number as usize] as usize]);
            let key = (before, after, sending, *may_be_lost);
            let set = if let Some(set) = known.get(&key) {
                *set
            } else {
                let set = self.set_of_kind(parts, group, kind, *may_be_lost, &mut sets);
                known.insert(key, set);
                set
            };
            self.of_kind.push(set);
        }
    }

    fn set_of_kind(&mut self, parts: Parts<'_>, group: &Group, kind: &Kind, may_be_lost: u32, sets: &mut Sets) -> u32 {
        let is_joined = self.is_joined;
        let aimed = group.members.iter().map(|member| member.cells.map(|cell| sets.aim(parts, kind, cell, is_joined)));
        let mut list: Vec<[u32; 5]> = aimed.collect();
        list.sort_unstable();
        list.dedup();
        let key = (kind.sequence as u32, may_be_lost, list);
        if let Some(known) = sets.numbers_of_lists.get(&key) {
            return *known;
        }
        let set = self.add_treatments(parts, kind, may_be_lost, sets, &key.2);
        sets.numbers_of_lists.insert(key, set);
        set
    }

    fn add_treatments(
        &mut self,
        parts: Parts<'_>,
        kind: &Kind,
        may_be_lost: u32,
        sets: &Sets,
        aimed: &[[u32; 5]],
    ) -> u32 {
        let one = |aimed: &[u32; 5]| self.treatment(parts, kind, may_be_lost, aimed.map(|at| sets.aims[at as usize]));
        let list = aimed.iter().map(one).collect();
        self.treatments.push(Treatments { sequence: Some(kind.sequence), may_be_lost, list });
        self.treatments.len() as u32 - 1
    }

    fn treatment(&self, parts: Parts<'_>, kind: &Kind, may_be_lost: u32, aimed: [Option<Aimed>; 5]) -> Treatment {
        let [own, beside @ ..] = aimed;
        let own = own.unwrap_or(Aimed { before: 0, after: 0, sent: 0 });
        if !self.is_joined || beside == [None; 4] {
            return Treatment { own, beside: Beside::Known(beside) };
        }
        let mut within = vec![[0.0, 0.0]; kind.drives.len()];
        for one in beside.into_iter().flatten() {
            let ways = self.ways(kind.sequence);
            let begins = if parts.is_always_right { LevelSet::default().with(one.before) } else { parts.levels };
            pushes_within(&ways, one, may_be_lost, begins, &mut within);
        }
        Treatment { own, beside: Beside::Within(within) }
    }

    fn ways(&self, sequence: usize) -> Vec<&'k Way> {
        let kinds = self.kinds;
        kinds.sequences[sequence].iter().map(|way| &kinds.ways[*way]).collect()
    }

    /// The number of what is shown at the beginning, of each member once.
    pub(super) fn begins(&mut self, parts: Parts<'_>, group: &Group, frame: usize) -> Vec<u32> {
        let is_joined = self.is_joined;
        let shown = |member: &Member| {
            let level = |cell: u32| parts.cells.get(cell as usize).map_or(0, |cell| cell.levels[frame]);
            let [own, beside @ ..] = member.cells.map(level);
            let beside = if is_joined { [0; 4] } else { beside };
            let [above, left, right, below] = beside;
            Shown { memory: if is_joined { own } else { 0 }, levels: [own, above, left, right, below] }
        };
        let mut found: Vec<u32> = group.members.iter().map(|member| self.number(shown(member))).collect();
        found.sort_unstable();
        found.dedup();
        found
    }

    /// A number that two kinds of edges share if they do the same to this.
    #[inline]
    pub(super) fn set_of(&self, kind: u32) -> u32 {
        self.of_kind[kind as usize]
    }

    /// The kind of edge that changes nothing.
    pub(super) fn nothing(&self) -> u32 {
        self.of_kind.len() as u32 - 1
    }

    /// The level on the glass.
    pub(super) fn level(&self, shown: u32) -> Level {
        self.shown[shown as usize].levels[0]
    }

    fn number(&mut self, shown: Shown) -> u32 {
        if let Some(known) = self.numbers.get(&shown) {
            return *known;
        }
        self.numbers.insert(shown, self.shown.len() as u32);
        self.shown.push(shown);
        self.known.push(Vec::new());
        self.shown.len() as u32 - 1
    }

    /// What a kind of edge, by its number among those that may lose something, may do where this is shown: from where to
    /// where that stands in the list of effects.
    #[inline]
    pub(super) fn effects_of(&mut self, kind: u32, shown: u32) -> (u32, u32) {
        const UNKNOWN: (u32, u32) = (NONE, NONE);
        let set = self.of_kind[kind as usize] as usize;
        let known = &self.known[shown as usize];
        if let Some(range) = known.get(set).filter(|range| **range != UNKNOWN) {
            return *range;
        }
        let range = self.work_out(set, shown);
        let known = &mut self.known[shown as usize];
        if known.len() <= set {
            known.resize(set + 1, UNKNOWN);
        }
        known[set] = range;
        range
    }

    fn work_out(&mut self, set: usize, shown: u32) -> (u32, u32) {
        let before = self.shown[shown as usize];
        let Treatments { sequence, may_be_lost, list } = &self.treatments[set];
        let Some(sequence) = sequence else { return self.add_nothing(shown) };
        let (ways, may_be_lost) = (self.ways(*sequence), *may_be_lost);
        let list: Vec<Treatment> =
            list.iter().filter(|one| !self.is_joined || one.own.before == before.memory).cloned().collect();
        let first = self.effects.len();
        for treatment in &list {
            for lost in subsets(may_be_lost) {
                self.add_effect(&ways, treatment, lost, before, first);
            }
        }
        (first as u32, self.effects.len() as u32)
    }

    /// The effect of what changes nothing.
    fn add_nothing(&mut self, shown: u32) -> (u32, u32) {
        let at = self.effects.len() as u32;
        self.effects.push(Effect {
            to: shown,
            is_cleaned: false,
            adds: 0,
            slope: 1.0,
            offset: 0.0,
            links: (0, 0),
            is_left: false,
            is_right: true,
            changes: 0,
            driven: 0,
            moves: 0,
        });
        (at, at + 1)
    }

    fn add_effect(&mut self, ways: &[&Way], treatment: &Treatment, lost: u32, before: Shown, first: usize) {
        let mut run =
            Run { shown: before, links: Vec::new(), is_cleaned: false, adds: 0, changes: 0, driven: 0, moves: 0 };
        for (at, way) in ways.iter().enumerate() {
            run.drive(way, at, treatment, lost, self.counts_every_update);
        }
        if self.is_joined {
            run.shown.memory = treatment.own.after;
        }
        let is_left = run.shown.levels[0] != treatment.own.after && treatment.own.sent & !lost == 0;
        let is_right = run.shown.levels[0] == treatment.own.after;
        let mut links = run.links;
        // What is before a drive that keeps nothing is of no matter.
        if let Some(last) = links.iter().rposition(Link::keeps_nothing) {
            links.drain(..last);
        }
        let all_swings = links.iter().all(|link| matches!(link, Link::Swing(_)));
        let through = |before_l: f64| links.iter().fold(before_l, |e, link| link.after(e, Extreme::Highest));
        let (slope, offset) = if links.is_empty() { (1.0, 0.0) } else { (through(1.0) - through(0.0), through(0.0)) };
        let to = self.number(run.shown);
        let range = self.add_links(if all_swings { &[] } else { &links });
        let Run { is_cleaned, adds, changes, driven, moves, .. } = run;
        let effect =
            Effect { to, is_cleaned, adds, slope, offset, links: range, is_left, is_right, changes, driven, moves };
        let is_known = self.effects[first..]
            .iter()
            .any(|known| Effect { links: range, ..*known } == effect && self.links_of(known) == self.links_of(&effect));
        if !is_known {
            self.effects.push(effect);
        }
    }

    fn add_links(&mut self, links: &[Link]) -> (u32, u32) {
        let first = self.links.len() as u32;
        self.links.extend_from_slice(links);
        (first, self.links.len() as u32)
    }

    fn links_of(&self, effect: &Effect) -> &[Link] {
        &self.links[effect.links.0 as usize..effect.links.1 as usize]
    }

    /// The extreme residue after an effect, L*.
    #[inline]
    pub(super) fn residue_after(&self, effect: u32, before_l: f64, extreme: Extreme) -> f64 {
        let effect = &self.effects[effect as usize];
        if effect.links.0 != effect.links.1 {
            return self.links_of(effect).iter().fold(before_l, |e, link| link.after(e, extreme));
        }
        // Nothing times infinity is nothing.
        if effect.slope == 0.0 { effect.offset } else { effect.slope * before_l + effect.offset }
    }
}

/// By frame, a number that two frames share if the group shows the same in both, and its neighbours too.
fn alike_frames(parts: Parts<'_>, group: &Group) -> Vec<u32> {
    let frames = parts.cells.first().map_or(0, |cell| cell.levels.len());
    let cells: Vec<&Cell> = cells_of(parts, group);
    let mut numbers: HashMap<Vec<Level>, u32, Quick> = HashMap::default();
    let one = |frame| {
        let shown: Vec<Level> = cells.iter().map(|cell| cell.levels[frame]).collect();
        let next = numbers.len() as u32;
        *numbers.entry(shown).or_insert(next)
    };
    (0..frames).map(one).collect()
}

/// By what is sent, a number that two kinds of edges share if they drive the group, and its neighbours, in the same way.
fn alike_sendings(parts: Parts<'_>, group: &Group) -> Vec<u32> {
    let cells: Vec<&Cell> = cells_of(parts, group);
    let mut numbers: HashMap<(usize, Vec<u32>), u32, Quick> = HashMap::default();
    let one = |kind: &usize| {
        let kind = &parts.kinds.list[*kind];
        let sent = cells.iter().map(|cell| sent_of(kind, cell)).collect();
        let next = numbers.len() as u32;
        *numbers.entry((kind.sequence, sent)).or_insert(next)
    };
    parts.kinds.sendings.iter().map(one).collect()
}

/// All cells that play a part in a group, each once.
fn cells_of<'k>(parts: Parts<'k>, group: &Group) -> Vec<&'k Cell> {
    let mut numbers: Vec<u32> = group.members.iter().flat_map(|member| member.cells).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers.into_iter().filter_map(|cell| parts.cells.get(cell as usize)).collect()
}

/// Which of the drives of a kind of edge send a cell, one bit each.
fn sent_of(kind: &Kind, cell: &Cell) -> u32 {
    let sent = kind.drives.iter().enumerate().filter(|(_, drive)| cell.is_inside(drive.region));
    sent.fold(0, |sent, (at, _)| sent | 1 << at)
}

/// The treatments that are known while a behaviour is made.
struct Sets {
    /// By number; the first is that of no pixel.
    aims: Vec<Option<Aimed>>,
    numbers: HashMap<Aimed, u32, Quick>,
    numbers_of_lists: HashMap<(u32, u32, Vec<[u32; 5]>), u32, Quick>,
}

impl Default for Sets {
    fn default() -> Self {
        Self { aims: vec![None], numbers: HashMap::default(), numbers_of_lists: HashMap::default() }
    }
}

impl Sets {
    /// The number of what a kind of edge does to the pixels of a cell.
    fn aim(&mut self, parts: Parts<'_>, kind: &Kind, cell: u32, is_joined: bool) -> u32 {
        if cell == NONE {
            return 0;
        }
        let aimed = aimed(kind, &parts.cells[cell as usize], is_joined);
        *self.numbers.entry(aimed).or_insert_with(|| {
            self.aims.push(Some(aimed));
            self.aims.len() as u32 - 1
        })
    }
}

/// Hashes small numbers of our own making: millions of them are looked up, and nobody chooses them to collide.
pub(super) type Quick = BuildHasherDefault<QuickHasher>;

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct QuickHasher(u64);

impl Hasher for QuickHasher {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 32)
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u64((*byte).into());
        }
    }

    fn write_u8(&mut self, number: u8) {
        self.write_u64(number.into());
    }

    fn write_u32(&mut self, number: u32) {
        self.write_u64(number.into());
    }

    fn write_u64(&mut self, number: u64) {
        self.0 = (self.0.rotate_left(5) ^ number).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }

    fn write_usize(&mut self, number: usize) {
        self.write_u64(number as u64);
    }
}

impl Behaviour<'_> {
    /// Whether residue after an effect is a straight line of that before.
    pub(super) fn is_straight(&self, effect: u32) -> bool {
        self.links_of(&self.effects[effect as usize]).is_empty()
    }

    /// What may be rounding of the machine in the residue after an effect, L*: nothing where a pixel is not driven.
    #[inline]
    pub(super) fn rounding_l(&self, effect: u32) -> f64 {
        let effect = &self.effects[effect as usize];
        #[expect(clippy::float_cmp, reason = "a pixel that is not driven keeps its residue as it is")]
        let keeps = effect.slope == 1.0 && effect.offset == 0.0 && effect.links.0 == effect.links.1;
        if keeps {
            0.0
        } else if effect.slope < 0.999 {
            1e-12
        } else {
            1e-10
        }
    }
}

impl Link {
    /// Whether what comes after it does not depend on what was before it.
    fn keeps_nothing(&self) -> bool {
        #[expect(clippy::float_cmp, reason = "a factor of 0 gives the same figure to the last bit")]
        let is_flat = |swing: &Swing| swing.applied_to(0.0) == swing.applied_to(64.0);
        matches!(self, Self::Swing(swing) if is_flat(swing))
    }

    #[inline]
    fn after(&self, before_l: f64, extreme: Extreme) -> f64 {
        match self {
            Self::Swing(swing) if before_l.is_finite() => swing.applied_to(before_l),
            Self::Swing(swing) if swing.applied_to(1.0) > swing.applied_to(0.0) => before_l,
            Self::Swing(swing) => swing.applied_to(0.0),
            Self::Push([least, most], leads_to) => {
                let push = if extreme == Extreme::Highest { *most } else { *least };
                pushed_at_most(before_l, push, *leads_to)
            }
        }
    }
}

/// What an edge does to a pixel, whatever it shows.
fn aimed(kind: &Kind, cell: &Cell, is_joined: bool) -> Aimed {
    Aimed {
        before: if is_joined { cell.levels[kind.before] } else { 0 },
        after: cell.levels[kind.after],
        sent: sent_of(kind, cell),
    }
}

/// Adds the least and the largest push of a neighbour in each drive, whatever it shows of some levels and whatever is lost.
fn pushes_within(ways: &[&Way], one: Aimed, may_be_lost: u32, begins: LevelSet, within: &mut [[f64; 2]]) {
    let mut shown = begins;
    for (at, (way, within)) in ways.iter().zip(within).enumerate() {
        if one.sent >> at & 1 == 0 {
            continue;
        }
        let is_sure = may_be_lost >> at & 1 == 0;
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        let mut after = if is_sure { LevelSet::default() } else { shown };
        if !is_sure {
            (least, most) = (0.0, 0.0);
        }
        for level in shown.iter() {
            let end = way.aim(level, one.after).end.unwrap_or(level);
            let push = way.law.push(level, end);
            (least, most) = (least.min(push), most.max(push));
            after = after.with(end);
        }
        shown = after;
        within[0] += least;
        within[1] += most;
    }
}

/// A pixel and its neighbours while an edge drives them.
struct Run {
    shown: Shown,
    links: Vec<Link>,
    is_cleaned: bool,
    adds: u32,
    changes: u32,
    driven: u32,
    moves: u32,
}

impl Run {
    fn drive(&mut self, way: &Way, at: usize, treatment: &Treatment, lost: u32, counts_every_update: bool) {
        let is_sent = |aimed: &Aimed| (aimed.sent & !lost) >> at & 1 == 1;
        let own = treatment.own;
        let level = self.shown.levels[0];
        let aim = if is_sent(&own) { Some(way.aim(level, own.after)) } else { None };
        if is_sent(&own) && level != own.after {
            self.changes |= 1 << at;
        }
        let pushes = self.neighbours(way, at, treatment, is_sent);
        if let Some((aim, end)) = aim.and_then(|aim| Some((aim, aim.end?))) {
            self.driven |= 1 << at;
            self.moves |= u32::from(end != level) << at;
            self.links.push(Link::Swing(way.law.swing(level, end, aim.is_wrong_start)));
            self.shown.levels[0] = end;
            self.count(way.cleans);
            return;
        }
        if pushes != [0.0, 0.0] {
            self.links.push(Link::Push(pushes, way.law.most_pushed_l()));
        }
        if aim.is_some() && counts_every_update {
            self.count(false);
        }
    }

    /// Drives the neighbours, and gives how far they push, at least and at most.
    fn neighbours(
        &mut self,
        way: &Way,
        at: usize,
        treatment: &Treatment,
        is_sent: impl Fn(&Aimed) -> bool,
    ) -> [f64; 2] {
        let beside = match &treatment.beside {
            Beside::Within(within) => return within[at],
            Beside::Known(beside) => beside,
        };
        let mut push = 0.0;
        for (one, level) in beside.iter().zip(&mut self.shown.levels[1..]) {
            let Some(one) = one.filter(|one| is_sent(one)) else { continue };
            if let Some(end) = way.aim(*level, one.after).end {
                push += way.law.push(*level, end);
                *level = end;
            }
        }
        [push, push]
    }

    fn count(&mut self, is_cleaned: bool) {
        if is_cleaned {
            (self.is_cleaned, self.adds) = (true, 0);
        } else {
            self.adds += 1;
        }
    }
}
