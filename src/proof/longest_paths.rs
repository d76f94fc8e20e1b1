//! The most updates since a cleaning, over all walks: the longest paths of a cell's states, where a cleaning begins a new
//! path, and a cycle that adds without cleaning makes them grow for ever.
//!
//! Exact: strongly connected parts by R. Tarjan's algorithm (1972), then longest paths through them in order.

use super::{behaviour::Effect, states::States};

/// A count that grows for ever.
pub(super) const ENDLESS: u64 = u64::MAX;

/// The largest count at each state.
pub(super) fn most_since_cleaning(states: &States, effects: &[Effect]) -> Vec<u64> {
    let parts = Parts::new(states, |effect| !effects[effect as usize].is_cleaned);
    let mut most = vec![0_u64; states.count()];
    for initial in &states.initial {
        let at = &mut most[initial.state as usize];
        *at = (*at).max(effects[initial.effect as usize].adds.into());
    }
    for passing in &states.passings {
        let effect = &effects[passing.effect as usize];
        if effect.is_cleaned {
            let at = &mut most[passing.to as usize];
            *at = (*at).max(effect.adds.into());
        }
    }
    // The parts come in the order in which nothing leads back.
    for part in parts.in_order() {
        let mut value = part.iter().map(|state| most[*state as usize]).max().unwrap_or(0);
        let adds_within = part.iter().any(|state| {
            states.passings[states.leaving(*state as usize)].iter().any(|passing| {
                let effect = &effects[passing.effect as usize];
                let is_within = parts.of[passing.to as usize] == parts.of[*state as usize];
                is_within && !effect.is_cleaned && effect.adds > 0
            })
        });
        if adds_within {
            value = ENDLESS;
        }
        for state in part {
            most[*state as usize] = value;
            for passing in &states.passings[states.leaving(*state as usize)] {
                let effect = &effects[passing.effect as usize];
                if !effect.is_cleaned {
                    let at = &mut most[passing.to as usize];
                    *at = (*at).max(value.saturating_add(effect.adds.into()));
                }
            }
        }
    }
    most
}

/// The strongly connected parts of states, over some of their passings.
pub(super) struct Parts {
    /// By state, the number of its part.
    of: Vec<u32>,
    /// All states, part by part, the part that leads nowhere else first.
    states: Vec<u32>,
    /// Where each part ends in that list.
    ends: Vec<u32>,
}

const UNSEEN: u32 = u32::MAX;

impl Parts {
    pub(super) fn new(states: &States, takes: impl Fn(u32) -> bool) -> Self {
        let count = states.count();
        let mut parts = Self { of: vec![UNSEEN; count], states: Vec::with_capacity(count), ends: Vec::new() };
        let mut order = vec![UNSEEN; count];
        let mut low = vec![UNSEEN; count];
        let mut open: Vec<u32> = Vec::new();
        // A state, and the passing to look at next.
        let mut way: Vec<(u32, u32)> = Vec::new();
        let mut seen = 0;
        for root in 0..count as u32 {
            if order[root as usize] != UNSEEN {
                continue;
            }
            way.push((root, states.first[root as usize]));
            (order[root as usize], low[root as usize]) = (seen, seen);
            seen += 1;
            open.push(root);
            while let Some((state, next)) = way.last_mut() {
                let at = *state as usize;
                if *next < states.first[at + 1] {
                    let passing = states.passings[*next as usize];
                    *next += 1;
                    if !takes(passing.effect) {
                        continue;
                    }
                    let to = passing.to as usize;
                    if order[to] == UNSEEN {
                        (order[to], low[to]) = (seen, seen);
                        seen += 1;
                        open.push(passing.to);
                        way.push((passing.to, states.first[to]));
                    } else if parts.of[to] == UNSEEN {
                        low[at] = low[at].min(order[to]);
                    }
                    continue;
                }
                way.pop();
                if let Some((before, _)) = way.last() {
                    low[*before as usize] = low[*before as usize].min(low[at]);
                }
                if low[at] == order[at] {
                    parts.close(at as u32, &mut open);
                }
            }
        }
        parts
    }

    fn close(&mut self, root: u32, open: &mut Vec<u32>) {
        let number = self.ends.len() as u32;
        while let Some(state) = open.pop() {
            self.of[state as usize] = number;
            self.states.push(state);
            if state == root {
                break;
            }
        }
        self.ends.push(self.states.len() as u32);
    }

    /// The parts, each after all from which something leads to it.
    pub(super) fn in_order(&self) -> impl Iterator<Item = &[u32]> {
        (0..self.ends.len()).rev().map(|part| {
            let first = if part == 0 { 0 } else { self.ends[part - 1] };
            &self.states[first as usize..self.ends[part] as usize]
        })
    }

    /// The number of the part of a state.
    pub(super) fn of(&self, state: usize) -> u32 {
        self.of[state]
    }
}
