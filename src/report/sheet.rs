//! Sheets: pictures of this program, drawn and packed in bands of rows, so that a large one takes little memory.
//!
//! Most have few colours: such a picture is packed as numbers of colours, a third of the bytes or less, which takes a quarter of
//! the time and makes smaller files.

use std::{fmt::Write as _, io::Write as _, ops::Range};

use png::{BitDepth, ColorType, DeflateCompression, Filter};
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

    /// One of these rows of the sheet.
    pub(super) fn row(&mut self, y: u32) -> &mut [PremultipliedColorU8] {
        let width = self.pixmap.width() as usize;
        &mut self.pixmap.pixels_mut()[(y - self.top) as usize * width..][..width]
    }

    /// Colours a pixel of the sheet, in one of these rows.
    pub(super) fn set(&mut self, x: u32, y: u32, colour: PremultipliedColorU8) {
        let at = (y - self.top) as usize * self.pixmap.width() as usize + x as usize;
        self.pixmap.pixels_mut()[at] = colour;
    }
}

/// Room above a picture for its title, px.
pub(super) const TITLE: u32 = 30;

/// The beginning of what lies over a sheet of several pictures with titles; it ends with `</svg>`.
pub(super) fn titles_over(sheet: Size) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" font-family=\"Arimo\" font-size=\"14\" \
         fill=\"#1c1f24\">",
        sheet.width, sheet.height
    )
}

/// Adds the title of a picture at a corner of the sheet, and a frame around it, not over it.
pub(super) fn add_title(svg: &mut String, title: &str, (x, y): (u32, u32), picture: Size) {
    let _ = write!(svg, "<text x=\"{x}\" y=\"{}\">{title}</text>", y - 9);
    let _ = write!(
        svg,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#9aa0a6\"/>",
        f64::from(x) - 0.5,
        f64::from(y) - 0.5,
        picture.width + 1,
        picture.height + 1
    );
}

/// A sheet that is drawn. Packing it takes as long again, and can be done elsewhere.
pub struct Drawn(State);

enum State {
    /// In few colours, not packed yet.
    Indexed(Size, Indexed),
    /// Packed: a sheet of many colours, or one that is too large to be held whole.
    Packed(Vec<u8>),
}

impl Drawn {
    /// The sheet as PNG bytes.
    ///
    /// # Errors
    /// A reason in words, where it cannot be encoded.
    pub fn pack(self) -> Result<Vec<u8>, String> {
        match self.0 {
            State::Indexed(size, indexed) => indexed.png(size),
            State::Packed(bytes) => Ok(bytes),
        }
    }
}

/// A sheet: `under` colours the pixels of each band, white at first, and `over`, an SVG of the whole sheet, is drawn above
/// them.
///
/// # Errors
/// A reason in words, where the sheet cannot be drawn or encoded.
pub(super) fn drawn(size: Size, under: &mut dyn FnMut(&mut Band), over: Option<&str>) -> Result<Drawn, String> {
    let over = over.map(Overlay::new).transpose()?;
    let rows = u32::try_from(MOST_BAND_PX / u64::from(size.width.max(1))).unwrap_or(u32::MAX).max(1);
    let mut band_at = |top: u32| {
        let height = rows.min(size.height - top);
        let mut band = Band { top, pixmap: Pixmap::new(size.width, height).ok_or("the picture is too large")? };
        band.pixmap.fill(Color::WHITE);
        under(&mut band);
        if let Some(over) = &over {
            over.draw(top, &mut band.pixmap);
        }
        Ok::<Band, String>(band)
    };
    let first = band_at(0)?;
    if rows >= size.height
        && let Some(indexed) = Indexed::of(first.pixmap.pixels().iter().copied().map(colours))
    {
        return Ok(Drawn(State::Indexed(size, indexed)));
    }
    let mut bytes = Vec::new();
    let mut file = encoder(&mut bytes, size, ColorType::Rgb).write_header().map_err(|error| error.to_string())?;
    let mut writer = file.stream_writer().map_err(|error| error.to_string())?;
    let mut next = Some(first);
    while let Some(band) = next.take() {
        let rgb: Vec<u8> = band.pixmap.pixels().iter().copied().flat_map(colours).collect();
        let end = band.rows().end;
        drop(band);
        writer.write_all(&rgb).map_err(|error| error.to_string())?;
        if end < size.height {
            next = Some(band_at(end)?);
        }
    }
    writer.finish().map_err(|error| error.to_string())?;
    file.finish().map_err(|error| error.to_string())?;
    Ok(Drawn(State::Packed(bytes)))
}

/// A sheet as PNG bytes, drawn and packed in one go.
///
/// # Errors
/// A reason in words, where the sheet cannot be drawn or encoded.
pub(super) fn png_of(size: Size, under: &mut dyn FnMut(&mut Band), over: Option<&str>) -> Result<Vec<u8>, String> {
    drawn(size, under, over)?.pack()
}

fn colours(pixel: PremultipliedColorU8) -> [u8; 3] {
    [pixel.red(), pixel.green(), pixel.blue()]
}

/// Samples of 8 bits as PNG bytes.
pub(super) fn png_of_samples(samples: &[u8], size: Size, colour: ColorType) -> Result<Vec<u8>, String> {
    let indexed = match colour {
        ColorType::Rgb => Indexed::of(samples.chunks_exact(3).map(|rgb| [rgb[0], rgb[1], rgb[2]])),
        // A grey takes a byte as it is; fewer bits are less to pack.
        _ => Indexed::of(samples.iter().map(|grey| [*grey; 3])).filter(|indexed| indexed.bits() < 8),
    };
    match indexed.map(|indexed| indexed.png(size)).transpose()? {
        // What numbers of colours save does not always outweigh the list of colours in a small file.
        Some(small) if size.pixels() <= SMALL_PX => {
            let plain = plain(samples, size, colour)?;
            Ok(if small.len() < plain.len() { small } else { plain })
        }
        Some(packed) => Ok(packed),
        None => plain(samples, size, colour),
    }
}

fn plain(samples: &[u8], size: Size, colour: ColorType) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let mut writer = encoder(&mut bytes, size, colour).write_header().map_err(|error| error.to_string())?;
    writer.write_image_data(samples).map_err(|error| error.to_string())?;
    writer.finish().map_err(|error| error.to_string())?;
    Ok(bytes)
}

fn encoder(bytes: &mut Vec<u8>, size: Size, colour: ColorType) -> png::Encoder<'static, &mut Vec<u8>> {
    let mut encoder = png::Encoder::new(bytes, size.width, size.height);
    encoder.set_color(colour);
    encoder.set_depth(BitDepth::Eight);
    encoder
}

/// How hard pictures of few colours are packed: levels above cost two to six times as much for files a tenth smaller.
const PACKING: u8 = 3;
/// A picture of so many pixels is packed in both ways, and the smaller file is taken.
const SMALL_PX: u64 = 1 << 18;
/// Places of the table in which the numbers of colours are found: a power of two, many more than there are colours.
const PLACES: usize = 1 << 12;

/// A picture in at most 256 colours, a number for each pixel.
struct Indexed {
    /// Red, green and blue of each colour.
    palette: Vec<u8>,
    numbers: Vec<u8>,
}

impl Indexed {
    /// Numbers the colours as they come; nothing where there are too many.
    fn of(pixels: impl ExactSizeIterator<Item = [u8; 3]>) -> Option<Self> {
        const FREE: u32 = u32::MAX;
        let mut indexed = Self { palette: Vec::new(), numbers: Vec::with_capacity(pixels.len()) };
        let mut places = vec![(FREE, 0_u8); PLACES];
        let mut last = (FREE, 0);
        for [red, green, blue] in pixels {
            let colour = u32::from_be_bytes([0, red, green, blue]);
            if last.0 != colour {
                let mut place = (colour.wrapping_mul(0x9e37_79b1) >> 20) as usize;
                while places[place].0 != colour && places[place].0 != FREE {
                    place = (place + 1) % PLACES;
                }
                if places[place].0 == FREE {
                    places[place] = (colour, u8::try_from(indexed.palette.len() / 3).ok()?);
                    indexed.palette.extend([red, green, blue]);
                }
                last = places[place];
            }
            indexed.numbers.push(last.1);
        }
        Some(indexed)
    }

    /// Bits that a number takes.
    fn bits(&self) -> usize {
        match self.palette.len() / 3 {
            0..=2 => 1,
            3..=4 => 2,
            5..=16 => 4,
            _ => 8,
        }
    }

    fn png(self, size: Size) -> Result<Vec<u8>, String> {
        let bits = self.bits();
        let mut bytes = Vec::new();
        let mut encoder = encoder(&mut bytes, size, ColorType::Indexed);
        encoder.set_depth(match bits {
            1 => BitDepth::One,
            2 => BitDepth::Two,
            4 => BitDepth::Four,
            _ => BitDepth::Eight,
        });
        encoder.set_palette(self.palette);
        // Numbers are no shades: what is left between neighbours says nothing.
        encoder.set_filter(Filter::NoFilter);
        encoder.set_deflate_compression(DeflateCompression::Level(PACKING));
        let rows = in_bits(self.numbers, size.width as usize, bits);
        let mut writer = encoder.write_header().map_err(|error| error.to_string())?;
        writer.write_image_data(&rows).map_err(|error| error.to_string())?;
        writer.finish().map_err(|error| error.to_string())?;
        Ok(bytes)
    }
}

/// Rows of numbers with so many bits each, the first in the highest; every row begins with a byte of its own.
fn in_bits(numbers: Vec<u8>, width: usize, bits: usize) -> Vec<u8> {
    if bits == 8 {
        return numbers;
    }
    let byte = |numbers: &[u8]| {
        numbers.iter().enumerate().fold(0, |byte, (at, number)| byte | number << (8 - bits * (at + 1)))
    };
    numbers.chunks(width.max(1)).flat_map(|row| row.chunks(8 / bits).map(byte)).collect()
}

pub(super) fn opaque(red: u8, green: u8, blue: u8) -> PremultipliedColorU8 {
    PremultipliedColorU8::from_rgba(red, green, blue, 255).unwrap_or(PremultipliedColorU8::TRANSPARENT)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(bytes: &[u8]) -> (ColorType, BitDepth, Vec<u8>) {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("it is a picture");
        let (kind, depth) = (reader.info().color_type, reader.info().bit_depth);
        let mut pixels = vec![0; reader.output_buffer_size().expect("it is small")];
        reader.next_frame(&mut pixels).expect("it is whole");
        (kind, depth, pixels)
    }

    /// The decoder is the library's own; widths that fill no whole byte are among them.
    #[test]
    fn few_colours_come_back_from_few_bits() {
        for (colours, depth) in [
            (1_u32, BitDepth::One),
            (2, BitDepth::One),
            (3, BitDepth::Two),
            (16, BitDepth::Four),
            (17, BitDepth::Eight),
            (256, BitDepth::Eight),
        ] {
            for width in [1_u32, 5, 8, 67] {
                let size = Size { width, height: 300 };
                let colour = |at: u32| [(at % colours) as u8, (at % colours * 7 % 256) as u8, 9];
                let rgb: Vec<u8> = (0..width * 300).flat_map(colour).collect();
                let packed = png_of_samples(&rgb, size, ColorType::Rgb).expect("it can be packed");
                let (kind, bits, pixels) = decoded(&packed);
                assert_eq!(pixels, rgb, "{colours} colours, {width} px");
                // Of a picture that is small both ways the smaller file is taken, whichever it is.
                if width == 67 && colours < 256 {
                    assert_eq!((kind, bits), (ColorType::Indexed, depth), "{colours} colours");
                }
            }
        }
    }

    #[test]
    fn many_colours_stay_samples() {
        let size = Size { width: 257, height: 2 };
        let rgb: Vec<u8> = (0..514_u32).flat_map(|at| [(at % 256) as u8, (at / 256) as u8, 0]).collect();
        let packed = png_of_samples(&rgb, size, ColorType::Rgb).expect("it can be packed");
        assert_eq!(decoded(&packed), (ColorType::Rgb, BitDepth::Eight, rgb));
        let grey: Vec<u8> = (0..514_u32).map(|at| (at % 200) as u8).collect();
        let packed = png_of_samples(&grey, size, ColorType::Grayscale).expect("it can be packed");
        assert_eq!(decoded(&packed), (ColorType::Grayscale, BitDepth::Eight, grey));
    }
}
