//! The map of a flow on the page: small screens with the moves between them, those of the shown walk marked.
//!
//! Knows what is drawn and where; which walk is shown is decided elsewhere.

use base64::{Engine, engine::general_purpose::STANDARD};
use maud::{Markup, html};

use crate::flow_review::{Drawing, DrawnState, DrawnWay};

/// The width of a small screen, and the space between two of them.
const WIDTH: f64 = 120.0;
const GAP_X: f64 = 150.0;
const GAP_Y: f64 = 70.0;
const MARGIN: f64 = 46.0;
/// The height of a line of text.
const LINE: f64 = 15.0;
/// About the width of a letter.
const LETTER: f64 = 7.0;
/// Where more ways are drawn, only those of the walk are named in the drawing.
const MOST_NAMES: usize = 40;

/// The map of a flow; nothing where it is not drawn.
pub(super) fn flow_map(drawing: &Drawing, at: usize) -> Markup {
    if drawing.states.is_empty() {
        return html! {};
    }
    let places = places(drawing);
    let [width, height] = [0, 1].map(|axis| {
        let far = |place: &Place| if axis == 0 { place.x + WIDTH } else { place.y + place.height + 2.0 * LINE };
        places.iter().map(far).fold(0.0, f64::max) + MARGIN
    });
    let named = drawing.ways.len() <= MOST_NAMES;
    let shown: Vec<&DrawnWay> = drawing.ways.iter().filter(|way| named || way.is_on_walk).collect();
    html! {
        h3 id={ "map-" (at) } { "The screens and the moves between them" }
        div.wide tabindex="0" role="group" aria-labelledby={ "map-" (at) } {
            svg.map width=(format!("{width:.0}")) height=(format!("{height:.0}")) viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-labelledby={ "map-" (at) } {
                marker id={ "tip-" (at) } viewBox="0 0 10 10" refX="9" refY="5" markerWidth="7" markerHeight="7" orient="auto-start-reverse" { path.tip d="M0 0L10 5L0 10z" {} }
                marker id={ "walked-tip-" (at) } viewBox="0 0 10 10" refX="9" refY="5" markerWidth="5" markerHeight="5" orient="auto-start-reverse" { path.walked-tip d="M0 0L10 5L0 10z" {} }
                @for way in &drawing.ways { (way_of(way, &places, at)) }
                @for (state, place) in drawing.states.iter().zip(&places) { (state_of(state, place)) }
                @for names in names_of(&shown, &places) { (names) }
            }
        }
        p.faint { "Thick lines are the walk that is shown below. A screen with a dashed frame is never reached." }
    }
}

/// Where a state is drawn.
struct Place {
    x: f64,
    y: f64,
    height: f64,
}

/// A column for each number of moves that the nearest walk needs; what is never reached stands behind them.
fn places(drawing: &Drawing) -> Vec<Place> {
    let last = drawing.states.iter().filter_map(|state| state.moves).max().map_or(0, |most| most + 1);
    let mut rows = vec![0_u32; last + 1];
    let height = |state: &DrawnState| WIDTH * f64::from(state.size.height) / f64::from(state.size.width.max(1));
    let tallest = drawing.states.iter().map(height).fold(0.0, f64::max);
    let place = |state: &DrawnState| {
        let column = state.moves.unwrap_or(last);
        let row = f64::from(rows[column]);
        rows[column] += 1;
        // Columns are staggered, so that ways between far columns do not run through the screens between them.
        let shift = if column % 2 == 1 { GAP_Y * 0.6 } else { 0.0 };
        Place {
            x: MARGIN + column as f64 * (WIDTH + GAP_X),
            y: MARGIN + row * (tallest + GAP_Y + LINE) + shift,
            height: height(state),
        }
    };
    drawing.states.iter().map(place).collect()
}

fn state_of(state: &DrawnState, place: &Place) -> Markup {
    let (x, y) = (format!("{:.1}", place.x), format!("{:.1}", place.y));
    let (width, height) = (format!("{WIDTH:.1}"), format!("{:.1}", place.height));
    let name =
        if state.screens > 1 { format!("{} ({} screens)", state.name, state.screens) } else { state.name.clone() };
    html! {
        image x=(x) y=(y) width=(width) height=(height) preserveAspectRatio="none" href={ "data:image/png;base64," (STANDARD.encode(&state.picture)) } { title { (name) } }
        rect class=(if state.moves.is_some() { "screen" } else { "screen unreached" }) x=(x) y=(y) width=(width) height=(height) {}
        text.name x=(x) y=(format!("{:.1}", place.y + place.height + LINE)) { (name) }
    }
}

/// Where a way leaves, where it arrives, and the points that bend it.
fn bend(way: &DrawnWay, places: &[Place]) -> [(f64, f64); 4] {
    let (from, to) = (&places[way.from], &places[way.to]);
    let middle = |place: &Place| (place.x + WIDTH / 2.0, place.y + place.height / 2.0);
    let ((from_x, from_y), (to_x, to_y)) = (middle(from), middle(to));
    if way.from == way.to {
        let (top, left) = (from.y, from_x - 18.0);
        return [(left, top), (left - 12.0, top - 42.0), (left + 48.0, top - 42.0), (left + 36.0, top)];
    }
    // There and back run beside each other.
    let side: f64 = if way.from < way.to { -9.0 } else { 9.0 };
    if (from_x - to_x).abs() < 1.0 {
        let (x, out) =
            (from.x + if side < 0.0 { 0.0 } else { WIDTH }, 0.35 * (from_y - to_y).abs().min(120.0) * side.signum());
        return [(x, from_y), (x + out, from_y), (x + out, to_y), (x, to_y)];
    }
    let ahead = if to_x > from_x { 1.0 } else { -1.0 };
    let start = (from_x + ahead * WIDTH / 2.0, from_y + side);
    let end = (to_x - ahead * WIDTH / 2.0, to_y + side);
    let pull = 0.4 * (end.0 - start.0);
    let lift = if (to_x - from_x).abs() > 1.5 * (WIDTH + GAP_X) { 4.0 * side } else { 0.0 };
    [start, (start.0 + pull, start.1 + lift), (end.0 - pull, end.1 + lift), end]
}

fn way_of(way: &DrawnWay, places: &[Place], at: usize) -> Markup {
    let [(x, y), one, other, end] = bend(way, places);
    let path =
        format!("M{x:.1} {y:.1}C{:.1} {:.1} {:.1} {:.1} {:.1} {:.1}", one.0, one.1, other.0, other.1, end.0, end.1);
    let (class, tip) = if way.is_on_walk { ("way walked", "walked-tip") } else { ("way", "tip") };
    html! { path class=(class) d=(path) marker-end={ "url(#" (tip) "-" (at) ")" } { title { (way.names.join(", ")) } } }
}

/// The names of the moves of some ways, each where it covers neither a screen nor other names, as far as there is room.
fn names_of(ways: &[&DrawnWay], places: &[Place]) -> Vec<Markup> {
    let mut taken: Vec<Area> = places.iter().map(Area::of_place).collect();
    let name = |way: &&DrawnWay| {
        let here = free_place(way, places, &taken);
        taken.push(here);
        lines_at(way, here)
    };
    ways.iter().map(name).collect()
}

/// An area of the drawing.
#[derive(Clone, Copy, Debug)]
struct Area {
    x: f64,
    y: f64,
    width: f64,
    height: f64,
}

impl Area {
    /// A screen with its name below it.
    fn of_place(place: &Place) -> Self {
        Self { x: place.x, y: place.y, width: WIDTH, height: place.height + LINE + 4.0 }
    }

    /// The area that both cover.
    fn common(&self, other: &Self) -> f64 {
        let width = (self.x + self.width).min(other.x + other.width) - self.x.max(other.x);
        let height = (self.y + self.height).min(other.y + other.height) - self.y.max(other.y);
        width.max(0.0) * height.max(0.0)
    }
}

/// The box for the names of a way: near its middle if nothing is there, otherwise farther along it or beside it.
fn free_place(way: &DrawnWay, places: &[Place], taken: &[Area]) -> Area {
    const ALONG: [f64; 7] = [0.5, 0.38, 0.62, 0.27, 0.73, 0.17, 0.83];
    let points = bend(way, places);
    let longest = way.names.iter().map(|name| name.chars().count()).max().unwrap_or(0);
    let (width, height) = (longest as f64 * LETTER + 6.0, way.names.len() as f64 * LINE);
    // On the side of the way that lies away from the way back.
    let away = if way.from <= way.to { -1.0 } else { 1.0 };
    let beside = [0.0, 1.0, 2.0, -2.0, 3.0, -3.0, 4.5, -4.5];
    let tried = beside.iter().flat_map(|lines| ALONG.iter().map(move |along| (*along, *lines)));
    let boxes = tried.map(|(along, lines)| {
        let (x, y) = point_on(&points, along);
        let middle = y + away * (height / 2.0 + 2.0 + lines * LINE);
        Area { x: (x - width / 2.0).max(2.0), y: (middle - height / 2.0).max(2.0), width, height }
    });
    let mut best: Option<(f64, Area)> = None;
    for tried in boxes {
        let covered: f64 = taken.iter().map(|other| tried.common(other)).sum();
        if covered <= 0.0 {
            return tried;
        }
        if best.is_none_or(|(least, _)| covered < least) {
            best = Some((covered, tried));
        }
    }
    best.map_or(Area { x: 0.0, y: 0.0, width, height }, |(_, tried)| tried)
}

/// The point of a curve at a share of its way.
fn point_on(points: &[(f64, f64); 4], along: f64) -> (f64, f64) {
    let back = 1.0 - along;
    let weights = [back * back * back, 3.0 * back * back * along, 3.0 * back * along * along, along * along * along];
    let sum =
        |axis: fn(&(f64, f64)) -> f64| points.iter().zip(weights).map(|(point, weight)| axis(point) * weight).sum();
    (sum(|point| point.0), sum(|point| point.1))
}

/// The names of a way, a line each.
fn lines_at(way: &DrawnWay, here: Area) -> Markup {
    let x = here.x + here.width / 2.0;
    let class = if way.is_on_walk { "move walked-name" } else { "move" };
    html! {
        @for (line, name) in way.names.iter().enumerate() {
            text class=(class) text-anchor="middle" x=(format!("{x:.1}")) y=(format!("{:.1}", here.y + (line as f64 + 1.0) * LINE - 4.0)) { (name) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    fn drawing(states: usize, ways: &[(usize, usize)]) -> Drawing {
        let state = |number| DrawnState {
            name: format!("state {number}"),
            picture: Vec::new(),
            size: Size { width: 120, height: 90 },
            screens: 1,
            moves: Some(usize::from(number > 0) * (1 + number % 2)),
        };
        let way = |(from, to): &(usize, usize)| DrawnWay {
            from: *from,
            to: *to,
            names: vec![format!("move {from} to {to}")],
            is_on_walk: false,
        };
        Drawing { states: (0..states).map(state).collect(), ways: ways.iter().map(way).collect() }
    }

    #[test]
    fn names_of_moves_cover_neither_screens_nor_each_other() {
        let ways =
            [(0, 1), (1, 0), (0, 2), (2, 0), (1, 2), (2, 1), (3, 0), (0, 3), (3, 2), (1, 1), (4, 0), (4, 1), (0, 4)];
        let drawing = drawing(5, &ways);
        let places = places(&drawing);
        let mut taken: Vec<Area> = places.iter().map(Area::of_place).collect();
        for way in &drawing.ways {
            let here = free_place(way, &places, &taken);
            assert!(here.x >= 0.0 && here.y >= 0.0, "{here:?}");
            for other in &taken {
                assert!(here.common(other) <= 0.0, "{} at {here:?} covers {other:?}", way.names[0]);
            }
            taken.push(here);
        }
    }
}
