//! Sizes, boxes and windows in pixels, and the turning of boxes between the reader's axes and the panel's.
//!
//! Knows nothing of pictures, modes or files.

/// A width and a height in pixels, both at least 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Size {
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

impl Size {
    /// The number of pixels.
    pub fn pixels(self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }

    /// The box of the whole area.
    pub fn whole(self) -> Rect {
        Rect { x: 0, y: 0, width: self.width, height: self.height }
    }
}

impl std::fmt::Display for Size {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} x {}", self.width, self.height)
    }
}

/// A box of pixels that lies on the panel: never empty, never beyond an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Rect {
    /// Leftmost column.
    pub x: u32,
    /// Topmost row.
    pub y: u32,
    /// Columns, at least 1.
    pub width: u32,
    /// Rows, at least 1.
    pub height: u32,
}

impl Rect {
    /// The column after the last one.
    pub fn right(self) -> u32 {
        self.x + self.width
    }

    /// The row after the last one.
    pub fn bottom(self) -> u32 {
        self.y + self.height
    }

    /// The number of pixels.
    pub fn pixels(self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }

    /// Whether the two boxes share a pixel.
    pub fn overlaps(self, other: Self) -> bool {
        self.x < other.right() && other.x < self.right() && self.y < other.bottom() && other.y < self.bottom()
    }

    /// The strips of this box that lie beside another one inside it: above, below, left and right of it. Some may be empty.
    pub fn beside(self, hole: Self) -> [Self; 4] {
        let within = |at: u32, low: u32, high: u32| at.clamp(low, high);
        let (left, right) = (within(hole.x, self.x, self.right()), within(hole.right(), self.x, self.right()));
        let (top, bottom) = (within(hole.y, self.y, self.bottom()), within(hole.bottom(), self.y, self.bottom()));
        let strip = |x: u32, y: u32, right: u32, bottom: u32| Self { x, y, width: right - x, height: bottom - y };
        [
            strip(self.x, self.y, self.right(), top),
            strip(self.x, bottom, self.right(), self.bottom()),
            strip(self.x, top, left, bottom),
            strip(right, top, self.right(), bottom),
        ]
    }

    /// The box with one pixel more on every side, as far as these lie on a panel of this size.
    #[must_use]
    pub fn with_edge(self, size: Size) -> Self {
        let (x, y) = (self.x.saturating_sub(1), self.y.saturating_sub(1));
        let (right, bottom) = ((self.right() + 1).min(size.width), (self.bottom() + 1).min(size.height));
        Self { x, y, width: right - x, height: bottom - y }
    }

    /// The smallest box around both.
    #[must_use]
    pub fn around(self, other: Self) -> Self {
        let (x, y) = (self.x.min(other.x), self.y.min(other.y));
        Self { x, y, width: self.right().max(other.right()) - x, height: self.bottom().max(other.bottom()) - y }
    }

    /// The four figures as they stand in files: `[x, y, w, h]`.
    pub fn to_array(self) -> [i64; 4] {
        [self.x.into(), self.y.into(), self.width.into(), self.height.into()]
    }

    /// The same box as a window that somebody could have asked for.
    pub fn to_window(self) -> Window {
        Window { x: self.x.into(), y: self.y.into(), width: self.width.into(), height: self.height.into() }
    }
}

/// A box as a plan asks for it: width and height at least 1, but it may leave the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Window {
    /// Leftmost column, may be negative.
    pub x: i64,
    /// Topmost row, may be negative.
    pub y: i64,
    /// Columns, at least 1.
    pub width: i64,
    /// Rows, at least 1.
    pub height: i64,
}

impl Window {
    /// The four figures as they stand in files: `[x, y, w, h]`.
    pub fn to_array(self) -> [i64; 4] {
        [self.x, self.y, self.width, self.height]
    }

    /// Whether it covers all of another one.
    pub fn covers(self, other: Self) -> bool {
        let inside = |from: i64, length: i64, other: i64, other_length: i64| {
            from <= other && other.saturating_add(other_length) <= from.saturating_add(length)
        };
        inside(self.x, self.width, other.x, other.width) && inside(self.y, self.height, other.y, other.height)
    }

    /// The part of the window that lies on a panel of this size; `None` if it is entirely off.
    pub fn cut(self, size: Size) -> Option<Rect> {
        let left = self.x.max(0);
        let top = self.y.max(0);
        let right = (self.x + self.width).min(size.width.into());
        let bottom = (self.y + self.height).min(size.height.into());
        (left < right && top < bottom).then(|| Rect {
            x: left as u32,
            y: top as u32,
            width: (right - left) as u32,
            height: (bottom - top) as u32,
        })
    }

    /// Whether a part of the window lies beyond an edge of the panel.
    pub fn leaves(self, size: Size) -> bool {
        self.cut(size).is_none_or(|cut| cut.to_window() != self)
    }
}

/// How far the screens must be turned clockwise to match the panel's own axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Rotation {
    /// Screens lie as the panel does.
    #[default]
    None,
    /// A quarter turn clockwise.
    Quarter,
    /// Half a turn.
    Half,
    /// Three quarters clockwise.
    ThreeQuarters,
}

impl Rotation {
    /// The number of degrees clockwise.
    pub fn degrees(self) -> u16 {
        match self {
            Self::None => 0,
            Self::Quarter => 90,
            Self::Half => 180,
            Self::ThreeQuarters => 270,
        }
    }

    /// The rotation for a number of degrees clockwise; `None` for any other than 0, 90, 180, 270.
    pub fn from_degrees(degrees: i64) -> Option<Self> {
        match degrees {
            0 => Some(Self::None),
            90 => Some(Self::Quarter),
            180 => Some(Self::Half),
            270 => Some(Self::ThreeQuarters),
            _ => None,
        }
    }

    /// The size of a screen for a panel of this size (and the other way round).
    pub fn turn_size(self, size: Size) -> Size {
        match self {
            Self::None | Self::Half => size,
            Self::Quarter | Self::ThreeQuarters => Size { width: size.height, height: size.width },
        }
    }

    /// A window in screen coordinates, seen in the panel's own axes. `screen` is the size of the screen.
    pub fn to_panel(self, window: Window, screen: Size) -> Window {
        let (screen_width, screen_height) = (i64::from(screen.width), i64::from(screen.height));
        let Window { x, y, width, height } = window;
        match self {
            Self::None => window,
            Self::Quarter => Window { x: screen_height - y - height, y: x, width: height, height: width },
            Self::Half => Window { x: screen_width - x - width, y: screen_height - y - height, width, height },
            Self::ThreeQuarters => Window { x: y, y: screen_width - x - width, width: height, height: width },
        }
    }

    /// A window in the panel's axes, seen in screen coordinates. `screen` is the size of the screen.
    pub fn to_screen(self, window: Window, screen: Size) -> Window {
        self.inverse().to_panel(window, self.turn_size(screen))
    }

    fn inverse(self) -> Self {
        match self {
            Self::None => Self::None,
            Self::Quarter => Self::ThreeQuarters,
            Self::Half => Self::Half,
            Self::ThreeQuarters => Self::Quarter,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A pixel turned by hand: the top left pixel of a screen that is turned clockwise comes to the top right.
    #[test]
    fn a_quarter_turn_brings_the_top_left_to_the_top_right() {
        let screen = Size { width: 3, height: 5 };
        let pixel = Window { x: 0, y: 0, width: 1, height: 1 };
        assert_eq!(Rotation::Quarter.to_panel(pixel, screen), Window { x: 4, y: 0, width: 1, height: 1 });
        assert_eq!(Rotation::ThreeQuarters.to_panel(pixel, screen), Window { x: 0, y: 2, width: 1, height: 1 });
        assert_eq!(Rotation::Half.to_panel(pixel, screen), Window { x: 2, y: 4, width: 1, height: 1 });
    }

    #[test]
    fn the_strips_beside_a_box_are_all_but_it() {
        let rect = |x, y, width, height| Rect { x, y, width, height };
        for hole in [rect(5, 6, 2, 3), rect(3, 4, 9, 1), rect(3, 4, 9, 7), rect(0, 0, 5, 5), rect(8, 8, 20, 20)] {
            let outer = rect(3, 4, 9, 7);
            let holds = |rect: &Rect, x: u32, y: u32| {
                (rect.x..rect.right()).contains(&x) && (rect.y..rect.bottom()).contains(&y)
            };
            for (x, y) in (0..30).flat_map(|x| (0..30).map(move |y| (x, y))) {
                let times = outer.beside(hole).iter().filter(|strip| holds(strip, x, y)).count();
                assert_eq!(times, usize::from(holds(&outer, x, y) && !holds(&hole, x, y)), "{x}, {y} beside {hole:?}");
            }
        }
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn turning_there_and_back_changes_nothing(
            x in -20_i64..20, y in -20_i64..20, width in 1_i64..20, height in 1_i64..20,
            degrees in prop::sample::select(vec![0_i64, 90, 180, 270]),
        ) {
            let screen = Size { width: 13, height: 7 };
            let window = Window { x, y, width, height };
            let rotation = Rotation::from_degrees(degrees).unwrap();
            prop_assert_eq!(rotation.to_screen(rotation.to_panel(window, screen), screen), window);
        }
    }
}
