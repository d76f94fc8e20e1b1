//! A small seeded generator of its own (`SplitMix64`, Steele, Lea and Flood 2014), so that a seed means the same permanently.

pub(crate) struct Dice {
    seed: u64,
    /// What is thrown before the seed says it, the last first.
    thrown: Vec<u8>,
}

impl Dice {
    pub(crate) fn new(seed: u64) -> Dice {
        Dice { seed, thrown: Vec::new() }
    }

    /// Falls as the bytes say, and as a fixed seed says when they are used up.
    pub(crate) fn of_bytes(bytes: &[u8]) -> Dice {
        Dice { seed: 0, thrown: bytes.iter().rev().copied().collect() }
    }

    fn roll(&mut self) -> u64 {
        if let Some(thrown) = self.thrown.pop() {
            return u64::from(thrown);
        }
        self.seed = self.seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 up to, but not including, a bound of at least 1. Slightly uneven, which does no harm here.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.roll() % bound as u64) as usize
    }

    /// Both ends included.
    pub(crate) fn between(&mut self, least: i64, most: i64) -> i64 {
        least + (self.roll() % (most - least + 1) as u64) as i64
    }

    pub(crate) fn chance(&mut self, per_cent: usize) -> bool {
        self.below(100) < per_cent
    }

    pub(crate) fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    /// Between two thousandths, as a share.
    pub(crate) fn thousandths(&mut self, least: i64, most: i64) -> f64 {
        self.between(least, most) as f64 / 1000.0
    }
}
