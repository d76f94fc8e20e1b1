//! From a screen's file to levels. Of a PNG the decoder gives the samples as they stand in the file; all arithmetic on them
//! is here. Colour profiles and gamma are not looked at.

use std::io::Cursor;
use std::path::Path;

use super::Fault;
use super::drawing::Drawing;
use super::geometry::{Mask, Size};
use super::ink::{Ink, grey};
use super::segments::{SegmentFaults, Settled};

/// One level a pixel, in reading order.
pub(crate) type Levels = Vec<usize>;

/// A screen as the panel can show it.
#[derive(Clone, Debug)]
pub(crate) struct Screen {
    pub(crate) levels: Levels,
    pub(crate) faults: SegmentFaults,
}

impl Screen {
    /// One level all over.
    pub(crate) fn of_level(level: usize, size: Size) -> Screen {
        Screen { levels: vec![level; size.pixels()], faults: SegmentFaults::default() }
    }
}

pub(crate) fn read_screen(path: &Path, size: Size, ink: &Ink) -> Result<Screen, Fault> {
    let (own_size, colours) = read_colours(path)?;
    if own_size != size {
        return Err(format!("{} is {own_size:?}, wanted {size:?}", path.display()));
    }
    if let Some(segments) = &ink.segments {
        let dark: Mask = colours.iter().map(|&rgb| grey(rgb) < 128).collect();
        let Settled { levels, faults } = segments.settle(&dark);
        return Ok(Screen { levels, faults });
    }
    let levels = colours.iter().map(|&rgb| ink.level_of(rgb)).collect();
    Ok(Screen { levels, faults: SegmentFaults::default() })
}

fn read_colours(path: &Path) -> Result<(Size, Vec<[u8; 3]>), Fault> {
    if path.extension().is_some_and(|extension| extension == "svg") {
        let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
        let drawing = Drawing::read(&text)?;
        return Ok((drawing.size, drawing.painted()?));
    }
    let picture = read_rgba(path)?;
    Ok((picture.size, picture.rgba.iter().map(|&rgba| over_white(rgba)).collect()))
}

pub(crate) struct Picture {
    pub(crate) size: Size,
    pub(crate) rgba: Vec<[u8; 4]>,
}

pub(crate) fn read_rgba(path: &Path) -> Result<Picture, Fault> {
    let fault = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    let file = std::fs::read(path).map_err(|e| fault(&e))?;
    let mut decoder = png::Decoder::new(Cursor::new(&file));
    decoder.set_transformations(png::Transformations::IDENTITY);
    let mut reader = decoder.read_info().map_err(|e| fault(&e))?;
    let mut bytes = vec![0; reader.output_buffer_size().ok_or_else(|| fault(&"too large"))?];
    let frame = reader.next_frame(&mut bytes).map_err(|e| fault(&e))?;
    let info = reader.info();
    let raw = Raw {
        bytes,
        bytes_a_row: frame.line_size,
        depth: frame.bit_depth as usize,
        samples: frame.color_type.samples(),
    };
    let size = Size { w: i64::from(frame.width), h: i64::from(frame.height) };
    let meaning = Meaning {
        colour: frame.color_type,
        depth: raw.depth,
        table: info.palette.as_deref().unwrap_or_default(),
        transparent: chunk(&file, *b"tRNS"),
    };
    let rgba = size.places().map(|(x, y)| meaning.rgba(&raw.pixel(x as usize, y as usize))).collect();
    Ok(Picture { size, rgba })
}

/// Alpha laid over white.
pub(crate) fn over_white([r, g, b, a]: [u8; 4]) -> [u8; 3] {
    let a = u32::from(a);
    [r, g, b].map(|v| ((u32::from(v) * a + 255 * (255 - a) + 127) / 255) as u8)
}

/// A sample of any depth as 8 bits.
pub(crate) fn to_8_bits(sample: u32, depth: usize) -> u8 {
    match depth {
        1 => (sample * 255) as u8,
        2 => (sample * 85) as u8,
        4 => (sample * 17) as u8,
        16 => ((sample * 255 + 32767) / 65535) as u8,
        _ => sample as u8,
    }
}

/// The file's samples, packed as the file packs them.
struct Raw {
    bytes: Vec<u8>,
    bytes_a_row: usize,
    depth: usize,
    samples: usize,
}

impl Raw {
    fn pixel(&self, x: usize, y: usize) -> Vec<u32> {
        (0..self.samples).map(|s| self.sample(x * self.samples + s, y)).collect()
    }

    fn sample(&self, at: usize, y: usize) -> u32 {
        let row = &self.bytes[y * self.bytes_a_row..(y + 1) * self.bytes_a_row];
        match self.depth {
            16 => (u32::from(row[2 * at]) << 8) + u32::from(row[2 * at + 1]),
            8 => u32::from(row[at]),
            depth => {
                let bit = at * depth;
                let shift = 8 - depth - bit % 8;
                (u32::from(row[bit / 8]) >> shift) & ((1 << depth) - 1)
            }
        }
    }
}

/// What the samples of a pixel say.
struct Meaning<'a> {
    colour: png::ColorType,
    depth: usize,
    table: &'a [u8],
    transparent: Option<&'a [u8]>,
}

impl Meaning<'_> {
    fn rgba(&self, samples: &[u32]) -> [u8; 4] {
        let v = |i: usize| to_8_bits(samples[i], self.depth);
        match self.colour {
            png::ColorType::Grayscale => [v(0), v(0), v(0), self.keyed(samples)],
            png::ColorType::GrayscaleAlpha => [v(0), v(0), v(0), v(1)],
            png::ColorType::Rgb => [v(0), v(1), v(2), self.keyed(samples)],
            png::ColorType::Rgba => [v(0), v(1), v(2), v(3)],
            png::ColorType::Indexed => self.entry(samples[0] as usize),
        }
    }

    /// The transparent key, two bytes a sample at every depth, is compared with the samples as they stand in the file: by as
    /// many of its lowest bits as they have (PNG Specification, Third Edition, 11.3.1.1).
    fn keyed(&self, samples: &[u32]) -> u8 {
        let Some(key) = self.transparent else { return 255 };
        let most = (1 << self.depth) - 1;
        let is_key = samples
            .iter()
            .zip(key.chunks_exact(2))
            .all(|(&s, k)| s == ((u32::from(k[0]) << 8) + u32::from(k[1])) & most);
        if is_key { 0 } else { 255 }
    }

    fn entry(&self, index: usize) -> [u8; 4] {
        let part = |i: usize| self.table.get(3 * index + i).copied().unwrap_or(0);
        let alpha = self.transparent.and_then(|t| t.get(index)).copied().unwrap_or(255);
        [part(0), part(1), part(2), alpha]
    }
}

/// The first chunk of that name, read from the file itself: decoders hand it on in shapes of their own.
fn chunk(file: &[u8], name: [u8; 4]) -> Option<&[u8]> {
    let mut rest = file.get(8..)?;
    loop {
        let length = u32::from_be_bytes(rest.get(..4)?.try_into().ok()?) as usize;
        if rest.get(4..8)? == name {
            return rest.get(8..8 + length);
        }
        rest = rest.get(12 + length..)?;
    }
}
