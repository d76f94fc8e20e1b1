//! The pixels of a line that the controller draws under the pen.

use crate::{
    change::{Mask, TileGrid},
    geometry::Rect,
    plan::{Stroke, StrokePoint},
};

/// A piece of a stroke: from one point to the next, or the dot of a single point.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Piece {
    /// When the pen was at its end, ms since the step's request.
    pub(crate) at_ms: f64,
    /// The pixels that it covers; none where it is off the panel.
    pub(crate) pixels: Mask,
}

/// The pieces of a stroke that cover a pixel, in order.
pub(crate) fn pieces(stroke: &Stroke, grid: &TileGrid) -> Vec<Piece> {
    let radius = stroke.width_px / 2.0;
    let piece =
        |from: StrokePoint, to: StrokePoint| Piece { at_ms: to.ms, pixels: near_segment(from, to, radius, grid) };
    let pieces: Vec<Piece> = match stroke.points.as_slice() {
        [only] => vec![piece(*only, *only)],
        points => points.windows(2).map(|pair| piece(pair[0], pair[1])).collect(),
    };
    pieces.into_iter().filter(|piece| !piece.pixels.is_empty()).collect()
}

/// The pixels whose centre lies within `radius` of the segment, the edge included.
fn near_segment(from: StrokePoint, to: StrokePoint, radius: f64, grid: &TileGrid) -> Mask {
    let Some(area) = area_near(from, to, radius, grid) else { return Mask::new() };
    let mut tiles = Vec::new();
    for y in area.y..area.bottom() {
        for x in area.x..area.right() {
            let centre = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            if is_near(centre, from, to, radius) {
                tiles.push(grid.locate(x, y));
            }
        }
    }
    Mask::from_unsorted(tiles)
}

/// The part of the panel in which pixels near the segment can lie.
fn area_near(from: StrokePoint, to: StrokePoint, radius: f64, grid: &TileGrid) -> Option<Rect> {
    let size = grid.size();
    let low = |one: f64, other: f64| (one.min(other) - radius - 1.0).floor().max(0.0);
    let high = |one: f64, other: f64, end: u32| (one.max(other) + radius + 1.0).ceil().min(f64::from(end));
    let (left, top) = (low(from.x, to.x), low(from.y, to.y));
    let (right, bottom) = (high(from.x, to.x, size.width), high(from.y, to.y, size.height));
    (left < right && top < bottom).then_some(Rect {
        x: left as u32,
        y: top as u32,
        width: (right - left) as u32,
        height: (bottom - top) as u32,
    })
}

/// Whether a place lies within `radius` of the segment. Without division or root, so that it is exact for points and
/// widths in halves of a pixel.
fn is_near((x, y): (f64, f64), from: StrokePoint, to: StrokePoint, radius: f64) -> bool {
    let (along_x, along_y) = (to.x - from.x, to.y - from.y);
    let (off_x, off_y) = (x - from.x, y - from.y);
    let length_squared = along_x * along_x + along_y * along_y;
    let along = off_x * along_x + off_y * along_y;
    if along <= 0.0 {
        return off_x * off_x + off_y * off_y <= radius * radius;
    }
    if along >= length_squared {
        let (off_x, off_y) = (x - to.x, y - to.y);
        return off_x * off_x + off_y * off_y <= radius * radius;
    }
    let across = off_x * along_y - off_y * along_x;
    across * across <= radius * radius * length_squared
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;

    fn point(x: f64, y: f64, ms: f64) -> StrokePoint {
        StrokePoint { x, y, ms }
    }

    #[test]
    fn a_level_line_covers_its_width_and_its_round_ends() {
        let grid = TileGrid::new(Size { width: 20, height: 20 });
        let stroke =
            Stroke { points: vec![point(4.0, 6.0, 0.0), point(12.0, 6.0, 10.0)], width_px: 2.0, mode: 0, white: false };
        let pieces = pieces(&stroke, &grid);
        assert_eq!(pieces.len(), 1);
        // Two rows of centres at 0.5 px from the line, 8 px long, one more at each end within the round end.
        assert_eq!(pieces[0].pixels.bounds(&grid), Some(Rect { x: 3, y: 5, width: 10, height: 2 }));
        assert_eq!(pieces[0].pixels.count(), 20);
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]
        /// An independent distance: the nearest of many points along the segment.
        #[test]
        fn pixels_are_near_the_segment(x1 in 0.0_f64..30.0, y1 in 0.0_f64..30.0, x2 in 0.0_f64..30.0, y2 in 0.0_f64..30.0, width in 0.5_f64..9.0) {
            let grid = TileGrid::new(Size { width: 30, height: 30 });
            let (from, to) = (point(x1, y1, 0.0), point(x2, y2, 1.0));
            let mask = near_segment(from, to, width / 2.0, &grid);
            for y in 0..30 {
                for x in 0..30 {
                    let (tile, bit) = grid.locate(x, y);
                    let nearest = (0..=2000).map(|step| {
                        let share = f64::from(step) / 2000.0;
                        let (along_x, along_y) = (x1 + share * (x2 - x1), y1 + share * (y2 - y1));
                        (f64::from(x) + 0.5 - along_x).hypot(f64::from(y) + 0.5 - along_y)
                    }).fold(f64::INFINITY, f64::min);
                    if (nearest - width / 2.0).abs() > 1e-3 {
                        prop_assert_eq!(mask.pixels_of(tile) & bit != 0, nearest < width / 2.0);
                    }
                }
            }
        }
    }
}
