//! The highest and the lowest residue of a cell at each of its states, over all walks.
//!
//! What an edge does to residue rises with it, so the least solution of `value = the most of what all edges bring` is the
//! supremum over all walks (a fixed point of a rising map; the method is value iteration, Puterman, 'Markov Decision
//! Processes', 1994). It is approached from below, along walks. The result is rounded outward, and given only if one more
//! round over all edges does not pass it.

use super::{
    behaviour::{Behaviour, Extreme, NONE},
    states::States,
};

/// What is less than this is not a change, L*: rounding of the machine.
const SAME_L: f64 = 1e-9;

/// How far the result is rounded outward, L*: the least of these with which no round passes it.
const OUTWARD_L: [f64; 3] = [1e-6, 1e-4, 1e-2];

/// Far beyond every residue, L*: what still grows there grows for ever.
const FAR_L: f64 = 1e6;

/// As many rounds are tried.
const MOST_ROUNDS: usize = 20_000;

/// The mark of a state that was not looked at.
const UNSEEN: u32 = u32::MAX;

/// As many laps of a loop are followed at once.
const MOST_LAPS: usize = 256;

/// The extreme residue at each state, L*; infinite where a cycle grows for ever.
#[derive(Debug)]
pub(super) struct Extremes {
    pub(super) values: Vec<f64>,
    /// Whether it was proved: no round over all edges passes it.
    pub(super) is_proved: bool,
}

/// Works the extreme residue of all states out.
pub(super) fn extremes(states: &States, behaviour: &Behaviour<'_>, extreme: Extreme) -> Extremes {
    let mut search = Search::new(states, behaviour, extreme);
    let is_settled = search.approach();
    let is_proved = is_settled && search.round_outward();
    Extremes { values: search.values, is_proved }
}

struct Search<'s> {
    states: &'s States,
    behaviour: &'s Behaviour<'s>,
    extreme: Extreme,
    values: Vec<f64>,
    over: Vec<u32>,
    /// By state, the state before that passing.
    from: Vec<u32>,
    is_new: Vec<bool>,
    /// For loops: which states were looked at.
    mark: Vec<u32>,
}

impl<'s> Search<'s> {
    fn new(states: &'s States, behaviour: &'s Behaviour<'s>, extreme: Extreme) -> Self {
        let count = states.count();
        let nothing = if extreme == Extreme::Highest { f64::NEG_INFINITY } else { f64::INFINITY };
        let mut search = Self {
            states,
            behaviour,
            extreme,
            values: vec![nothing; count],
            over: vec![NONE; count],
            from: vec![NONE; count],
            is_new: vec![false; count],
            mark: vec![UNSEEN; count],
        };
        for initial in &states.initial {
            let value = behaviour.residue_after(initial.effect, 0.0, extreme);
            search.offer(initial.state, value, NONE, NONE, 0.0);
        }
        search
    }

    /// Whether one figure is beyond another by so much.
    #[inline]
    fn is_beyond(&self, one: f64, other: f64, by_l: f64) -> bool {
        match self.extreme {
            Extreme::Highest => one > other + by_l,
            Extreme::Lowest => one < other - by_l,
        }
    }

    #[inline]
    fn offer(&mut self, state: u32, value: f64, over: u32, from: u32, by_l: f64) -> bool {
        let at = state as usize;
        if !self.is_beyond(value, self.values[at], by_l) {
            return false;
        }
        self.values[at] = value;
        self.over[at] = over;
        self.from[at] = from;
        self.is_new[at] = true;
        true
    }

    /// Follows all edges until nothing changes; gives whether that was reached.
    fn approach(&mut self) -> bool {
        for round in 0..MOST_ROUNDS {
            if !self.round() {
                return true;
            }
            // The first rounds only bring values everywhere.
            if round >= 1 {
                self.follow_loops();
            }
        }
        false
    }

    fn round(&mut self) -> bool {
        let mut has_changed = false;
        for state in 0..self.states.count() {
            if std::mem::take(&mut self.is_new[state]) {
                let value = self.values[state];
                for passing in self.states.leaving(state) {
                    let one = self.states.passings[passing];
                    let after = self.behaviour.residue_after(one.effect, value, self.extreme);
                    let by_l = self.behaviour.rounding_l(one.effect);
                    has_changed |= self.offer(one.to, after, passing as u32, state as u32, by_l);
                }
            }
        }
        has_changed
    }

    /// Follows every loop along which values come from themselves to where it leads in the end: this takes few rounds where
    /// single laps would take thousands.
    fn follow_loops(&mut self) {
        self.mark.fill(UNSEEN);
        let mut way = Vec::new();
        for state in 0..self.states.count() {
            if !self.is_new[state] {
                continue;
            }
            way.clear();
            let mut at = state;
            while self.mark[at] == UNSEEN && self.over[at] != NONE {
                self.mark[at] = state as u32;
                way.push(at);
                at = self.from[at] as usize;
            }
            if self.mark[at] == state as u32
                && let Some(first) = way.iter().position(|on| *on == at)
            {
                // Against the way in which values go: it is turned round.
                let around: Vec<u32> = way[first..].iter().rev().map(|on| self.over[*on]).collect();
                self.follow(at, &around);
            }
        }
    }

    fn lap(&self, around: &[u32], value: f64) -> f64 {
        around.iter().fold(value, |value, passing| {
            self.behaviour.residue_after(self.states.passings[*passing as usize].effect, value, self.extreme)
        })
    }

    fn follow(&mut self, state: usize, around: &[u32]) {
        let first = self.values[state];
        if !first.is_finite() {
            return;
        }
        let sign = if self.extreme == Extreme::Highest { 1.0 } else { -1.0 };
        let second = self.lap(around, first);
        if !self.is_beyond(second, first, SAME_L) {
            return;
        }
        let far = sign * FAR_L;
        let end = if self.is_beyond(self.lap(around, far), far, 1e3 * SAME_L) && self.keeps_growing(around, first) {
            sign * f64::INFINITY
        } else {
            self.limit(around, second)
        };
        let (mut value, mut from) = (end, state as u32);
        for passing in around {
            let one = self.states.passings[*passing as usize];
            value = self.behaviour.residue_after(one.effect, value, self.extreme);
            self.offer(one.to, value, *passing, from, 0.0);
            from = one.to;
        }
    }

    /// Whether many laps bring many times what one lap brings, and more far away too.
    fn keeps_growing(&self, around: &[u32], first: f64) -> bool {
        let gain = (self.lap(around, first) - first).abs();
        let mut value = first;
        (0..64).for_each(|_| value = self.lap(around, value));
        (value - first).abs() > 63.0 * gain * (1.0 - 1e-6)
    }

    /// Where laps lead in the end, or some way towards it.
    fn limit(&self, around: &[u32], from: f64) -> f64 {
        let effect = |passing: &u32| self.states.passings[*passing as usize].effect;
        if around.iter().all(|passing| self.behaviour.is_straight(effect(passing))) {
            // A straight line that rises by less than 1 meets the diagonal once.
            let slope = self.lap(around, from + 1.0) - self.lap(around, from);
            let end = from + (self.lap(around, from) - from) / (1.0 - slope);
            if slope < 1.0 && end.is_finite() {
                return end;
            }
        }
        (0..MOST_LAPS).fold(from, |value, _| self.lap(around, value))
    }

    /// Rounds all values outward, by as little as one more round does not pass; gives whether that was found.
    fn round_outward(&mut self) -> bool {
        let sign = if self.extreme == Extreme::Highest { 1.0 } else { -1.0 };
        let within = self.values.clone();
        for outward_l in OUTWARD_L {
            for (value, within) in self.values.iter_mut().zip(&within) {
                *value = within + sign * outward_l;
            }
            if self.nothing_passes() {
                return true;
            }
        }
        false
    }

    fn nothing_passes(&self) -> bool {
        let starts = self.states.initial.iter().all(|initial| {
            let value = self.behaviour.residue_after(initial.effect, 0.0, self.extreme);
            !self.is_beyond(value, self.values[initial.state as usize], 0.0)
        });
        starts
            && (0..self.states.count()).all(|state| {
                self.states.leaving(state).all(|passing| {
                    let one = self.states.passings[passing];
                    let after = self.behaviour.residue_after(one.effect, self.values[state], self.extreme);
                    !self.is_beyond(after, self.values[one.to as usize], 10.0 * self.behaviour.rounding_l(one.effect))
                })
            })
    }
}
