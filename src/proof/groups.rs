//! The cells that are walked: pixels of one behaviour, distinguished by their side neighbours where those play a part; if there
//! are too many, those most alike are joined.
//!
//! What is proved of joined cells holds for each of them.

use std::collections::HashMap;

use super::{
    behaviour::{Group, Member, NONE},
    cells::{Cell, Cells},
    kinds::Kinds,
};
use crate::geometry::Rect;

/// A group with its pixels and the box around them.
#[derive(Debug)]
pub(super) struct Grouped {
    pub(super) group: Group,
    pub(super) pixels: u64,
    pub(super) rect: Rect,
}

/// The groups of some cells, and how many there were before any were joined.
pub(super) fn groups(cells: &Cells, has_beside: bool, width: usize, most: usize) -> (Vec<Grouped>, usize) {
    let all = if has_beside { with_neighbours(cells, width) } else { by_themselves(cells) };
    let count = all.len();
    let groups = if count <= most { all } else { joined(all, &cells.list, most) };
    (groups, count)
}

fn by_themselves(cells: &Cells) -> Vec<Grouped> {
    let one = |(number, cell): (usize, &Cell)| Grouped {
        group: Group { members: vec![Member { cells: [number as u32, NONE, NONE, NONE, NONE] }] },
        pixels: cell.pixels,
        rect: cell.rect,
    };
    cells.list.iter().enumerate().map(one).collect()
}

fn with_neighbours(cells: &Cells, width: usize) -> Vec<Grouped> {
    let mut numbers: HashMap<[u32; 5], usize> = HashMap::new();
    let mut groups: Vec<Grouped> = Vec::new();
    let of = &cells.of_pixel;
    let height = of.len() / width;
    let mut last: Option<([u32; 5], usize)> = None;
    for at in 0..of.len() {
        let (x, y) = (at % width, at / width);
        let mut beside = [
            if y > 0 { of[at - width] } else { NONE },
            if x > 0 { of[at - 1] } else { NONE },
            if x + 1 < width { of[at + 1] } else { NONE },
            if y + 1 < height { of[at + width] } else { NONE },
        ];
        beside.sort_unstable();
        let [one, two, three, four] = beside;
        let key = [of[at], one, two, three, four];
        let rect = Rect { x: x as u32, y: y as u32, width: 1, height: 1 };
        let number = match last {
            Some((known, number)) if known == key => number,
            _ => *numbers.entry(key).or_insert_with(|| {
                groups.push(Grouped { group: Group { members: vec![Member { cells: key }] }, pixels: 0, rect });
                groups.len() - 1
            }),
        };
        last = Some((key, number));
        groups[number].pixels += 1;
        groups[number].rect = groups[number].rect.around(rect);
    }
    groups
}

/// The largest stay alone; the others are put in order by where they lie and what they show, and cut where neighbours in
/// that order are least alike.
fn joined(mut all: Vec<Grouped>, cells: &[Cell], most: usize) -> Vec<Grouped> {
    let alone = most / 4 * 3;
    all.sort_by(|one, other| {
        other.pixels.cmp(&one.pixels).then(one.group.members[0].cells.cmp(&other.group.members[0].cells))
    });
    let mut rest = all.split_off(alone);
    rest.sort_by_cached_key(|grouped| likeness(grouped, cells));
    let keys: Vec<Vec<u8>> = rest.iter().map(|grouped| likeness(grouped, cells)).collect();
    let alike = |pair: &[Vec<u8>]| pair[0].iter().zip(&pair[1]).take_while(|(one, other)| one == other).count();
    let mut cuts: Vec<(usize, usize)> = keys.windows(2).map(alike).zip(1..).collect();
    cuts.sort_unstable();
    cuts.truncate(most - alone - 1);
    let mut starts: Vec<usize> = cuts.into_iter().map(|(_, at)| at).collect();
    starts.sort_unstable();
    for (at, one) in rest.into_iter().enumerate() {
        match all.last_mut() {
            Some(last) if at > 0 && starts.binary_search(&at).is_err() => {
                last.group.members.extend(one.group.members);
                last.pixels += one.pixels;
                last.rect = last.rect.around(one.rect);
            }
            _ => all.push(one),
        }
    }
    all
}

fn likeness(grouped: &Grouped, cells: &[Cell]) -> Vec<u8> {
    let mut key = Vec::new();
    for cell in grouped.group.members[0].cells.iter().filter_map(|cell| cells.get(*cell as usize)) {
        let (inside, levels) = cell.likeness();
        key.extend(inside.iter().flat_map(|word| word.to_be_bytes()));
        key.extend_from_slice(levels);
    }
    key
}

/// Whether the glass shows what is in memory after every edge and every start, in every cell: if it did so before.
pub(super) fn is_always_right(cells: &Cells, kinds: &Kinds) -> bool {
    cells.list.iter().all(|cell| {
        kinds.list.iter().all(|kind| {
            let after = cell.levels[kind.after];
            let drives = kind.drives.iter().filter(|drive| cell.is_inside(drive.region));
            let end = drives.fold(cell.levels[kind.before], |level, drive| {
                kinds.ways[drive.way].aim(level, after).end.unwrap_or(level)
            });
            end == after
        })
    })
}
