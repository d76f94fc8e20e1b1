//! From the windows that are asked for to the boxes that are sent: widened to the controller's grid, cut at the
//! panel's edge, or replaced by the whole panel where it has no windows.

use std::ops::Range;

use super::TileGrid;
use crate::{
    display::{Display, Mode},
    geometry::{Rect, Rotation, Window},
    plan::WindowAsk,
};

/// What happens to an update's windows.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct SentWindows {
    /// The boxes asked for, in screen coordinates, before they are widened; empty where nothing is sent.
    pub asked: Vec<Window>,
    /// The boxes sent, in screen coordinates.
    pub sent: Vec<Rect>,
    /// Whether the whole panel is refreshed although a window was asked for.
    pub refused: bool,
}

/// The boxes that are sent for what an update asks. `changed` is the box around what differs from the glass.
pub fn sent_windows(
    ask: &WindowAsk,
    mode: &Mode,
    display: &Display,
    rotation: Rotation,
    changed: Option<Rect>,
) -> SentWindows {
    let size = rotation.turn_size(display.size);
    let whole = size.whole();
    let asked: Vec<Window> = match ask {
        WindowAsk::All => return SentWindows { asked: vec![whole.to_window()], sent: vec![whole], refused: false },
        WindowAsk::Changed => changed.iter().map(|rect| rect.to_window()).collect(),
        WindowAsk::Boxes(boxes) => boxes.clone(),
    };
    let on_panel: Vec<Window> = asked.iter().filter(|window| window.cut(size).is_some()).copied().collect();
    if on_panel.is_empty() {
        return SentWindows::default();
    }
    if display.windows.is_none() || !mode.windowed {
        let refused = !on_panel.iter().any(|window| window.cut(size) == Some(whole));
        return SentWindows { asked, sent: vec![whole], refused };
    }
    let sent = on_panel.iter().filter_map(|window| widened(*window, display, rotation));
    SentWindows { sent: sent.collect(), asked, refused: false }
}

/// A window widened outward to the controller's grid and cut at the panel's edge, in screen coordinates; `None` if
/// it lies entirely off the panel.
pub fn widened(window: Window, display: &Display, rotation: Rotation) -> Option<Rect> {
    let size = rotation.turn_size(display.size);
    let on_panel = window.cut(size)?;
    let Some(windows) = display.windows else { return Some(on_panel) };
    let widened = windows.widen(rotation.to_panel(window, size));
    rotation.to_screen(widened, size).cut(size)
}

/// A window to propose for a box: on the controller's grid, no smaller than it takes, and on the panel; `None` if the
/// panel has no windows.
pub fn proposed_window(rect: Rect, display: &Display, rotation: Rotation) -> Option<Rect> {
    let windows = display.windows?;
    let size = rotation.turn_size(display.size);
    let mut window = windows.widen(rotation.to_panel(rect.to_window(), size));
    let [least_width, least_height] = windows.smallest.map(i64::from);
    (window.width, window.height) = (window.width.max(least_width), window.height.max(least_height));
    window.x = window.x.min(i64::from(display.size.width) - window.width).max(0);
    window.y = window.y.min(i64::from(display.size.height) - window.height).max(0);
    rotation.to_screen(windows.widen(window), size).cut(size)
}

/// The tiles of some boxes with the pixels inside, each tile once.
#[derive(Clone, Debug)]
pub struct TileCover<'b> {
    grid: TileGrid,
    boxes: &'b [Rect],
}

impl<'b> TileCover<'b> {
    /// The tiles of these boxes.
    pub fn new(grid: TileGrid, boxes: &'b [Rect]) -> Self {
        Self { grid, boxes }
    }

    /// The number of pixels in at least one of the boxes.
    pub fn pixels(&self) -> u64 {
        match self.boxes {
            [] => 0,
            [rect] => rect.pixels(),
            _ => {
                let mut pixels = 0;
                self.for_each_tile(|_, covered| pixels += u64::from(covered.count_ones()));
                pixels
            }
        }
    }

    /// The tiles of the rows that the boxes touch.
    pub fn rows(&self) -> Range<u32> {
        self.grid.rows_of(self.boxes)
    }

    /// The pixels of a tile that lie in at least one of the boxes.
    pub fn of_tile(&self, tile: u32) -> u64 {
        self.boxes.iter().fold(0, |mask, rect| mask | self.grid.cover(tile, *rect))
    }

    /// Calls `with` for every tile that has a pixel in a box, in reading order.
    pub fn for_each_tile(&self, mut with: impl FnMut(u32, u64)) {
        match self.boxes {
            [] => {}
            [rect] => self.for_each_tile_of(*rect, with),
            boxes => {
                let mut tiles = Vec::new();
                for rect in boxes {
                    self.for_each_tile_of(*rect, |tile, covered| tiles.push((tile, covered)));
                }
                for (tile, covered) in super::Mask::from_unsorted(tiles).tiles() {
                    with(*tile, *covered);
                }
            }
        }
    }

    fn for_each_tile_of(&self, rect: Rect, mut with: impl FnMut(u32, u64)) {
        let columns = rect.x / super::TILE..rect.right().div_ceil(super::TILE);
        for row in rect.y / super::TILE..rect.bottom().div_ceil(super::TILE) {
            for column in columns.clone() {
                let tile = row * self.grid.columns() + column;
                with(tile, self.grid.cover(tile, rect));
            }
        }
    }
}
