//! Boxes and masks in whole pixels. Knows nothing of panels.

/// `x`, `y` may lie off the panel; `w`, `h` are at least 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Rect {
    pub(crate) x: i64,
    pub(crate) y: i64,
    pub(crate) w: i64,
    pub(crate) h: i64,
}

impl Rect {
    pub(crate) fn whole(size: Size) -> Rect {
        Rect { x: 0, y: 0, w: size.w, h: size.h }
    }

    pub(crate) fn holds(self, x: i64, y: i64) -> bool {
        x >= self.x && x < self.x + self.w && y >= self.y && y < self.y + self.h
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Size {
    pub(crate) w: i64,
    pub(crate) h: i64,
}

impl Size {
    pub(crate) fn pixels(self) -> usize {
        (self.w * self.h) as usize
    }

    pub(crate) fn turned(self) -> Size {
        Size { w: self.h, h: self.w }
    }

    /// Every pixel in reading order, the order of all vectors of this model.
    pub(crate) fn places(self) -> impl Iterator<Item = (i64, i64)> {
        (0..self.h).flat_map(move |y| (0..self.w).map(move |x| (x, y)))
    }
}

/// One truth value a pixel, in reading order.
pub(crate) type Mask = Vec<bool>;

pub(crate) fn mask_of(size: Size, inside: impl Fn(i64, i64) -> bool) -> Mask {
    size.places().map(|(x, y)| inside(x, y)).collect()
}

/// The pixels on the panel that lie in any of the boxes, each once.
pub(crate) fn mask_of_boxes(size: Size, boxes: &[Rect]) -> Mask {
    mask_of(size, |x, y| boxes.iter().any(|b| b.holds(x, y)))
}

pub(crate) fn count(mask: &[bool]) -> usize {
    mask.iter().filter(|&&m| m).count()
}

pub(crate) fn overlap(a: &[bool], b: &[bool]) -> bool {
    a.iter().zip(b).any(|(&p, &q)| p && q)
}

/// The tight box around the true pixels; none where there are none.
pub(crate) fn tight_box(size: Size, mask: &[bool]) -> Option<Rect> {
    let places: Vec<(i64, i64)> = size.places().zip(mask).filter(|(_, m)| **m).map(|(p, _)| p).collect();
    let left = places.iter().map(|p| p.0).min()?;
    let right = places.iter().map(|p| p.0).max()?;
    let top = places.iter().map(|p| p.1).min()?;
    let bottom = places.iter().map(|p| p.1).max()?;
    Some(Rect { x: left, y: top, w: right - left + 1, h: bottom - top + 1 })
}
