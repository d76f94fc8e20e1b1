//! Segments: which pixels belong to which, and what a picture asks of each.

use super::drawing::Drawing;
use super::geometry::{Mask, Rect, Size, count, tight_box};
use super::screens::Levels;
use super::windows::{screen_size, turned};

/// The level of a segment that is on, and the one of everything else.
pub(crate) const ON: usize = 0;
pub(crate) const OFF: usize = 1;

#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Segments {
    pub(crate) size: Size,
    pub(crate) names: Vec<String>,
    /// The segment that each pixel belongs to.
    pub(crate) owners: Vec<Option<usize>>,
}

/// A picture brought to segments.
#[derive(Clone, Debug)]
pub(crate) struct Settled {
    pub(crate) levels: Levels,
    pub(crate) faults: SegmentFaults,
}

/// What a picture shows that segments cannot.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct SegmentFaults {
    /// Those that are neither on nor off, in the order of the drawing.
    pub(crate) parts: Vec<PartSegment>,
    /// The box around the dark pixels outside all segments, and their number.
    pub(crate) outside: Option<(Rect, usize)>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct PartSegment {
    pub(crate) name: String,
    pub(crate) dark: usize,
    pub(crate) pixels: usize,
    pub(crate) bounds: Rect,
}

impl Segments {
    /// A pixel belongs to the last one that covers it by half.
    pub(crate) fn of(drawing: &Drawing) -> Segments {
        let mut owners = vec![None; drawing.size.pixels()];
        for shape in drawing.shapes.iter().filter(|shape| shape.id.is_some()) {
            for (x, y) in shape.places(drawing.size) {
                if shape.share_of(x, y) >= 0.5 {
                    owners[(y * drawing.size.w + x) as usize] = shape.id;
                }
            }
        }
        Segments { size: drawing.size, names: drawing.ids.clone(), owners }
    }

    /// As they lie on the screen of a panel whose screens are turned by so many degrees to lie on its own axes.
    pub(crate) fn on_screen(&self, rotation: i64) -> Segments {
        let screen = screen_size(self.size, rotation);
        let owner = |(x, y)| {
            let place = turned(Rect { x, y, w: 1, h: 1 }, screen, rotation);
            self.owners[(place.y * self.size.w + place.x) as usize]
        };
        Segments { size: screen, names: self.names.clone(), owners: screen.places().map(owner).collect() }
    }

    /// The pixels of one.
    pub(crate) fn pixels_of(&self, segment: usize) -> Mask {
        self.owners.iter().map(|owner| *owner == Some(segment)).collect()
    }

    pub(crate) fn settle(&self, dark: &[bool]) -> Settled {
        let mut settled = Settled { levels: vec![OFF; dark.len()], faults: SegmentFaults::default() };
        for (segment, name) in self.names.iter().enumerate() {
            let own = self.pixels_of(segment);
            let inked: Mask = own.iter().zip(dark).map(|(&own, &dark)| own && dark).collect();
            let (pixels, dark_px) = (count(&own), count(&inked));
            if 2 * dark_px >= pixels {
                settled.levels.iter_mut().zip(&own).filter(|(_, own)| **own).for_each(|(level, _)| *level = ON);
            }
            let (is_on, is_off) = (100 * dark_px >= 95 * pixels, 100 * dark_px <= 5 * pixels);
            if let (false, false, Some(bounds)) = (is_on, is_off, tight_box(self.size, &own)) {
                settled.faults.parts.push(PartSegment { name: name.clone(), dark: dark_px, pixels, bounds });
            }
        }
        let outside: Mask = self.owners.iter().zip(dark).map(|(owner, &dark)| owner.is_none() && dark).collect();
        settled.faults.outside = tight_box(self.size, &outside).map(|bounds| (bounds, count(&outside)));
        settled
    }
}
