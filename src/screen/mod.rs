//! Screens: PNG and SVG become pictures of exactly the panel's size, one shade of its ink a pixel.
//!
//! Works on bytes that the caller read; knows no plans, no modes and no files.

mod drawing_limits;
mod png;
mod scanlines;
mod svg;
mod svg_texts;
mod weight;
mod written;

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

use crate::{
    display::{Ink, Level, SegmentState, ink::InkKind},
    geometry::{Rect, Size},
    units::grey_of_rgb,
};
pub use png::decode_png;
pub(crate) use png::{Pixels, png_pixels};
pub use svg::{Faces, ImageFinder, draw_segments, draw_svg};
pub(crate) use svg::{Overlay, text_width};
pub use svg_texts::{DrawnText, TextPaint};
pub use written::png_of_levels;

/// A picture in the reader's axes: one shade a pixel, row by row. A shade is an 8-bit grey, for palette ink the number of
/// the nearest colour, for segments 0 (on) or 255 (off).
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    size: Size,
    shades: Vec<u8>,
    /// For palette ink the colours as they were drawn.
    colours: Option<Vec<[u8; 3]>>,
    /// What was not drawn as it was meant.
    pub notes: Vec<ScreenNote>,
    /// The texts of an SVG; none of a PNG.
    pub texts: Vec<DrawnText>,
}

/// Something in a screen that was not drawn as it was meant, or that the panel cannot show.
#[derive(Clone, Debug, PartialEq)]
pub enum ScreenNote {
    /// A segment that is neither on nor off.
    PartSegment(SegmentState),
    /// Ink outside every segment: the box around it and its pixels.
    OutsideSegments(Rect, u64),
    /// A face that the plan does not bring; another one served.
    FaceMissing(String),
    /// Characters that the face does not have.
    GlyphMissing(String),
    /// Something that the drawing left out, in the words of the drawing library.
    LeftOut(String),
}

/// Why a screen cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreenFault {
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
    /// What the picture's size is, px, if that is what is wrong.
    wrong_size: Option<String>,
}

impl ScreenFault {
    pub(crate) fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: message.into(), help: help.into(), wrong_size: None }
    }

    /// The same fault where the picture is only a part of a frame, of this size.
    pub(crate) fn of_a_part(self, size: Size) -> Self {
        let Some(is) = self.wrong_size else { return self };
        let help = "write the `window` of the part that the file holds, or leave `window` out if it is the whole frame";
        Self::new(format!("the picture is {is} px, but its `window` has {size} px"), help)
    }

    pub(crate) fn wrong_size(is: &str, wanted: Size) -> Self {
        let message = format!("the picture is {is} px, but the panel shows {wanted} px");
        let help = format!("export it at exactly {wanted} px, or correct `size_px` or `rotation`");
        Self { wrong_size: Some(is.to_owned()), ..Self::new(message, help) }
    }
}

/// A screen that takes more memory than this while it is read is read by itself, bytes.
const LARGE: u64 = 48 << 20;

/// Waits until no other large screen is being read: many threads would need many times the memory. Held as long as it takes.
fn by_itself_if_large(bytes: u64) -> Option<MutexGuard<'static, ()>> {
    static ONE: Mutex<()> = Mutex::new(());
    (bytes > LARGE).then(|| ONE.lock().unwrap_or_else(PoisonError::into_inner))
}

/// The nearest level of every colour that was met before in a picture.
enum KnownColours {
    Few(HashMap<[u8; 3], Level>),
    /// By the colour as a number: one more than the level, 0 for what was not met. Large pictures may have all colours there
    /// are, and looking those up takes longer than to work them out.
    All(Vec<u8>),
}

impl KnownColours {
    fn new(size: Size) -> Self {
        const MANY: u64 = 4_000_000;
        if size.pixels() > MANY { Self::All(vec![0; 1 << 24]) } else { Self::Few(HashMap::new()) }
    }

    fn level(&mut self, colour: [u8; 3], ink: &Ink) -> Level {
        let nearest = || ink.nearest_colour(colour).map_or(0, |(level, _)| level);
        match self {
            Self::Few(known) => *known.entry(colour).or_insert_with(nearest),
            Self::All(known) => {
                let [red, green, blue] = colour.map(usize::from);
                let place = &mut known[red << 16 | green << 8 | blue];
                if *place == 0 {
                    *place = nearest() + 1;
                }
                *place - 1
            }
        }
    }
}

impl Picture {
    /// A picture of one shade.
    pub fn uniform(size: Size, shade: u8) -> Self {
        Self { size, shades: vec![shade; size.pixels() as usize], colours: None, notes: Vec::new(), texts: Vec::new() }
    }

    /// A picture from its shades, row by row.
    ///
    /// # Panics
    /// Where the number of shades is not the size's.
    pub fn from_shades(size: Size, shades: Vec<u8>) -> Self {
        assert_eq!(shades.len() as u64, size.pixels(), "one shade a pixel");
        Self { size, shades, colours: None, notes: Vec::new(), texts: Vec::new() }
    }

    /// A picture of pixels that were decoded for an ink.
    pub(crate) fn of_pixels(size: Size, pixels: Pixels, ink: &Ink) -> Self {
        match pixels {
            Pixels::Greys(greys) => Self::from_greys(size, greys, ink),
            Pixels::Colours(colours, buffer) => Self::from_colours(size, colours, ink, buffer),
        }
    }

    /// A picture of 8-bit greys on an ink without colours: on segments each is brought to its state.
    fn from_greys(size: Size, mut greys: Vec<u8>, ink: &Ink) -> Self {
        let mut notes = Vec::new();
        if let InkKind::Segments(segments) = ink.kind() {
            let (parts, outside) = segments.settle(&mut greys);
            notes.extend(parts.into_iter().map(ScreenNote::PartSegment));
            notes.extend(outside.map(|(rect, pixels)| ScreenNote::OutsideSegments(rect, pixels)));
        }
        Self { size, shades: greys, colours: None, notes, texts: Vec::new() }
    }

    /// A picture of encoded sRGB colours on palette ink. `buffer` is used again for the shades.
    fn from_colours(size: Size, colours: Vec<[u8; 3]>, ink: &Ink, mut buffer: Vec<u8>) -> Self {
        let mut known = KnownColours::new(size);
        let mut last = None;
        let mut shade = |colour: [u8; 3]| match last {
            // Most pixels are as the one before.
            Some((before, shade)) if before == colour => shade,
            _ => {
                let shade = known.level(colour, ink);
                last = Some((colour, shade));
                shade
            }
        };
        buffer.clear();
        buffer.extend(colours.iter().map(|colour| shade(*colour)));
        Self { size, shades: buffer, colours: Some(colours), notes: Vec::new(), texts: Vec::new() }
    }

    /// Columns and rows.
    pub fn size(&self) -> Size {
        self.size
    }

    /// The shades, row by row, `size.width` a row.
    pub fn shades(&self) -> &[u8] {
        &self.shades
    }

    /// Whether every pixel has the same shade.
    pub fn is_uniform(&self) -> bool {
        // Compared with itself one pixel further on: many pixels at a time.
        self.shades.split_last().is_none_or(|(_, others)| others == &self.shades[1..])
    }

    /// The shades of a row.
    pub fn row(&self, y: u32) -> &[u8] {
        let width = self.size.width as usize;
        &self.shades[y as usize * width..][..width]
    }

    /// The shade of a pixel.
    pub fn shade(&self, x: u32, y: u32) -> u8 {
        self.shades[y as usize * self.size.width as usize + x as usize]
    }

    /// The encoded sRGB of a pixel as it was drawn, before it was brought to the panel's levels.
    pub fn drawn(&self, x: u32, y: u32) -> [u8; 3] {
        match &self.colours {
            Some(colours) => colours[y as usize * self.size.width as usize + x as usize],
            None => [self.shade(x, y); 3],
        }
    }

    /// The 8-bit grey of a pixel as it was drawn.
    pub fn drawn_grey(&self, x: u32, y: u32) -> u8 {
        let [red, green, blue] = self.drawn(x, y);
        grey_of_rgb(red, green, blue)
    }

    /// How much memory it takes, bytes.
    pub fn bytes(&self) -> usize {
        let texts: usize = self.texts.iter().map(|text| size_of::<DrawnText>() + text.text.len()).sum();
        self.shades.len() + self.colours.as_ref().map_or(0, |colours| 3 * colours.len()) + texts
    }

    /// The buffer, to be used again.
    pub fn into_buffer(self) -> Vec<u8> {
        self.shades
    }
}
