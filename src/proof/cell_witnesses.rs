//! Walks to the largest counts and the strongest ghosts: which cells are looked at for them, and what is wanted of each.

use std::collections::BTreeSet;

use super::{
    behaviour::{Behaviour, Extreme, Parts},
    groups::Grouped,
    longest_paths::ENDLESS,
    result::{Bound, Witness},
    states::{States, Ways},
    strongest_ghosts::{Ghost, StrongestGhost},
    witnesses::{Wanted, shortest},
};

fn rank(bound: Bound) -> f64 {
    match bound {
        Bound::Proved(figure) => figure,
        Bound::Unbounded => f64::INFINITY,
        Bound::NotProved => 0.0,
    }
}

/// As many cells are tried, for each figure.
const MOST_TRIED: usize = 4;
/// What is left of a cell must pass the limit of ghosts by so much, because the rest of its level may have drifted as well.
const OVER: f64 = 1.1;

/// Finds walks in single cells.
#[derive(Clone, Copy)]
pub(super) struct Finder<'f> {
    pub(super) parts: Parts<'f>,
    pub(super) ways: &'f Ways<'f>,
    pub(super) groups: &'f [Grouped],
}

impl Finder<'_> {
    /// Walks that pass a limit, or else reach the largest count, the shortest first: of the cells with the most pixels.
    pub(super) fn count(&self, mut counts: Vec<(u64, usize)>, limit: Option<f64>) -> Vec<Witness> {
        const FAR: f64 = 100.0;
        let wanted = limit.map_or(FAR, |limit| limit.floor() + 1.0);
        let largest = |most: u64| if most == ENDLESS { f64::INFINITY } else { most as f64 };
        // Of those that pass it, a larger place is more likely to be reported; otherwise the largest count is wanted.
        let rank = |(most, number): &(u64, usize)| {
            let passes = largest(*most) >= wanted;
            let count = if passes { 0 } else { *most };
            (std::cmp::Reverse((passes, count, self.groups[*number].pixels)), *number)
        };
        counts.sort_unstable_by_key(rank);
        let passes = counts.first().is_some_and(|(most, _)| largest(*most) >= wanted);
        let is_alike = |(most, _): &(u64, usize)| *most > 0 && (largest(*most) >= wanted) == passes;
        let tried = counts.into_iter().filter(is_alike).take(MOST_TRIED);
        let walks = tried.filter_map(|(most, number)| {
            self.shortest(
                number,
                &Wanted {
                    at_least: wanted.min(largest(most)),
                    node: None,
                    extreme: Extreme::Highest,
                    after: &|behaviour, effect, count| {
                        let effect = &behaviour.effects[effect as usize];
                        f64::from(effect.adds) + if effect.is_cleaned { 0.0 } else { count }
                    },
                    shows: &|_, _| true,
                },
            )
        });
        let mut walks: Vec<Witness> = walks.collect();
        walks.sort_by_key(|walk| walk.way.len());
        walks
    }

    /// Short walks that come near the strongest ghosts, of one cell each, and others that just pass the limit.
    pub(super) fn ghosts(&self, ghosts: &[StrongestGhost], limit_l: f64) -> Vec<Witness> {
        let mut strongest: Vec<(usize, &StrongestGhost, Ghost)> =
            ghosts.iter().enumerate().filter_map(|(node, ghost)| Some((node, ghost, ghost.of?))).collect();
        strongest.sort_by(|one, other| rank(other.1.bound).total_cmp(&rank(one.1.bound)).then(other.0.cmp(&one.0)));
        let mut cells = BTreeSet::new();
        strongest.retain(|(_, _, of)| cells.insert(of.cell));
        let is_over = |ghost: &StrongestGhost| rank(ghost.bound) >= limit_l;
        let tried = || strongest.iter().take(MOST_TRIED).copied().enumerate();
        // The strongest one is of use below the limit as well: how near a walk comes to what was proved.
        let near = tried().filter(|(at, (_, ghost, _))| *at == 0 || is_over(ghost));
        let near = near.filter_map(|(_, (node, ghost, of))| self.ghost(node, ghost, of, f64::INFINITY));
        let over = tried().filter(|(_, (_, ghost, _))| is_over(ghost));
        let over = over.filter_map(|(_, (node, ghost, of))| self.ghost(node, ghost, of, limit_l * OVER));
        near.chain(over).collect()
    }

    /// The shortest walk that comes near the strongest ghost, or to so much of it, L*.
    fn ghost(&self, node: usize, ghost: &StrongestGhost, of: Ghost, most_l: f64) -> Option<Witness> {
        const NEAR_L: f64 = 0.02;
        const FAR_L: f64 = 40.0;
        let Ghost { cell, level, is_lighter, residue_l } = of;
        let extreme = if is_lighter { Extreme::Highest } else { Extreme::Lowest };
        let far_l = FAR_L.min(most_l);
        let near = if is_lighter { (residue_l - NEAR_L).min(far_l) } else { (residue_l + NEAR_L).max(-far_l) };
        let found = self.shortest(
            cell,
            &Wanted {
                at_least: near,
                node: Some(node as u32),
                extreme,
                after: &|behaviour, effect, before_l| behaviour.residue_after(effect, before_l, extreme),
                shows: &|behaviour, shown| behaviour.level(shown) == level,
            },
        );
        found.map(|walk| Witness { figure: rank(ghost.bound), ..walk })
    }

    fn shortest(&self, number: usize, wanted: &Wanted<'_>) -> Option<Witness> {
        let group = &self.groups[number].group;
        let mut behaviour = Behaviour::new(self.parts, group);
        let states = States::new(self.parts, self.ways, group, &mut behaviour);
        shortest(&states, &mut behaviour, self.ways, wanted)
    }
}
