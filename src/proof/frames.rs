//! The screens of a flow as levels of its display, and the boxes around what differs between two of them.

use std::sync::Arc;

use crate::{
    display::Level,
    geometry::{Rect, Size},
    plan::{Begins, Plan, ScreenId},
    screen::Picture,
};

/// A screen: one level a pixel, row by row, in screen coordinates. A decoded picture is shared, not copied.
#[derive(Clone, Debug)]
pub struct Frame {
    pixels: Pixels,
    /// The level of each byte of a pixel.
    levels: Arc<[Level; 256]>,
}

/// A byte a pixel: a shade of a picture, or a level.
#[derive(Clone, Debug)]
enum Pixels {
    Picture(Arc<Picture>),
    Levels(Arc<[Level]>),
}

impl Frame {
    /// A picture, with the level of each of its shades.
    pub fn new(picture: &Arc<Picture>, levels: &Arc<[Level; 256]>) -> Self {
        Self { pixels: Pixels::Picture(picture.clone()), levels: levels.clone() }
    }

    /// A screen of these levels, row by row.
    pub fn of_levels(levels: Vec<Level>) -> Self {
        Self { pixels: Pixels::Levels(levels.into()), levels: Arc::new(std::array::from_fn(|level| level as Level)) }
    }

    /// A byte a pixel, row by row.
    fn bytes(&self) -> &[u8] {
        match &self.pixels {
            Pixels::Picture(picture) => picture.shades(),
            Pixels::Levels(levels) => levels,
        }
    }
}

/// All screens of a flow, and what is on the glass at the beginning.
///
/// Already true of it: every frame has as many pixels as the size says.
#[derive(Clone, Debug)]
pub struct Frames {
    size: Size,
    screens: Vec<Frame>,
    /// The frame of the beginning: the last of the list.
    begins: usize,
}

impl Frames {
    /// The frames of a flow with this head: one for each screen, by the number of its [`ScreenId`].
    ///
    /// `None` if a frame has another size than the head's screens, or the beginning is a screen that is not there.
    pub fn new(head: &Plan, mut screens: Vec<Frame>) -> Option<Self> {
        let size = head.screen_size();
        let ink = &head.display.ink;
        let uniform = |level: Level| Frame::of_levels(vec![level; size.pixels() as usize]);
        let first = match head.begins {
            Begins::White | Begins::Unknown => uniform(ink.white()),
            Begins::Black => uniform(ink.black()),
            Begins::Screen(screen) => screens.get(screen.0)?.clone(),
        };
        if screens.iter().any(|frame| frame.bytes().len() as u64 != size.pixels()) {
            return None;
        }
        screens.push(first);
        Some(Self { size, begins: screens.len() - 1, screens })
    }

    /// Columns and rows of every screen.
    pub fn size(&self) -> Size {
        self.size
    }

    /// How many frames there are, that of the beginning included.
    pub(super) fn count(&self) -> usize {
        self.screens.len()
    }

    /// The number of the frame of the beginning.
    pub(super) fn begins(&self) -> usize {
        self.begins
    }

    /// The pixels of a frame, by its number: a byte each, row by row.
    pub(super) fn bytes(&self, frame: usize) -> &[u8] {
        self.screens[frame].bytes()
    }

    /// The level that each byte of a frame stands for.
    pub(super) fn levels(&self, frame: usize) -> &[Level; 256] {
        &self.screens[frame].levels
    }

    /// The box around what differs between two screens; `None` if they are alike.
    pub fn changed(&self, before: ScreenId, after: ScreenId) -> Option<Rect> {
        self.difference(before.0, after.0)
    }

    /// The box around what differs between the beginning and a screen; `None` if they are alike.
    pub fn changed_from_beginning(&self, after: ScreenId) -> Option<Rect> {
        self.difference(self.begins, after.0)
    }

    pub(super) fn difference(&self, before: usize, after: usize) -> Option<Rect> {
        let width = self.size.width as usize;
        let rows = |frame: usize| self.bytes(frame).chunks_exact(width);
        if before == after {
            return None;
        }
        let [levels_before, levels_after] = [before, after].map(|frame| self.levels(frame));
        let are_alike = levels_before == levels_after;
        let mut found: Option<[usize; 4]> = None;
        for (y, (one, other)) in rows(before).zip(rows(after)).enumerate() {
            if are_alike && one == other {
                continue;
            }
            let differs = |x: &usize| levels_before[usize::from(one[*x])] != levels_after[usize::from(other[*x])];
            let Some(first) = (0..width).find(differs) else { continue };
            // Columns that are known to differ need not be looked at again.
            let [left, right] = found.map_or([first, first + 1], |[left, right, ..]| [left.min(first), right]);
            let right = (right..width).rev().find(differs).map_or(right, |x| x + 1);
            let top = found.map_or(y, |[.., top, _]| top);
            found = Some([left, right, top, y + 1]);
        }
        let [left, right, top, bottom] = found?.map(|at| at as u32);
        Some(Rect { x: left, y: top, width: right - left, height: bottom - top })
    }
}
