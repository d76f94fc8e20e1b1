//! Groups of marked pixels: tiles of 8 x 8 px that hold one, joined with their 8 neighbours. Used for what changed and
//! for ghosts alike. Tiles lie on the screen's axes and begin at its upper left corner; those at the far edges are partial.

use super::geometry::{Mask, Rect, Size, count, mask_of, tight_box};

const TILE: i64 = 8;

/// A region: the tight box of a group's pixels, and their count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Region {
    pub(crate) bounds: Rect,
    pub(crate) pixels: usize,
}

/// Regions ordered by y, then x, of the box; among equals the one whose first tile in reading order comes first.
pub(crate) fn regions(size: Size, marked: &[bool]) -> Vec<Region> {
    let mut found: Vec<Region> = groups(size, marked)
        .iter()
        .filter_map(|group| Some(Region { bounds: tight_box(size, group)?, pixels: count(group) }))
        .collect();
    // The sort is stable, and groups are found in the reading order of their first tiles.
    found.sort_by_key(|r| (r.bounds.y, r.bounds.x));
    found
}

/// One mask of marked pixels a group, in the reading order of the groups' first tiles.
pub(crate) fn groups(size: Size, marked: &[bool]) -> Vec<Mask> {
    let tiles = Size { w: (size.w + TILE - 1) / TILE, h: (size.h + TILE - 1) / TILE };
    let mut holds = vec![false; tiles.pixels()];
    for ((x, y), &m) in size.places().zip(marked) {
        if m {
            holds[((y / TILE) * tiles.w + x / TILE) as usize] = true;
        }
    }
    let (group_of_tile, number) = label(tiles, &holds);
    (0..number)
        .map(|group| {
            mask_of(size, |x, y| {
                marked[(y * size.w + x) as usize]
                    && group_of_tile[((y / TILE) * tiles.w + x / TILE) as usize] == Some(group)
            })
        })
        .collect()
}

/// Flood fill over 8 neighbours: the group of each set cell, and how many groups there are.
pub(crate) fn label(cells: Size, set: &[bool]) -> (Vec<Option<usize>>, usize) {
    let mut group_of = vec![None; cells.pixels()];
    let mut number = 0;
    for (x, y) in cells.places() {
        let cell = (y * cells.w + x) as usize;
        if set[cell] && group_of[cell].is_none() {
            fill(cells, set, &mut group_of, (x, y), number);
            number += 1;
        }
    }
    (group_of, number)
}

fn fill(cells: Size, set: &[bool], group_of: &mut [Option<usize>], from: (i64, i64), group: usize) {
    let mut waiting = vec![from];
    while let Some((x, y)) = waiting.pop() {
        if x < 0 || y < 0 || x >= cells.w || y >= cells.h {
            continue;
        }
        let cell = (y * cells.w + x) as usize;
        if !set[cell] || group_of[cell].is_some() {
            continue;
        }
        group_of[cell] = Some(group);
        for dy in -1..=1 {
            for dx in -1..=1 {
                waiting.push((x + dx, y + dy));
            }
        }
    }
}
