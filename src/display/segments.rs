//! Segments: the shapes of a direct-driven panel, each of which is either on or off.
//!
//! Knows which pixel belongs to which segment; the shapes are drawn elsewhere.

use crate::geometry::{Rect, Rotation, Size, Window};

/// Which pixel belongs to which segment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segments {
    size: Size,
    names: Vec<String>,
    /// For each pixel, row by row: 0 for none, otherwise the segment's number and 1.
    owners: Vec<u16>,
}

/// The state that a picture gives a segment.
#[derive(Clone, Debug, PartialEq)]
pub struct SegmentState {
    /// The segment's name.
    pub name: String,
    /// The share of its pixels that is dark, 0 to 1.
    pub dark_share: f64,
    /// The box around its pixels.
    pub rect: Rect,
}

/// A segment with at least this share of dark pixels is on.
const ON_SHARE: f64 = 0.95;
/// A segment with at most this share of dark pixels is off.
const OFF_SHARE: f64 = 0.05;
/// A grey below this is dark.
const DARK: u8 = 128;

impl Segments {
    /// The most segments.
    pub const MOST: usize = 4096;

    /// Segments by name, and for each pixel of the panel 0 or a segment's number and 1.
    ///
    /// # Panics
    /// Where the number of owners is not the size's.
    pub fn new(size: Size, names: Vec<String>, owners: Vec<u16>) -> Self {
        assert_eq!(owners.len() as u64, size.pixels(), "one owner a pixel");
        Self { size, names, owners }
    }

    /// The size of the panel that they are on.
    pub fn size(&self) -> Size {
        self.size
    }

    /// Their names.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The segment that a pixel belongs to.
    pub fn at(&self, x: u32, y: u32) -> Option<usize> {
        let owner = self.owners[y as usize * self.size.width as usize + x as usize];
        usize::from(owner).checked_sub(1)
    }

    /// The same segments as the reader sees them on a panel that is turned.
    #[must_use]
    pub fn turned(&self, rotation: Rotation) -> Self {
        let screen = rotation.turn_size(self.size);
        let mut owners = vec![0; self.owners.len()];
        for y in 0..self.size.height {
            for x in 0..self.size.width {
                let pixel = Window { x: i64::from(x), y: i64::from(y), width: 1, height: 1 };
                let seen = rotation.to_screen(pixel, screen);
                owners[seen.y as usize * screen.width as usize + seen.x as usize] =
                    self.owners[y as usize * self.size.width as usize + x as usize];
            }
        }
        Self { size: screen, names: self.names.clone(), owners }
    }

    /// Turns the greys of a picture into the states of the segments: 0 for segments that are on, 255 for everything
    /// else. Returns the segments that the picture shows neither on nor off, and the box and number of dark pixels
    /// outside all segments.
    pub fn settle(&self, greys: &mut [u8]) -> (Vec<SegmentState>, Option<(Rect, u64)>) {
        let mut tallies = vec![(0_u64, 0_u64, None::<Rect>); self.names.len()];
        let mut outside: Option<(Rect, u64)> = None;
        let width = self.size.width as usize;
        for (at, (grey, owner)) in greys.iter().zip(&self.owners).enumerate() {
            let pixel = Rect { x: (at % width) as u32, y: (at / width) as u32, width: 1, height: 1 };
            let dark = *grey < DARK;
            match usize::from(*owner).checked_sub(1) {
                Some(segment) => {
                    let (all, ink, rect) = &mut tallies[segment];
                    *all += 1;
                    *ink += u64::from(dark);
                    *rect = Some(rect.map_or(pixel, |rect| rect.around(pixel)));
                }
                None if dark => {
                    outside = Some(outside.map_or((pixel, 1), |(rect, count)| (rect.around(pixel), count + 1)));
                }
                None => {}
            }
        }
        let share = |(all, ink, _): &(u64, u64, Option<Rect>)| *ink as f64 / (*all).max(1) as f64;
        let is_on: Vec<bool> = tallies.iter().map(|tally| share(tally) >= 0.5).collect();
        for (grey, owner) in greys.iter_mut().zip(&self.owners) {
            let on = usize::from(*owner).checked_sub(1).is_some_and(|segment| is_on[segment]);
            *grey = if on { 0 } else { 255 };
        }
        let parts = self.names.iter().zip(&tallies).filter_map(|(name, tally)| {
            let dark_share = share(tally);
            let is_part = dark_share > OFF_SHARE && dark_share < ON_SHARE;
            is_part.then_some(())?;
            Some(SegmentState { name: name.clone(), dark_share, rect: tally.2? })
        });
        (parts.collect(), outside)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two() -> Segments {
        // Two segments of 20 pixels, side by side, and a column that belongs to none.
        let owners = (0..5 * 9).map(|at| [1, 1, 1, 1, 0, 2, 2, 2, 2][at % 9]).collect();
        Segments::new(Size { width: 9, height: 5 }, vec!["left".into(), "right".into()], owners)
    }

    #[test]
    fn a_segment_is_on_from_95_percent_and_off_up_to_5() {
        let segments = two();
        for (dark, on, part) in [
            (0, false, false),
            (1, false, false),
            (2, false, true),
            (10, true, true),
            (18, true, true),
            (19, true, false),
            (20, true, false),
        ] {
            let mut greys = vec![255; 45];
            let left = (0..45).filter(|at| at % 9 < 4);
            left.take(dark).for_each(|at| greys[at] = 127);
            let (parts, outside) = segments.settle(&mut greys);
            assert_eq!((parts.len() == 1, outside), (part, None), "{dark} of 20");
            assert_eq!(greys.iter().filter(|grey| **grey == 0).count(), if on { 20 } else { 0 }, "{dark} of 20");
        }
    }

    #[test]
    fn ink_outside_every_segment_is_told_and_not_shown() {
        let mut greys = vec![255; 45];
        (greys[4], greys[13]) = (0, 128);
        let (parts, outside) = two().settle(&mut greys);
        assert_eq!((parts.len(), outside), (0, Some((Rect { x: 4, y: 0, width: 1, height: 1 }, 1))));
        assert!(greys.iter().all(|grey| *grey == 255));
    }

    #[test]
    fn segments_turn_with_the_panel() {
        let turned = two().turned(Rotation::from_degrees(90).unwrap());
        assert_eq!(turned.size(), Size { width: 5, height: 9 });
        let names: Vec<_> = (0..9).map(|y| turned.at(2, y)).collect();
        let ends = [names[0], names[8]];
        assert!(ends.contains(&Some(0)) && ends.contains(&Some(1)) && names[4].is_none());
        let back = turned.turned(Rotation::from_degrees(270).unwrap());
        assert_eq!(back, two());
    }
}
