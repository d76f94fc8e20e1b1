//! PNG of every colour type, depth and interlacing to the shades of an ink.
//!
//! Samples of 16 bits are brought to 8, alpha is laid over white; for grey ink colours are weighed after Rec. 709, see
//! `units`.

use std::io::Cursor;

use png::{BitDepth, ColorType, Decoder, Info, Limits, Transformations};

use super::{Picture, ScreenFault, by_itself_if_large, scanlines::plain_rows};
use crate::{
    display::Ink,
    geometry::Size,
    units::{eight_bits, grey_of_rgb, over_white},
};

/// Memory that a decoder may use beside the picture itself, bytes: enough for any honest ancillary chunk.
const DECODER_BYTES: usize = 64 << 20;
/// The most bytes of samples of a picture that comes in several passes, which is unpacked as a whole.
const MOST_SAMPLES: usize = 256 << 20;

/// Decodes a PNG into a picture of exactly `size` in the shades of `ink`. `buffer` is used again for the picture.
///
/// # Errors
/// Where the file is broken or the picture has another size.
pub fn decode_png(bytes: &[u8], size: Size, ink: &Ink, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
    let pixels = png_pixels(bytes, size, ink.colours().is_some(), buffer)?;
    Ok(Picture::of_pixels(size, pixels, ink))
}

/// The pixels of a PNG of exactly `size`, before they are brought to an ink.
pub(crate) fn png_pixels(bytes: &[u8], size: Size, in_colours: bool, buffer: Vec<u8>) -> Result<Pixels, ScreenFault> {
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), Limits { bytes: DECODER_BYTES });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    // The size is checked on the header, before anything of the picture's size is allocated.
    let header = decoder.read_header_info().map_err(|error| broken(&error))?;
    if (header.width, header.height) != (size.width, size.height) {
        return Err(ScreenFault::wrong_size(&format!("{} x {}", header.width, header.height), size));
    }
    let colour = header.color_type;
    let bytes_a_pixel = if in_colours { 4 } else { 1 };
    let samples = if header.interlaced { 8 } else { 0 };
    let _turn = by_itself_if_large(size.pixels() * (bytes_a_pixel + samples));
    let mut pixels = Pixels::new(size, in_colours, buffer);
    if plain_rows(bytes, |row| pixels.take(row, colour)).is_none() {
        pixels.clear();
        any_rows(decoder, |samples, colour| pixels.take(samples, colour))?;
    }
    Ok(pixels)
}

/// Shows any PNG's samples, 8 bits each, and what they are: row by row, or all at once where the rows come in passes.
fn any_rows(decoder: Decoder<Cursor<&[u8]>>, mut see: impl FnMut(&[u8], ColorType)) -> Result<(), ScreenFault> {
    let mut reader = decoder.read_info().map_err(|error| broken(&error))?;
    check_palette(reader.info()).map_err(|message| broken(&message))?;
    let (colour, depth) = reader.output_color_type();
    let transparent = missed_key(reader.info());
    let mut see = |samples: &[u8]| match (depth, transparent) {
        (BitDepth::Sixteen, _) => see(&in_eight_bits(samples), colour),
        (_, Some(transparent)) => see(&keyed(samples, transparent), colour),
        _ => see(samples, colour),
    };
    if !reader.info().interlaced {
        while let Some(row) = reader.next_row().map_err(|error| broken(&error))? {
            see(row.data());
        }
        return reader.finish().map_err(|error| broken(&error));
    }
    let bytes_needed = reader
        .output_buffer_size()
        .ok_or_else(|| ScreenFault::new("the PNG is too large to be decoded", "export it again at the panel's size"))?;
    if bytes_needed > MOST_SAMPLES {
        let message = format!("the PNG is interlaced and needs more than {} MB when decoded", MOST_SAMPLES >> 20);
        return Err(ScreenFault::new(message, "export it without interlacing"));
    }
    let mut samples = vec![0; bytes_needed];
    reader.next_frame(&mut samples).map_err(|error| broken(&error))?;
    reader.finish().map_err(|error| broken(&error))?;
    see(&samples);
    Ok(())
}

fn in_eight_bits(samples: &[u8]) -> Vec<u8> {
    samples.chunks_exact(2).map(|pair| eight_bits(u16::from_be_bytes([pair[0], pair[1]]))).collect()
}

/// The transparent grey that the library misses. Of a key of more bits than the samples have the lowest count (Portable
/// Network Graphics (PNG) Specification (Third Edition), W3C, section 11.3.1.1); the library compares eight bits.
fn missed_key(info: &Info<'_>) -> Option<u8> {
    let most = match (info.color_type, info.bit_depth) {
        (ColorType::Grayscale, BitDepth::One) => 1,
        (ColorType::Grayscale, BitDepth::Two) => 3,
        (ColorType::Grayscale, BitDepth::Four) => 15,
        _ => return None,
    };
    let key = *info.trns.as_deref()?.first()?;
    (key > most).then_some((key & most) * (255 / most))
}

/// Greys with their alpha, none where the grey is the transparent one.
fn keyed(samples: &[u8], transparent: u8) -> Vec<u8> {
    let mut samples = samples.to_vec();
    samples.as_chunks_mut().0.iter_mut().filter(|[grey, _]| *grey == transparent).for_each(|[_, alpha]| *alpha = 0);
    samples
}

/// Pixels as an ink takes them: greys, or colours and the buffer for their shades.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Pixels {
    Greys(Vec<u8>),
    Colours(Vec<[u8; 3]>, Vec<u8>),
}

impl Pixels {
    fn new(size: Size, in_colours: bool, mut buffer: Vec<u8>) -> Self {
        let pixels = size.pixels() as usize;
        if in_colours {
            return Self::Colours(Vec::with_capacity(pixels), buffer);
        }
        buffer.clear();
        buffer.reserve_exact(pixels);
        Self::Greys(buffer)
    }

    fn clear(&mut self) {
        match self {
            Self::Greys(greys) => greys.clear(),
            Self::Colours(colours, _) => colours.clear(),
        }
    }

    /// Takes the next pixels from their samples.
    fn take(&mut self, samples: &[u8], colour: ColorType) {
        match self {
            Self::Greys(greys) => take_greys(samples, colour, greys),
            Self::Colours(colours, _) => take_colours(samples, colour, colours),
        }
    }
}

fn take_colours(samples: &[u8], colour: ColorType, colours: &mut Vec<[u8; 3]>) {
    match colour {
        ColorType::Grayscale | ColorType::Indexed => colours.extend(samples.iter().map(|grey| [*grey; 3])),
        ColorType::GrayscaleAlpha => {
            colours.extend(samples.chunks_exact(2).map(|pixel| [over_white(pixel[0], pixel[1]); 3]));
        }
        ColorType::Rgb => colours.extend_from_slice(samples.as_chunks().0),
        ColorType::Rgba => colours.extend(samples.chunks_exact(4).map(colour_of_rgba)),
    }
}

/// Red, green and blue laid over white by their alpha.
pub(super) fn colour_of_rgba(pixel: &[u8]) -> [u8; 3] {
    [pixel[0], pixel[1], pixel[2]].map(|sample| over_white(sample, pixel[3]))
}

fn take_greys(samples: &[u8], colour: ColorType, greys: &mut Vec<u8>) {
    match colour {
        ColorType::Grayscale | ColorType::Indexed => greys.extend_from_slice(samples),
        ColorType::GrayscaleAlpha => greys.extend(samples.chunks_exact(2).map(|pixel| over_white(pixel[0], pixel[1]))),
        ColorType::Rgb => greys.extend(samples.chunks_exact(3).map(|pixel| grey_of_rgb(pixel[0], pixel[1], pixel[2]))),
        ColorType::Rgba => greys.extend(samples.chunks_exact(4).map(grey_of_rgba)),
    }
}

/// The grey of red, green, blue and alpha laid over white.
pub(super) fn grey_of_rgba(pixel: &[u8]) -> u8 {
    let [red, green, blue] = colour_of_rgba(pixel);
    grey_of_rgb(red, green, blue)
}

/// Sees that a palette has whole colours: the library takes others, and fails on them.
pub(super) fn check_palette(info: &Info<'_>) -> Result<(), String> {
    match info.palette.as_deref().map_or(0, <[u8]>::len) {
        length if length.is_multiple_of(3) => Ok(()),
        length => Err(format!("its palette has {length} bytes, which is not three per colour")),
    }
}

fn broken(error: &impl std::fmt::Display) -> ScreenFault {
    let text = error.to_string();
    let text = text.trim_end_matches('.');
    ScreenFault::new(format!("the PNG is broken: {text}"), "export it again; the file is truncated or damaged")
}
