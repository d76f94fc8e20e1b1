//! Edges between filled areas of two levels, put together from the places where two rows of a picture meet.
//!
//! Knows pixels and their levels; which levels lie too close to each other, others say.

use crate::display::Level;

/// Two neighbouring pixels of filled areas; the second lies right of the first, or below it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pair {
    pub(super) x: u32,
    pub(super) y: u32,
    /// Where the second pixel lies from the first: to the right, or below.
    pub(super) side: Side,
    pub(super) levels: (Level, Level),
}

/// On which side of a pixel its neighbour lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Right,
    Below,
}

impl Pair {
    /// The darker level and the lighter one, by their numbers.
    pub(super) fn contrast(self) -> (Level, Level) {
        (self.levels.0.min(self.levels.1), self.levels.0.max(self.levels.1))
    }

    /// The second pixel.
    pub(super) fn other(self) -> (u32, u32) {
        match self.side {
            Side::Right => (self.x + 1, self.y),
            Side::Below => (self.x, self.y + 1),
        }
    }

    /// The corners between four pixels at which the line between the two ends: the corner 0, 0 is left of and above the first pixel.
    fn corners(self) -> [(u32, u32); 2] {
        let (x, y) = self.other();
        match self.side {
            Side::Right => [(x, y), (x, y + 1)],
            Side::Below => [(x, y), (x + 1, y)],
        }
    }
}

/// The pairs of each edge that has as many as the shortest: those of one contrast whose lines join at their ends. Pairs come row by row, from top to bottom; edges
/// in the order of their first pair.
pub(super) fn edges(pairs: &[Pair], shortest: usize) -> Vec<Vec<Pair>> {
    let mut parent: Vec<u32> = (0..pairs.len() as u32).collect();
    let columns = pairs.iter().map(|pair| pair.x + 3).max().unwrap_or_default();
    let mut corners = [vec![Corner::default(); columns as usize], vec![Corner::default(); columns as usize]];
    for (index, pair) in pairs.iter().enumerate() {
        for (x, y) in pair.corners() {
            let corner = &mut corners[y as usize % 2][x as usize];
            for known in corner.add(y, index as u32) {
                if pairs[known as usize].contrast() == pair.contrast() {
                    let (one, other) = (root(&mut parent, known), root(&mut parent, index as u32));
                    // The earlier one is the root, so that edges keep the order of their first pairs.
                    parent[one.max(other) as usize] = one.min(other);
                }
            }
        }
    }
    let mut length = vec![0_usize; pairs.len()];
    let roots: Vec<usize> = (0..pairs.len()).map(|index| root(&mut parent, index as u32) as usize).collect();
    for root in &roots {
        length[*root] += 1;
    }
    let mut number = vec![usize::MAX; pairs.len()];
    let mut edges: Vec<Vec<Pair>> = Vec::new();
    for (root, pair) in roots.into_iter().zip(pairs).filter(|(root, _)| length[*root] >= shortest) {
        if number[root] == usize::MAX {
            number[root] = edges.len();
            edges.push(Vec::with_capacity(length[root]));
        }
        edges[number[root]].push(*pair);
    }
    edges
}

/// A corner between four pixels, and the pairs whose lines end there: at most four. Only two rows of corners are kept at a time.
#[derive(Clone, Copy, Debug, Default)]
struct Corner {
    row: u32,
    pairs: [u32; 4],
    count: usize,
}

impl Corner {
    /// Adds a pair to the corner of this row; gives those that were there before.
    fn add(&mut self, row: u32, pair: u32) -> impl Iterator<Item = u32> + use<> {
        if self.row != row {
            *self = Self { row, ..Self::default() };
        }
        let (known, count) = (self.pairs, self.count);
        self.pairs[count] = pair;
        self.count += 1;
        known.into_iter().take(count)
    }
}

fn root(parent: &mut [u32], mut index: u32) -> u32 {
    while parent[index as usize] != index {
        parent[index as usize] = parent[parent[index as usize] as usize];
        index = parent[index as usize];
    }
    index
}

/// As many bands of levels that follow each other are a gradient: two touching surfaces, and a third one beside them, are not yet.
/// Common practice, no source.
const BANDS_OF_A_GRADIENT: usize = 4;

/// A run of fewer pixels is a speck, which ends no band.
const BAND_PX: usize = 3;

/// Whether a pair lies between two bands of a smooth gradient. `back` gives the levels on from the first pixel, away from the
/// second; `ahead` those on from the second; `follows` says whether two levels lie so close that one band may follow the other.
pub(super) fn is_in_gradient(
    (own, other): (Level, Level),
    back: impl Iterator<Item = Level>,
    ahead: impl Iterator<Item = Level>,
    follows: impl Fn(Level, Level) -> bool,
) -> bool {
    let wanted = BANDS_OF_A_GRADIENT - 2;
    let lighter = other > own;
    let ahead = bands(other, ahead, wanted, |level, next| (next > level) == lighter && follows(level, next));
    ahead >= wanted
        || ahead + bands(own, back, wanted, |level, next| (next < level) == lighter && follows(level, next)) >= wanted
}

/// How many bands follow on a level one after the other, `most` of them at most.
fn bands(
    level: Level,
    levels: impl Iterator<Item = Level>,
    most: usize,
    follows: impl Fn(Level, Level) -> bool,
) -> usize {
    let (mut band, mut found) = (level, 0);
    let (mut run_of, mut run) = (level, 0);
    for level in levels {
        run = if level == run_of { run + 1 } else { 1 };
        run_of = level;
        if run < BAND_PX || level == band {
            continue;
        }
        if !follows(band, level) {
            break;
        }
        (band, found) = (level, found + 1);
        if found == most {
            break;
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(x: u32, y: u32, side: Side, levels: (Level, Level)) -> Pair {
        Pair { x, y, side, levels }
    }

    #[test]
    fn an_edge_goes_round_a_corner_and_ends_where_the_contrast_does() {
        // Right of 0, 0 and below 0, 0 join at the corner 1, 1; the other contrast and the far pair are edges of their own.
        let corner = [pair(0, 0, Side::Right, (8, 9)), pair(0, 0, Side::Below, (8, 9))];
        let other = pair(0, 1, Side::Right, (9, 10));
        let far = pair(5, 5, Side::Below, (9, 8));
        let found = edges(&[corner[0], corner[1], other, far], 1);
        assert_eq!(found, [corner.to_vec(), vec![other], vec![far]]);
        assert_eq!(edges(&[corner[0], corner[1], other, far], 2), [corner.to_vec()]);
    }

    #[test]
    fn four_bands_level_by_level_are_a_gradient() {
        let follows = |one: Level, other: Level| one.abs_diff(other) == 1;
        let is = |back: &[Level], ahead: &[Level]| {
            let run = |levels: &[Level]| levels.iter().flat_map(|level| [*level; 5]).collect::<Vec<_>>();
            is_in_gradient((8, 9), run(back).into_iter(), run(ahead).into_iter(), follows)
        };
        assert!(is(&[8, 7], &[9, 10]) && is(&[8], &[9, 10, 11]) && is(&[8, 7, 6], &[9]));
        // A surface with another inside it; and two surfaces in a third one.
        assert!(!is(&[8, 15], &[9, 8, 15]) && !is(&[8], &[9, 10]) && !is(&[8, 15, 7], &[9, 15]));
        // The other way round, from lighter to darker.
        assert!(is_in_gradient((9, 8), [10; 3].into_iter(), [7; 3].into_iter(), follows));
    }

    #[test]
    fn a_speck_ends_no_band() {
        let follows = |one: Level, other: Level| one.abs_diff(other) == 1;
        let ahead = [9, 9, 9, 12, 9, 10, 10, 10, 3, 11, 11, 11];
        assert!(is_in_gradient((8, 9), std::iter::empty(), ahead.into_iter(), follows));
    }
}
