//! Pictures of boxes, figures and lines that nobody can read.

use std::path::Path;

use super::{dice::Dice, frames};

/// A grey picture.
#[derive(Clone)]
pub(crate) struct Picture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) pixels: Vec<u8>,
}

impl Picture {
    pub(crate) fn white([width, height]: [usize; 2]) -> Self {
        Self { width, height, pixels: vec![255; width * height] }
    }

    pub(crate) fn fill(&mut self, [x, y, width, height]: [usize; 4], shade: u8) {
        for row in y..y + height {
            self.pixels[row * self.width + x..][..width].fill(shade);
        }
    }

    pub(crate) fn invert(&mut self, [x, y, width, height]: [usize; 4]) {
        for row in y..y + height {
            self.pixels[row * self.width + x..][..width].iter_mut().for_each(|pixel| *pixel = 255 - *pixel);
        }
    }

    /// A figure as seven bars, `scale` px thick.
    pub(crate) fn digit(&mut self, digit: usize, x: usize, y: usize, scale: usize) {
        // Top, upper left, upper right, middle, lower left, lower right, bottom.
        const BARS: [[usize; 4]; 7] =
            [[0, 0, 4, 1], [0, 0, 1, 4], [3, 0, 1, 4], [0, 3, 4, 1], [0, 3, 1, 4], [3, 3, 1, 4], [0, 6, 4, 1]];
        const LIT: [u8; 10] = [0x77, 0x24, 0x5d, 0x6d, 0x2e, 0x6b, 0x7b, 0x25, 0x7f, 0x6f];
        for (bar, [left, top, width, height]) in BARS.into_iter().enumerate() {
            if LIT[digit] >> bar & 1 == 1 {
                self.fill([x + left * scale, y + top * scale, width * scale, height * scale], 0);
            }
        }
    }

    /// Lines of a text that nobody can read.
    pub(crate) fn scribble(&mut self, [x, y, width]: [usize; 3], dice: &mut Dice) {
        for column in (x..x + width).step_by(6) {
            // A column of six is a space.
            let dots = if dice.roll(6) > 0 { dice.roll(1 << 12) } else { 0 };
            for dot in (0..12).filter(|dot| dots >> dot & 1 == 1) {
                self.fill([column + dot % 3 * 2, y + dot / 3 * 2, 2, 2], 0);
            }
        }
    }

    pub(crate) fn save(&self, path: &Path) {
        frames::save(path, [self.width, self.height], &self.pixels);
    }
}
