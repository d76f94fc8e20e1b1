//! Cells are walked one by one on all cores, and what is proved of each is collected for nodes and edges.

use std::{
    collections::{HashMap, HashSet},
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

use super::{
    answered::SurelySeen,
    behaviour::{Behaviour, Extreme, Group, Parts},
    drives::{Drives, OfOneCell},
    extremes::extremes,
    groups::Grouped,
    left::Left,
    longest_paths::most_since_cleaning,
    reduced::Pictures,
    states::{States, Ways},
    strongest_ghosts::CellShows,
};

/// What was proved of some cells.
pub(super) struct Walked {
    /// By node.
    pub(super) most: Vec<u64>,
    /// By edge.
    pub(super) of_edge: Vec<Drives>,
    /// By kind of edge, the same of cells that always show what is in memory.
    of_kind: Vec<Drives>,
    /// The cells of which that was looked at.
    known_right: HashSet<u32>,
    /// By start.
    pub(super) of_start: Vec<Drives>,
    /// The largest count of each cell.
    pub(super) counts: Vec<(u64, usize)>,
    pub(super) left: Left,
    pub(super) shows: Vec<(usize, CellShows)>,
    pub(super) seen: SurelySeen,
}

/// Walks all cells.
pub(super) fn walk_all(
    parts: Parts<'_>,
    pictures: &Pictures,
    ways: &Ways<'_>,
    groups: &[Grouped],
    threads: usize,
    progress: &(dyn Fn(f64) + Sync),
) -> Walked {
    let next = AtomicUsize::new(0);
    let found: Mutex<Vec<Walked>> = Mutex::new(Vec::new());
    let work = || {
        let mut part = Walked::new(ways);
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(group) = groups.get(number) else { break };
            progress(0.1 + 0.8 * number as f64 / groups.len() as f64);
            part.walk(parts, pictures, ways, number, group);
        }
        found.lock().unwrap_or_else(PoisonError::into_inner).push(part);
    };
    thread::scope(|scope| {
        (1..threads).for_each(|_| {
            scope.spawn(work);
        });
        work();
    });
    let found = found.into_inner().unwrap_or_else(PoisonError::into_inner);
    let mut part = found.into_iter().fold(Walked::new(ways), Walked::joined);
    part.of_kind.resize(parts.losing.len(), Drives::default());
    for (of_edge, kind) in part.of_edge.iter_mut().zip(&ways.kind_of_edge) {
        of_edge.join(part.of_kind[*kind as usize]);
    }
    part
}

impl Walked {
    fn new(ways: &Ways<'_>) -> Self {
        Self {
            most: vec![0; ways.nodes],
            of_edge: vec![Drives::default(); ways.to.len()],
            of_kind: Vec::new(),
            known_right: HashSet::new(),
            of_start: vec![Drives::default(); ways.starts.len()],
            counts: Vec::new(),
            left: Left::default(),
            shows: Vec::new(),
            seen: SurelySeen::default(),
        }
    }

    fn joined(mut self, other: Self) -> Self {
        self.most.iter_mut().zip(other.most).for_each(|(one, other)| *one = (*one).max(other));
        let join = |one: &mut [Drives], other: &[Drives]| {
            one.iter_mut().zip(other).for_each(|(one, other)| one.join(*other));
        };
        join(&mut self.of_edge, &other.of_edge);
        self.of_kind.resize(self.of_kind.len().max(other.of_kind.len()), Drives::default());
        join(&mut self.of_kind, &other.of_kind);
        join(&mut self.of_start, &other.of_start);
        self.counts.extend(other.counts);
        self.left.join(other.left);
        self.shows.extend(other.shows);
        self.seen.join(other.seen);
        self
    }

    fn walk(&mut self, parts: Parts<'_>, pictures: &Pictures, ways: &Ways<'_>, number: usize, grouped: &Grouped) {
        let mut behaviour = Behaviour::new(parts, &grouped.group);
        let reduced = pictures.reduced(parts, &grouped.group, &mut behaviour, ways);
        let (walked, same_as, states) = (&reduced.ways, reduced.same_as.as_deref(), &reduced.states);
        self.counts(states, &behaviour, same_as, number);
        self.start_changes(parts, ways, &grouped.group, &mut behaviour);
        if !parts.loses && behaviour.effects.iter().all(|effect| effect.is_right) {
            for member in &grouped.group.members {
                self.changes_of_right(parts, member.cells[0]);
            }
            if let [member] = grouped.group.members.as_slice() {
                self.seen.add_right(member.cells[0], grouped.pixels);
            }
        } else {
            self.seen.note_wrong();
            let last = self.changes(states, ways, same_as, &mut behaviour);
            if let [member] = grouped.group.members.as_slice() {
                self.add_seen(parts, member.cells[0], grouped.pixels, &last);
            }
        }
        let highs = extremes(states, &behaviour, Extreme::Highest);
        let lows = extremes(states, &behaviour, Extreme::Lowest);
        let is_proved = highs.is_proved && lows.is_proved;
        let values = [lows.values.as_slice(), highs.values.as_slice()];
        let shows = CellShows::new(
            grouped.pixels,
            same_as.map_or(ways.nodes, |_| walked.nodes),
            states,
            &behaviour,
            values,
            is_proved,
        );
        self.shows.push((number, shows.spread(same_as)));
        if behaviour.effects.iter().any(|effect| effect.is_left) {
            // How long something stays depends on where walks go on to, not only on where they come from.
            let all = reduced.is_other().then(|| States::new(parts, ways, &grouped.group, &mut behaviour));
            self.left.add(all.as_ref().unwrap_or(states), &mut behaviour, ways, (number, grouped.pixels, grouped.rect));
        }
    }

    fn counts(&mut self, states: &States, behaviour: &Behaviour<'_>, same_as: Option<&[u32]>, number: usize) {
        let counts = most_since_cleaning(states, &behaviour.effects);
        self.counts.push((counts.iter().copied().max().unwrap_or(0), number));
        let mut of_node = vec![0; states.nodes()];
        for (state, most) in counts.into_iter().enumerate() {
            let of_node = &mut of_node[states.node[state] as usize];
            *of_node = (*of_node).max(most);
        }
        for (node, most) in self.most.iter_mut().enumerate() {
            *most = (*most).max(of_node[same_as.map_or(node, |same_as| same_as[node] as usize)]);
        }
    }

    /// In which drives of each start the cell may change, and in which it surely does.
    fn start_changes(&mut self, parts: Parts<'_>, ways: &Ways<'_>, group: &Group, behaviour: &mut Behaviour<'_>) {
        let begins = behaviour.begins(parts, group, ways.begins);
        for (start, kind) in ways.kind_of_start.iter().enumerate() {
            let mut changes = OfOneCell::new();
            for shown in &begins {
                let (from, end) = behaviour.effects_of(*kind, *shown);
                for effect in &behaviour.effects[from as usize..end as usize] {
                    changes.see(effect);
                }
            }
            self.of_start[start].join(changes.drives());
        }
    }

    /// The same of each kind of edge for a cell that shows what is in memory before each of them.
    fn changes_of_right(&mut self, parts: Parts<'_>, number: u32) {
        // Many groups differ only in their neighbours.
        if !self.known_right.insert(number) {
            return;
        }
        let cell = &parts.cells[number as usize];
        self.of_kind.resize(parts.losing.len(), Drives::default());
        for (of_kind, (kind, _)) in self.of_kind.iter_mut().zip(parts.losing) {
            let kind = &parts.kinds.list[*kind as usize];
            let (mut level, after) = (cell.levels[kind.before], cell.levels[kind.after]);
            for (at, drive) in kind.drives.iter().enumerate().filter(|(_, drive)| cell.is_inside(drive.region)) {
                let end = parts.kinds.ways[drive.way].aim(level, after).end;
                let moves = end.is_some_and(|end| end != level);
                let bits = [level != after, end.is_some(), moves].map(|bit| u32::from(bit) << at);
                of_kind.join(Drives { may: bits, surely: bits });
                level = end.unwrap_or(level);
            }
        }
    }

    /// In which drives of each edge the cell may change, and in which it surely does. Gives by kind of edge the last drive
    /// after which the cell surely looks otherwise, if there is one.
    fn changes(
        &mut self,
        states: &States,
        ways: &Ways<'_>,
        same_as: Option<&[u32]>,
        behaviour: &mut Behaviour<'_>,
    ) -> HashMap<u32, Option<u32>> {
        let mut seen: HashMap<u32, Option<u32>> = HashMap::new();
        for node in 0..ways.nodes as u32 {
            let walked = same_as.map_or(node, |same_as| same_as[node as usize]);
            for edge in ways.leaving(node) {
                let mut changes = OfOneCell::new();
                let mut last = Some(0);
                for state in states.of_node(walked) {
                    let shown = states.shown[state as usize];
                    let (from, end) = behaviour.effects_of(ways.kind_of_edge[edge as usize], shown);
                    for effect in &behaviour.effects[from as usize..end as usize] {
                        changes.see(effect);
                        let looks_otherwise = behaviour.level(effect.to) != behaviour.level(shown);
                        let own = effect.changes.checked_ilog2().filter(|_| looks_otherwise);
                        last = last.zip(own).map(|(known, own)| own.max(known));
                    }
                }
                self.of_edge[edge as usize].join(changes.drives());
                let known = seen.entry(ways.kind_of_edge[edge as usize]).or_insert(last);
                *known = known.zip(last).map(|(known, own)| own.max(known));
            }
        }
        seen
    }

    /// Notes where pixels of a cell that may be wrong before a move surely look otherwise after it.
    fn add_seen(&mut self, parts: Parts<'_>, cell: u32, pixels: u64, last: &HashMap<u32, Option<u32>>) {
        let cell = &parts.cells[cell as usize];
        for (number, drive) in last.iter().filter_map(|(number, drive)| Some((*number, (*drive)?))) {
            let kind = &parts.kinds.list[parts.losing[number as usize].0 as usize];
            if cell.levels[kind.before] != cell.levels[kind.after] {
                self.seen.add(number, drive, pixels);
            }
        }
    }
}
