//! Which of its drives a move may lose, where a busy controller ignores updates: moves that differ in that are of different
//! kinds.

use std::collections::HashMap;

use super::kinds::Kinds;

/// Kinds of edges with which of their drives may be lost.
pub(super) struct Losing {
    pub(super) list: Vec<(u32, u32)>,
    /// By edge, and by start, the number in that list.
    pub(super) of_edge: Vec<u32>,
    pub(super) of_start: Vec<u32>,
}

impl Losing {
    /// Where nothing may be lost.
    pub(super) fn nothing(kinds: &Kinds) -> Self {
        Self {
            list: (0..kinds.list.len() as u32).map(|kind| (kind, 0)).collect(),
            of_edge: kinds.of_edge.clone(),
            of_start: kinds.starts.iter().map(|start| start.kind as u32).collect(),
        }
    }

    pub(super) fn new(kinds: &Kinds, [edges, starts]: [Vec<u32>; 2]) -> Self {
        let mut numbers: HashMap<(u32, u32), u32> = HashMap::new();
        let mut list = Vec::new();
        let mut number = |kind: u32, lost: u32| {
            *numbers.entry((kind, lost)).or_insert_with(|| {
                list.push((kind, lost));
                list.len() as u32 - 1
            })
        };
        let of_edge = kinds.of_edge.iter().zip(edges).map(|(kind, lost)| number(*kind, lost)).collect();
        let of_start = kinds.starts.iter().zip(starts).map(|(start, lost)| number(start.kind as u32, lost)).collect();
        Self { list, of_edge, of_start }
    }
}
