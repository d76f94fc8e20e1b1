//! A picture as it was drawn, by its distinct colours. Knows no ink.

use crate::screen::Picture;

/// A picture as numbers of its distinct colours: what is computed for a colour is computed once.
#[derive(Debug)]
pub(super) struct Drawn {
    pub(super) width: usize,
    pub(super) height: usize,
    /// The number of every pixel's colour.
    pub(super) of_pixel: Vec<u32>,
    /// Encoded sRGB by number.
    pub(super) colours: Vec<[u8; 3]>,
}

impl Drawn {
    /// The colours of a picture.
    pub(super) fn of(picture: &Picture) -> Self {
        let size = picture.size();
        let (mut known, mut colours) = (std::collections::HashMap::new(), Vec::new());
        let mut of_pixel = Vec::with_capacity(size.pixels() as usize);
        // Neighbours are mostly of one colour.
        let mut last = None;
        for y in 0..size.height {
            for x in 0..size.width {
                let colour = picture.drawn(x, y);
                let number = match last {
                    Some((before, number)) if before == colour => number,
                    _ => *known.entry(colour).or_insert_with(|| {
                        colours.push(colour);
                        colours.len() as u32 - 1
                    }),
                };
                last = Some((colour, number));
                of_pixel.push(number);
            }
        }
        Self { width: size.width as usize, height: size.height as usize, of_pixel, colours }
    }

    /// Encoded sRGB of a number.
    pub(super) fn colour(&self, number: u32) -> [u8; 3] {
        self.colours[number as usize]
    }
}
