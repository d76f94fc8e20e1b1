//! Regions: tiles that hold marked pixels, joined with their 8 neighbours; each the tight box of its pixels.

use super::{Mask, TileGrid, mask::tile_bounds};
use crate::geometry::Rect;

/// A group of marked pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Region {
    /// The tight box around its pixels.
    pub rect: Rect,
    /// How many pixels are marked.
    pub pixels: u64,
}

/// The regions of a mask, ordered by y, then x, of the box; among equals the one whose first tile comes first.
///
/// Takes time in proportion to the tiles of the mask, whatever their shape.
pub fn regions(mask: &Mask, grid: &TileGrid) -> Vec<Region> {
    regions_with_labels(mask, grid).0
}

/// The regions in order, and for each tile of the mask the number of its region.
pub(crate) fn regions_with_labels(mask: &Mask, grid: &TileGrid) -> (Vec<Region>, Vec<u32>) {
    let runs = runs(mask, grid.columns());
    let groups = groups(&runs, grid.columns());
    let mut found: Vec<Region> = Vec::new();
    // The first run of a group is its root, so roots come before their members.
    let mut number_of_root = vec![u32::MAX; runs.len()];
    let mut label = Vec::with_capacity(mask.tiles().len());
    for (run, root) in runs.iter().zip(groups) {
        let region = of_run(&mask.tiles()[run.begin..run.end], grid);
        let number = &mut number_of_root[root as usize];
        if *number == u32::MAX {
            *number = found.len() as u32;
            found.push(region);
        } else {
            let known = &mut found[*number as usize];
            known.rect = known.rect.around(region.rect);
            known.pixels += region.pixels;
        }
        label.resize(run.end, *number);
    }
    let mut order: Vec<u32> = (0..found.len() as u32).collect();
    order.sort_by_key(|number| {
        let rect = found[*number as usize].rect;
        (rect.y, rect.x)
    });
    let mut place = vec![0; found.len()];
    for (at, number) in order.iter().enumerate() {
        place[*number as usize] = at as u32;
    }
    let ordered = order.iter().map(|number| found[*number as usize]).collect();
    (ordered, label.into_iter().map(|number| place[number as usize]).collect())
}

/// The box around the pixels of tiles that lie side by side, and their number.
fn of_run(tiles: &[(u32, u64)], grid: &TileGrid) -> Region {
    let bounds = |(tile, pixels): &(u32, u64)| tile_bounds(grid, *tile, *pixels);
    let (first, last) = (bounds(&tiles[0]), bounds(&tiles[tiles.len() - 1]));
    let rows = tiles.iter().fold(0, |rows, (_, pixels)| rows | pixels);
    let (first_row, last_row) = (rows.trailing_zeros() / 8, 7 - rows.leading_zeros() / 8);
    let (_, top) = grid.origin(tiles[0].0);
    let rect = Rect { x: first.x, y: top + first_row, width: last.right() - first.x, height: last_row - first_row + 1 };
    Region { rect, pixels: tiles.iter().map(|(_, pixels)| u64::from(pixels.count_ones())).sum() }
}

/// Tiles of one row that lie side by side, by their places in the mask, from the first one to before the last one.
#[derive(Clone, Copy, Debug)]
struct Run {
    begin: usize,
    end: usize,
    /// The first tile and the last one.
    first: u32,
    last: u32,
}

/// The runs of a mask, in order.
fn runs(mask: &Mask, columns: u32) -> Vec<Run> {
    let mut found: Vec<Run> = Vec::new();
    for (at, (tile, _)) in mask.tiles().iter().enumerate() {
        match found.last_mut() {
            Some(run) if run.last + 1 == *tile && tile % columns > 0 => (run.last, run.end) = (*tile, at + 1),
            _ => found.push(Run { begin: at, end: at + 1, first: *tile, last: *tile }),
        }
    }
    found
}

/// For each run, the place of the first run of its group.
fn groups(runs: &[Run], columns: u32) -> Vec<u32> {
    let mut parent: Vec<u32> = (0..runs.len() as u32).collect();
    // The first run of the row above that can still touch this one.
    let mut above = 0;
    for (index, run) in runs.iter().enumerate() {
        let Some(first) = run.first.checked_sub(columns) else { continue };
        let last = run.last - columns + u32::from((run.last + 1) % columns > 0);
        let first = first - u32::from(first % columns > 0);
        while runs[above].last < first {
            above += 1;
        }
        let touching = runs[above..].iter().take_while(|run| run.first <= last).count();
        for neighbour in above..above + touching {
            join(&mut parent, index as u32, neighbour as u32);
        }
    }
    for index in 0..parent.len() {
        parent[index] = parent[parent[index] as usize];
    }
    parent
}

fn join(parent: &mut [u32], one: u32, other: u32) {
    let (one, other) = (root(parent, one), root(parent, other));
    let (first, second) = (one.min(other), one.max(other));
    parent[second as usize] = first;
}

fn root(parent: &mut [u32], mut index: u32) -> u32 {
    while parent[index as usize] != index {
        // Halving the way keeps later look-ups short.
        parent[index as usize] = parent[parent[index as usize] as usize];
        index = parent[index as usize];
    }
    index
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use petgraph::{algo::kosaraju_scc, graph::UnGraph};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    /// Regions by `petgraph`'s connected components of the graph whose nodes are marked tiles, each joined with those of its
    /// eight neighbours that are marked.
    fn by_petgraph(marked: &[(u32, u32)], size: Size) -> Vec<Region> {
        let grid = TileGrid::new(size);
        let mut pixels_of: BTreeMap<(u32, u32), Vec<(u32, u32)>> = BTreeMap::new();
        for (x, y) in marked {
            pixels_of.entry((x / 8, y / 8)).or_default().push((*x, *y));
        }
        let mut graph = UnGraph::<(u32, u32), ()>::new_undirected();
        let nodes: BTreeMap<(u32, u32), _> = pixels_of.keys().map(|tile| (*tile, graph.add_node(*tile))).collect();
        for ((x, y), node) in &nodes {
            // Those behind it join it themselves.
            let before = [
                (x.wrapping_sub(1), *y),
                (x.wrapping_sub(1), y.wrapping_sub(1)),
                (*x, y.wrapping_sub(1)),
                (x + 1, y.wrapping_sub(1)),
            ];
            for other in before.iter().filter_map(|tile| nodes.get(tile)) {
                graph.add_edge(*other, *node, ());
            }
        }
        let mut regions: Vec<(u32, Region)> = kosaraju_scc(&graph)
            .iter()
            .map(|tiles| {
                let pixels: Vec<(u32, u32)> =
                    tiles.iter().flat_map(|node| &pixels_of[&graph[*node]]).copied().collect();
                let rect = pixels.iter().map(|(x, y)| Rect { x: *x, y: *y, width: 1, height: 1 }).reduce(Rect::around);
                let first_tile = pixels.iter().map(|(x, y)| grid.locate(*x, *y).0).min();
                (first_tile.unwrap(), Region { rect: rect.unwrap(), pixels: pixels.len() as u64 })
            })
            .collect();
        regions.sort_by_key(|(first_tile, region)| (region.rect.y, region.rect.x, *first_tile));
        regions.into_iter().map(|(_, region)| region).collect()
    }

    proptest! {
        #![proptest_config(crate::kept_failures::with_cases(300))]
        #[test]
        fn regions_agree_with_connected_components(
            width in 1_u32..150, height in 1_u32..150, density in 1_u32..400, seed in 0_u64..u64::MAX,
        ) {
            let size = Size { width, height };
            let mut state = seed | 1;
            let mut marked = Vec::new();
            for y in 0..height {
                for x in 0..width {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    if (state >> 33) % 8000 < u64::from(density) {
                        marked.push((x, y));
                    }
                }
            }
            let grid = TileGrid::new(size);
            let mask = Mask::from_unsorted(marked.iter().map(|(x, y)| grid.locate(*x, *y)).collect());
            prop_assert_eq!(regions(&mask, &grid), by_petgraph(&marked, size));
        }
    }

    /// A published toy case of labelling: 6 groups with 4 neighbours, 3 with 8 (checked with scipy and `OpenCV`).
    #[test]
    fn neighbours_are_eight() {
        let grid = TileGrid::new(Size { width: 40, height: 40 });
        let rows = ["11001", "00101", "00010", "10000", "11011"];
        let mut tiles = Vec::new();
        for (y, row) in rows.iter().enumerate() {
            for (x, mark) in row.bytes().enumerate() {
                if mark == b'1' {
                    tiles.push(((y * 5 + x) as u32, 1));
                }
            }
        }
        assert_eq!(regions(&Mask::from_sorted(tiles), &grid).len(), 3);
    }

    #[test]
    fn tiles_at_opposite_edges_do_not_touch() {
        let grid = TileGrid::new(Size { width: 24, height: 24 });
        // The last tile of a row and the first of the next one.
        assert_eq!(regions(&Mask::from_sorted([(2, 1), (3, 1)]), &grid).len(), 2);
        assert_eq!(regions(&Mask::from_sorted([(2, 1), (6, 1)]), &grid).len(), 2);
    }
}
