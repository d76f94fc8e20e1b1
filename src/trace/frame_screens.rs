//! The screens of a trace: each is a frame, or a part that was written over the screen before it. Knows how the files are
//! stored, not where they are.

use std::sync::{Mutex, PoisonError};

use super::packing::Packing;
use crate::{
    display::Ink,
    geometry::{Rect, Size},
    plan::ScreenId,
    screen::{Picture, Pixels, ScreenFault},
};

/// What a screen is made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct FrameScreen {
    /// The number of the file.
    pub(super) file: usize,
    /// Where a file is placed that shows only a part, and over what.
    pub(super) part: Option<(Rect, Below)>,
}

/// What is below a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Below {
    White,
    Black,
    Screen(ScreenId),
}

/// The screens of a trace, by their numbers.
#[derive(Clone, Debug)]
pub struct FrameScreens {
    pub(super) packing: Packing,
    pub(super) size: Size,
    pub(super) screens: Vec<FrameScreen>,
}

/// The last pictures that parts were written over.
#[derive(Debug, Default)]
pub struct FrameCache(Mutex<Vec<(ScreenId, Pixels)>>);

/// How many pictures are kept: screens are asked for nearly in order, by a few threads.
const KEPT: usize = 6;

impl FrameScreens {
    /// The number of the file that a screen comes from; of a part, the file of that part.
    pub fn file_of(&self, screen: ScreenId) -> usize {
        self.screens[screen.0].file
    }

    /// The picture of a screen; `read` gives the bytes of a file.
    ///
    /// # Errors
    /// Where a file cannot be read, or is no frame of the right size.
    pub fn picture(
        &self,
        screen: ScreenId,
        ink: &Ink,
        read: &dyn Fn(usize) -> Result<Vec<u8>, ScreenFault>,
        cache: &FrameCache,
        buffer: Vec<u8>,
    ) -> Result<Picture, ScreenFault> {
        let in_colours = ink.colours().is_some();
        let FrameScreen { file, part } = self.screens[screen.0];
        let pixels = match part {
            None => self.packing.pixels(&read(file)?, self.size, false, in_colours, buffer)?,
            Some(_) => self.composed(screen, in_colours, read, cache)?,
        };
        Ok(Picture::of_pixels(self.size, pixels, ink))
    }

    /// A screen that was written in parts.
    fn composed(
        &self,
        screen: ScreenId,
        in_colours: bool,
        read: &dyn Fn(usize) -> Result<Vec<u8>, ScreenFault>,
        cache: &FrameCache,
    ) -> Result<Pixels, ScreenFault> {
        let mut parts = Vec::new();
        let mut next = screen;
        let mut pixels = loop {
            if let Some(known) = cache.get(next) {
                break known;
            }
            let FrameScreen { file, part } = self.screens[next.0];
            let Some((rect, below)) = part else {
                break self.packing.pixels(&read(file)?, self.size, false, in_colours, Vec::new())?;
            };
            parts.push((file, rect));
            match below {
                Below::White => break uniform(self.size, 255, in_colours),
                Below::Black => break uniform(self.size, 0, in_colours),
                Below::Screen(below) => next = below,
            }
        };
        for (file, rect) in parts.into_iter().rev() {
            let size = Size { width: rect.width, height: rect.height };
            let part = self.packing.pixels(&read(file)?, size, true, in_colours, Vec::new());
            let part = part.map_err(|fault| fault.of_a_part(size))?;
            write_over(&mut pixels, self.size, &part, rect);
        }
        cache.put(screen, &pixels);
        Ok(pixels)
    }
}

impl FrameCache {
    fn get(&self, screen: ScreenId) -> Option<Pixels> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(known, _)| *known == screen).map(|(_, pixels)| pixels.clone())
    }

    fn put(&self, screen: ScreenId, pixels: &Pixels) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.iter().any(|(known, _)| *known == screen) {
            return;
        }
        if kept.len() == KEPT {
            kept.remove(0);
        }
        kept.push((screen, pixels.clone()));
    }
}

fn uniform(size: Size, grey: u8, in_colours: bool) -> Pixels {
    let pixels = size.pixels() as usize;
    if in_colours { Pixels::Colours(vec![[grey; 3]; pixels], Vec::new()) } else { Pixels::Greys(vec![grey; pixels]) }
}

fn write_over(pixels: &mut Pixels, size: Size, part: &Pixels, rect: Rect) {
    match (pixels, part) {
        (Pixels::Greys(whole), Pixels::Greys(part)) => copy_rows(whole, size, part, rect),
        (Pixels::Colours(whole, _), Pixels::Colours(part, _)) => copy_rows(whole, size, part, rect),
        // All pixels of a trace are decoded for one ink.
        _ => {}
    }
}

fn copy_rows<T: Copy>(whole: &mut [T], size: Size, part: &[T], rect: Rect) {
    let rows = whole.chunks_exact_mut(size.width as usize).skip(rect.y as usize);
    for (row, part) in rows.zip(part.chunks_exact(rect.width as usize)) {
        row[rect.x as usize..][..rect.width as usize].copy_from_slice(part);
    }
}
