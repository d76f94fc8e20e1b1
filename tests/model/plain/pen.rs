//! Controller-drawn ink: which pixels each piece of a stroke covers. Knows neither levels nor time.

use super::geometry::{Mask, Size, mask_of};
use super::reading::{PenPoint, Stroke};

/// One update of the controller under the pen: the point that it follows, and its pixels.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub(crate) at_ms: f64,
    pub(crate) covered: Mask,
}

/// One piece a point but the first; a single point is a disc.
pub(crate) fn pieces(size: Size, stroke: &Stroke) -> Vec<Piece> {
    let radius = stroke.width_px / 2.0;
    let piece = |from: PenPoint, to: PenPoint| Piece { at_ms: to.ms, covered: near_line(size, from, to, radius) };
    match stroke.points.as_slice() {
        [only] => vec![piece(*only, *only)],
        points => points.windows(2).map(|pair| piece(pair[0], pair[1])).collect(),
    }
}

fn near_line(size: Size, from: PenPoint, to: PenPoint, radius: f64) -> Mask {
    mask_of(size, |x, y| is_near((x as f64 + 0.5, y as f64 + 0.5), from, to, radius))
}

/// Whether a place lies within the radius of a line, its ends included. Squares and cross products, no division and no
/// root: for points and widths in halves this is exact, so that a pixel just at the edge is inside.
fn is_near(place: (f64, f64), from: PenPoint, to: PenPoint, radius: f64) -> bool {
    let (along_x, along_y) = (to.x - from.x, to.y - from.y);
    let (x, y) = (place.0 - from.x, place.1 - from.y);
    let length2 = along_x * along_x + along_y * along_y;
    let along = x * along_x + y * along_y;
    if along <= 0.0 {
        return x * x + y * y <= radius * radius;
    }
    if along >= length2 {
        let (x, y) = (place.0 - to.x, place.1 - to.y);
        return x * x + y * y <= radius * radius;
    }
    let across = x * along_y - y * along_x;
    across * across <= radius * radius * length2
}
