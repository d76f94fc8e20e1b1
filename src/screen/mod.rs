//! Screens: PNG and SVG become pictures of exactly the panel's size, one 8-bit grey a pixel.
//!
//! Works on bytes that the caller read; knows no plans, no modes and no files.

mod png;
mod svg;

use crate::geometry::Size;
pub use png::decode_png;
pub use svg::{Faces, ImageFinder, draw_svg};
pub(crate) use svg::{draw_overlay, text_width};

/// A picture in the reader's axes: one 8-bit grey a pixel, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    size: Size,
    shades: Vec<u8>,
    /// What was not drawn as it was meant.
    pub notes: Vec<ScreenNote>,
}

/// Something in a screen that was not drawn as it was meant.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ScreenNote {
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
    /// How to mend it.
    pub help: String,
}

impl ScreenFault {
    pub(crate) fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: message.into(), help: help.into() }
    }

    fn wrong_size(is: &str, wanted: Size) -> Self {
        Self::new(
            format!("the picture is {is} px, the panel shows {wanted} px"),
            format!("export it at exactly {wanted} px, or correct `size_px` or `rotation`"),
        )
    }
}

impl Picture {
    /// A picture of one shade.
    pub fn uniform(size: Size, shade: u8) -> Self {
        Self { size, shades: vec![shade; size.pixels() as usize], notes: Vec::new() }
    }

    /// A picture from its greys, row by row.
    ///
    /// # Panics
    /// Where the number of greys is not the size's.
    pub fn from_shades(size: Size, shades: Vec<u8>) -> Self {
        assert_eq!(shades.len() as u64, size.pixels(), "one grey a pixel");
        Self { size, shades, notes: Vec::new() }
    }

    /// Columns and rows.
    pub fn size(&self) -> Size {
        self.size
    }

    /// The greys, row by row, `size.width` a row.
    pub fn shades(&self) -> &[u8] {
        &self.shades
    }

    /// The greys of a row.
    pub fn row(&self, y: u32) -> &[u8] {
        let width = self.size.width as usize;
        &self.shades[y as usize * width..][..width]
    }

    /// The grey of a pixel.
    pub fn shade(&self, x: u32, y: u32) -> u8 {
        self.shades[y as usize * self.size.width as usize + x as usize]
    }

    /// The buffer, to be used again.
    pub fn into_buffer(self) -> Vec<u8> {
        self.shades
    }
}
