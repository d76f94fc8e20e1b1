//! Sheets: pictures of this program, drawn and packed in bands of rows, so that a large one takes little memory.

use std::{io::Write as _, ops::Range};

use png::ColorType;
use resvg::tiny_skia::{Color, Pixmap, PremultipliedColorU8};

use crate::{geometry::Size, screen::Overlay};

/// The most pixels of a band. Usual sheets are a single one.
const MOST_BAND_PX: u64 = 1 << 23;

/// Some rows of a sheet.
pub(super) struct Band {
    top: u32,
    pixmap: Pixmap,
}

impl Band {
    /// The rows of the sheet that it holds.
    pub(super) fn rows(&self) -> Range<u32> {
        self.top..self.top + self.pixmap.height()
    }

    /// Colours a pixel of the sheet, in one of these rows.
    pub(super) fn set(&mut self, x: u32, y: u32, colour: PremultipliedColorU8) {
        let at = (y - self.top) as usize * self.pixmap.width() as usize + x as usize;
        self.pixmap.pixels_mut()[at] = colour;
    }
}

/// A sheet as PNG bytes: `under` colours the pixels of each band, white at first, and `over`, an SVG of the whole sheet, is
/// drawn above them.
///
/// # Errors
/// A reason in words, where the sheet cannot be drawn or encoded.
pub(super) fn png_of(size: Size, under: &mut dyn FnMut(&mut Band), over: Option<&str>) -> Result<Vec<u8>, String> {
    let over = over.map(Overlay::new).transpose()?;
    let mut bytes = Vec::new();
    let mut file = encoder(&mut bytes, size, ColorType::Rgb).write_header().map_err(|error| error.to_string())?;
    let mut writer = file.stream_writer().map_err(|error| error.to_string())?;
    let rows = u32::try_from(MOST_BAND_PX / u64::from(size.width.max(1))).unwrap_or(u32::MAX).max(1);
    for top in (0..size.height).step_by(rows as usize) {
        let height = rows.min(size.height - top);
        let mut band = Band { top, pixmap: Pixmap::new(size.width, height).ok_or("the picture is too large")? };
        band.pixmap.fill(Color::WHITE);
        under(&mut band);
        if let Some(over) = &over {
            over.draw(top, &mut band.pixmap);
        }
        let colours = |pixel: &PremultipliedColorU8| [pixel.red(), pixel.green(), pixel.blue()];
        let rgb: Vec<u8> = band.pixmap.pixels().iter().flat_map(colours).collect();
        writer.write_all(&rgb).map_err(|error| error.to_string())?;
    }
    writer.finish().map_err(|error| error.to_string())?;
    file.finish().map_err(|error| error.to_string())?;
    Ok(bytes)
}

/// Samples of 8 bits as PNG bytes.
pub(super) fn png_of_samples(samples: &[u8], size: Size, colour: ColorType) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let mut writer = encoder(&mut bytes, size, colour).write_header().map_err(|error| error.to_string())?;
    writer.write_image_data(samples).map_err(|error| error.to_string())?;
    writer.finish().map_err(|error| error.to_string())?;
    Ok(bytes)
}

fn encoder(bytes: &mut Vec<u8>, size: Size, colour: ColorType) -> png::Encoder<'static, &mut Vec<u8>> {
    let mut encoder = png::Encoder::new(bytes, size.width, size.height);
    encoder.set_color(colour);
    encoder.set_depth(png::BitDepth::Eight);
    encoder
}

pub(super) fn opaque(red: u8, green: u8, blue: u8) -> PremultipliedColorU8 {
    PremultipliedColorU8::from_rgba(red, green, blue, 255).unwrap_or(PremultipliedColorU8::TRANSPARENT)
}
