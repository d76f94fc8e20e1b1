//! The middle of what shows of the residues of a level, exactly: where the spread tells no more than a bin, its pixels are
//! looked at.
//!
//! Knows the state of the pixels and how it is spread; nothing of ghosts.

use super::{spread::Ranked, state::PanelState};
use crate::{
    change::{bits, differing_pixels},
    display::{Level, LevelSet},
};

impl PanelState {
    /// Makes the spreads say again what is on the panel, where they were let go.
    pub(super) fn know_spreads(&mut self) {
        if !self.spreads.are_known() {
            self.count_anew();
        }
    }

    /// Counts the residues of all pixels.
    pub(super) fn count_anew(&mut self) {
        let Self { spreads, grid, levels, levels_in, residue, .. } = self;
        spreads.count_anew(|recount| {
            for tile in 0..grid.tiles() as u32 {
                let (whole, levels) = (grid.whole(tile), &levels[tile as usize]);
                if let Some(residues) = residue.various(tile) {
                    if whole == u64::MAX {
                        recount.count_all(levels, residues);
                        continue;
                    }
                    for bit in bits(whole) {
                        let at = bit as usize & 63;
                        recount.count(levels[at], residues[at], 1);
                    }
                    continue;
                }
                for level in levels_in[tile as usize].iter() {
                    let pixels = whole & !differing_pixels(&[level; 64], levels);
                    recount.count(level, residue.get(tile, 0), pixels.count_ones());
                }
            }
        });
    }

    /// The medians of what shows of the residues of these levels, L*; 0 where no pixel has a level. Where a bin does not tell,
    /// all pixels are looked at once.
    pub(super) fn medians(&mut self, levels: LevelSet) -> Vec<(Level, f64)> {
        let ranks: Vec<(Level, [Ranked; 2])> = levels.iter().map(|level| (level, self.middle_of(level))).collect();
        let unsure = ranks.iter().flat_map(|(level, both)| both.iter().map(move |ranked| (*level, *ranked)));
        let wanted: Vec<(Level, usize)> = unsure
            .filter_map(|(level, ranked)| match ranked {
                Ranked::Exactly(_) => None,
                Ranked::Within(bin, _) => Some((level, bin)),
            })
            .collect();
        let mut values = if wanted.is_empty() { Vec::new() } else { self.shown_in_bins(&wanted) };
        let mut exactly = |level: Level, ranked: Ranked| match ranked {
            Ranked::Exactly(value) => value,
            Ranked::Within(bin, rank) => {
                let of_bin = wanted.iter().position(|of| *of == (level, bin)).map(|at| values[at].as_mut_slice());
                self.spreads[usize::from(level)].know_exactly(bin, rank, of_bin.unwrap_or_default())
            }
        };
        ranks
            .into_iter()
            .map(|(level, [lower, upper])| (level, f64::midpoint(exactly(level, lower), exactly(level, upper))))
            .collect()
    }

    /// Where the middle of a level lies: the two values around it, or twice the one in it.
    fn middle_of(&self, level: Level) -> [Ranked; 2] {
        let spread = &self.spreads[usize::from(level)];
        match spread.total() {
            0 => [Ranked::Exactly(0.0); 2],
            total => [(total - 1) / 2, total / 2].map(|rank| spread.ranked(rank)),
        }
    }

    /// What shows of the residues in some bins of some levels: a list for the first place of each among those wanted.
    fn shown_in_bins(&self, wanted: &[(Level, usize)]) -> Vec<Vec<f64>> {
        let mut found = vec![Vec::new(); wanted.len()];
        let mut places = vec![[usize::MAX; 2]; self.spreads.len()];
        for (at, (level, bin)) in wanted.iter().enumerate() {
            let of_level = &mut places[usize::from(*level)];
            let is_first = wanted[..at].iter().all(|of| of != &(*level, *bin));
            if is_first {
                of_level[usize::from(of_level[0] != usize::MAX)] = at;
            }
        }
        // Most pixels lie elsewhere, which their residue tells before it is cut to what the panel can show.
        let near = self.residues_near(wanted);
        let all = wanted.iter().fold(LevelSet::default(), |all, (level, _)| all.with(*level));
        for tile in (0..self.grid.tiles() as u32).filter(|tile| self.levels_in[*tile as usize].0 & all.0 != 0) {
            let levels = &self.levels[tile as usize];
            let uniform;
            let residues = if let Some(residues) = self.residue.various(tile) {
                residues
            } else {
                uniform = self.residue.values(tile);
                &uniform
            };
            let mut close = 0_u64;
            for (bit, (level, residue)) in levels.iter().zip(residues).enumerate() {
                let (from, to) = near[usize::from(*level)];
                close |= u64::from(residue.lightness() >= from && residue.lightness() <= to) << bit;
            }
            for bit in bits(close & self.grid.whole(tile)) {
                let level = levels[bit as usize];
                let shown = self.tones().shown(level, residues[bit as usize]);
                let bin = self.spreads[usize::from(level)].bin_of(shown);
                let places = places[usize::from(level)].into_iter().filter(|place| *place != usize::MAX);
                if let Some(place) = places.into_iter().find(|place| wanted[*place].1 == bin) {
                    found[place].push(shown);
                }
            }
        }
        found
    }

    /// For each level from where to where the hidden residue of pixels can lie that show something in the wanted bins, L*.
    fn residues_near(&self, wanted: &[(Level, usize)]) -> Vec<(f64, f64)> {
        let mut near = vec![(f64::INFINITY, f64::NEG_INFINITY); self.spreads.len()];
        for (level, bin) in wanted {
            let (from, to) = self.spreads[usize::from(*level)].range_of(*bin);
            let (darkest, lightest) = self.tones().shown_range(*level);
            // What lies beyond the panel's own range shows at its end.
            let from = if from <= darkest { f64::NEG_INFINITY } else { from };
            let to = if to >= lightest { f64::INFINITY } else { to };
            let known = &mut near[usize::from(*level)];
            *known = (known.0.min(from), known.1.max(to));
        }
        near
    }
}
