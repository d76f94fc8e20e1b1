//! What a drawing of a flow shows: small screens, and the moves between them, with those of one walk marked.
//!
//! Knows nothing of how it is drawn.

use std::collections::BTreeMap;

use super::{decoded::DecodedScreens, map::FlowMap};
use crate::{
    flow::{Flow, Walk},
    geometry::Size,
    screen::png_of_levels,
};

/// A flow with more states is not drawn: nobody could read it.
const MOST_STATES: usize = 60;
/// The longer side of a small screen, px.
const SMALL_PX: u32 = 160;

/// A flow as it is drawn.
#[derive(Clone, Debug, Default)]
pub struct Drawing {
    /// The states in the order of the flow; none if there are too many.
    pub states: Vec<DrawnState>,
    /// The ways between them.
    pub ways: Vec<DrawnWay>,
}

/// A state as it is drawn.
#[derive(Clone, Debug)]
pub struct DrawnState {
    /// Its name.
    pub name: String,
    /// Its screen, of a ring the first one, small, as a PNG.
    pub picture: Vec<u8>,
    /// The size of that picture.
    pub size: Size,
    /// How many screens it has.
    pub screens: usize,
    /// How many moves the nearest walk needs to it; `None` if no walk reaches it.
    pub moves: Option<usize>,
}

/// All moves from one state to another.
#[derive(Clone, Debug)]
pub struct DrawnWay {
    /// The state before.
    pub from: usize,
    /// The state after.
    pub to: usize,
    /// What the moves are called.
    pub names: Vec<String>,
    /// Whether the walk that is shown makes one of them here.
    pub is_on_walk: bool,
}

/// A flow as it is drawn beside a walk.
pub(super) fn drawing(flow: &Flow, map: &FlowMap, screens: &DecodedScreens, walk: &Walk) -> Drawing {
    if flow.states.len() > MOST_STATES {
        return Drawing::default();
    }
    let moves = distances(flow, map);
    let state = |(number, state): (usize, &crate::flow::State)| {
        let (picture, size) = small(screens, flow, state.screens[0]);
        DrawnState { name: state.name.clone(), picture, size, screens: state.screens.len(), moves: moves[number] }
    };
    Drawing { states: flow.states.iter().enumerate().map(state).collect(), ways: ways(flow, map, walk) }
}

/// The least number of moves to each state.
fn distances(flow: &Flow, map: &FlowMap) -> Vec<Option<usize>> {
    let mut least: Vec<Option<usize>> = vec![None; flow.states.len()];
    // Nodes come nearest first.
    for (number, node) in map.graph.nodes.iter().enumerate() {
        least[node.state].get_or_insert_with(|| map.graph.walk_to(number).len());
    }
    least
}

fn ways(flow: &Flow, map: &FlowMap, walk: &Walk) -> Vec<DrawnWay> {
    let graph = &map.graph;
    let mut ways: BTreeMap<(usize, usize), Vec<String>> = BTreeMap::new();
    for (number, one) in flow.moves.iter().enumerate() {
        for from in &one.from {
            let name = one.label.clone().unwrap_or_else(|| format!("move {number}"));
            ways.entry((*from, one.to)).or_default().push(name);
        }
    }
    let state = |node: usize| graph.nodes[node].state;
    let walked: Vec<(usize, usize)> =
        walk.moves.iter().map(|one| &graph.edges[one.edge]).map(|edge| (state(edge.from), state(edge.to))).collect();
    let way = |((from, to), names)| DrawnWay { from, to, names, is_on_walk: walked.contains(&(from, to)) };
    ways.into_iter().map(way).collect()
}

/// A screen with every so many pixels left out, so that it is small; empty if it cannot be written.
fn small(screens: &DecodedScreens, flow: &Flow, screen: crate::plan::ScreenId) -> (Vec<u8>, Size) {
    let (picture, ink) = (screens.of(screen), flow.head.display.ink.turned(flow.head.rotation));
    let table = ink.level_table();
    let whole = picture.size();
    let step = (whole.width.max(whole.height)).div_ceil(SMALL_PX).max(1);
    let size = Size { width: whole.width.div_ceil(step), height: whole.height.div_ceil(step) };
    let level = |x: u32, y: u32| table[usize::from(picture.shade(x * step, y * step))];
    let levels: Vec<_> = (0..size.height).flat_map(|y| (0..size.width).map(move |x| level(x, y))).collect();
    (png_of_levels(&levels, size, &ink).unwrap_or_default(), size)
}
