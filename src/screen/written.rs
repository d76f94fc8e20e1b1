//! Pictures in levels as PNG, at the depth that the ink needs and no more.
//!
//! What is written here is read back by [`super::decode_png`] as exactly the levels that were meant.

use png::{BitDepth, ColorType, Encoder};

use crate::{
    display::{Ink, Level},
    geometry::Size,
};

/// Writes one level a pixel as a PNG: greys at 1, 2, 4 or 8 bits, a palette with its colours.
///
/// # Errors
/// The encoder's reason in words.
///
/// # Panics
/// Where the number of levels is not the size's.
pub fn png_of_levels(levels: &[Level], size: Size, ink: &Ink) -> Result<Vec<u8>, String> {
    assert_eq!(levels.len() as u64, size.pixels(), "one level a pixel");
    let bits = bits_of(ink.levels());
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, size.width, size.height);
    encoder.set_depth(match bits {
        1 => BitDepth::One,
        2 => BitDepth::Two,
        4 => BitDepth::Four,
        _ => BitDepth::Eight,
    });
    let samples = if let Some(colours) = ink.colours() {
        encoder.set_color(ColorType::Indexed);
        encoder.set_palette(colours.iter().flat_map(|colour| colour.srgb).collect::<Vec<u8>>());
        packed(levels.iter().copied(), size.width, bits)
    } else {
        encoder.set_color(ColorType::Grayscale);
        // The shade of a level at the PNG's own depth; a reader widens it to the shade of 8 bits.
        let most = u32::from(u8::MAX >> (8 - bits));
        let sample = |level: &Level| ((u32::from(ink.shade(*level)) * most + 127) / 255) as u8;
        packed(levels.iter().map(sample), size.width, bits)
    };
    let mut writer = encoder.write_header().map_err(|error| error.to_string())?;
    writer.write_image_data(&samples).map_err(|error| error.to_string())?;
    writer.finish().map_err(|error| error.to_string())?;
    Ok(bytes)
}

/// The smallest depth of a PNG that tells so many levels apart.
fn bits_of(levels: usize) -> usize {
    match levels {
        0..=2 => 1,
        3..=4 => 2,
        5..=16 => 4,
        _ => 8,
    }
}

/// Samples in as few bytes as the depth allows, the first in the highest bits; every row begins with a byte of its own.
fn packed(samples: impl Iterator<Item = u8>, width: u32, bits: usize) -> Vec<u8> {
    let (width, mut bytes, mut x) = (width as usize, Vec::new(), 0);
    for sample in samples {
        let place = x * bits % 8;
        if place == 0 {
            bytes.push(0);
        }
        if let Some(byte) = bytes.last_mut() {
            *byte |= sample << (8 - bits - place);
        }
        x = if x + 1 == width { 0 } else { x + 1 };
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        display::{Beside, Display, Segments, ink::InkKind, read_display, shipped},
        screen::decode_png,
        source::{Fault, Source},
    };
    use std::sync::Arc;

    /// No shipped display with levels or a palette is based on another or needs a drawing.
    struct Nothing;

    impl Beside for Nothing {
        fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
            Err(vec![Fault::of_file(name, "not here", "")])
        }

        fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
            Err(Fault::of_file(path, "not here", ""))
        }
    }

    fn shipped_inks() -> Vec<(&'static str, Ink)> {
        let read = |name: &'static str| {
            let text = shipped::text_of(name).unwrap().to_owned();
            let source = Arc::new(Source::new(name, text));
            read_display(&source, &mut Nothing).ok().map(|display| (name, display.ink))
        };
        shipped::names().filter_map(read).collect()
    }

    /// Rows of every width up to 19, so that they end in the middle of a byte; `image` reads the depth independently.
    #[test]
    fn what_is_written_is_read_back_as_the_levels_that_were_meant() {
        let inks = shipped_inks();
        assert_eq!(inks.len(), 12, "every shipped display but the three of segments");
        for (name, ink) in inks {
            assert!(!matches!(ink.kind(), InkKind::Segments(_)));
            for width in 1..20 {
                let size = Size { width, height: 5 };
                let levels: Vec<Level> = (0..size.pixels()).map(|at| (at * 7 % ink.levels() as u64) as u8).collect();
                let bytes = png_of_levels(&levels, size, &ink).unwrap();
                let picture = decode_png(&bytes, size, &ink, Vec::new()).unwrap();
                let read: Vec<Level> =
                    picture.shades().iter().map(|shade| ink.level_table()[usize::from(*shade)]).collect();
                assert_eq!(read, levels, "{name}, {width} px wide");
                let other = image::load_from_memory(&bytes).unwrap().to_rgb8();
                assert!(other.pixels().zip(&levels).all(|(pixel, level)| pixel.0 == ink.srgb(*level)), "{name}");
            }
        }
    }

    #[test]
    fn the_depth_is_the_smallest_that_the_levels_need() {
        let depth = |ink: &Ink| {
            let bytes = png_of_levels(&[0, 1], Size { width: 2, height: 1 }, ink).unwrap();
            (bytes[24], bytes[25])
        };
        // Bit depth and colour type in IHDR (ISO/IEC 15948): 0 is grey, 3 indexed.
        let greys = [2, 4, 16].map(|levels| depth(&Ink::grey_between(levels, 0.04, 0.4)));
        assert_eq!(greys, [(1, 0), (2, 0), (4, 0)]);
        let palettes: Vec<_> =
            shipped_inks().iter().filter(|(_, ink)| ink.colours().is_some()).map(|(_, ink)| depth(ink)).collect();
        assert_eq!(palettes, [(2, 3), (2, 3), (4, 3)], "three, three and seven colours");
    }
}
