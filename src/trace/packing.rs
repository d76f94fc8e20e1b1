//! How the frames of a device are stored: as PNG, portable graymaps or raw memory. Turns the bytes of a file into pixels of
//! a known size; checks the size before it makes room for a picture.

use super::pgm::read_pgm;
use crate::{
    display::shipped,
    geometry::{Rotation, Size},
    screen::{Pixels, ScreenFault, png_pixels},
};

/// How frames are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Packing {
    pub(super) kind: Kind,
    /// How far a file must be turned clockwise to become a screen.
    pub(super) turned: Rotation,
}

/// The kind of the files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// PNG or portable graymaps: the first bytes of a file say which.
    Pictures,
    Raw(Raw),
}

/// A kind of picture that a file can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PictureKind {
    Png,
    Graymap,
}

/// What kind of picture a file is by its first bytes, as the PNG specification (W3C, section 5.2) and the netpbm documents
/// (pgm(5)) give them.
fn picture_kind(bytes: &[u8]) -> Option<PictureKind> {
    match bytes {
        [0x89, b'P', b'N', b'G', ..] => Some(PictureKind::Png),
        [b'P', b'2' | b'5', ..] => Some(PictureKind::Graymap),
        _ => None,
    }
}

/// Raw memory: rows of greys, the darkest or the lightest of which is 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Raw {
    /// 1, 2, 4 or 8.
    pub(super) bits_per_px: u8,
    /// Whether the first pixel of a byte is in its low bits.
    pub(super) low_first: bool,
    /// Bytes of a row of a whole frame; as few as hold it, if this is not given.
    pub(super) row_bytes: Option<u64>,
    /// Bytes before the first row.
    pub(super) skip_bytes: u64,
    /// Whether 0 is white.
    pub(super) zero_is_white: bool,
}

/// The sizes in bits that pixels can have.
pub(super) const BITS_PER_PX: [u8; 4] = [1, 2, 4, 8];

impl Packing {
    /// The pixels of a file that shows a whole screen of this size, or a part of a screen.
    pub(super) fn pixels(
        &self,
        bytes: &[u8],
        shown: Size,
        is_part: bool,
        in_colours: bool,
        buffer: Vec<u8>,
    ) -> Result<Pixels, ScreenFault> {
        let own = self.turned.turn_size(shown);
        let in_ink = |greys: Vec<u8>| {
            if in_colours {
                Pixels::Colours(greys.into_iter().map(|grey| [grey; 3]).collect(), Vec::new())
            } else {
                Pixels::Greys(greys)
            }
        };
        let pixels = match self.kind {
            Kind::Pictures => match picture_kind(bytes) {
                Some(PictureKind::Graymap) => in_ink(read_pgm(bytes, own, buffer)?),
                Some(PictureKind::Png) => png_pixels(bytes, own, in_colours, buffer)?,
                None => return Err(no_picture(bytes)),
            },
            Kind::Raw(raw) => in_ink(raw.greys(bytes, own, is_part, buffer)?),
        };
        Ok(match (pixels, self.turned) {
            (pixels, Rotation::None) => pixels,
            (Pixels::Greys(greys), turned) => Pixels::Greys(turn(&greys, own, turned)),
            (Pixels::Colours(colours, buffer), turned) => Pixels::Colours(turn(&colours, own, turned), buffer),
        })
    }
}

/// Pixels turned clockwise; `size` is theirs before.
fn turn<T: Copy>(pixels: &[T], size: Size, by: Rotation) -> Vec<T> {
    let (width, height) = (size.width as usize, size.height as usize);
    let at = |x: usize, y: usize| pixels[y * width + x];
    match by {
        Rotation::None => pixels.to_vec(),
        Rotation::Half => pixels.iter().rev().copied().collect(),
        Rotation::Quarter => (0..width).flat_map(|x| (0..height).rev().map(move |y| at(x, y))).collect(),
        Rotation::ThreeQuarters => (0..width).rev().flat_map(|x| (0..height).map(move |y| at(x, y))).collect(),
    }
}

impl Raw {
    /// The 8-bit greys of a file of this size. A part has rows as short as possible.
    fn greys(&self, bytes: &[u8], size: Size, is_part: bool, mut greys: Vec<u8>) -> Result<Vec<u8>, ScreenFault> {
        let row_bytes = self.row_bytes.filter(|_| !is_part).unwrap_or(tight_row(size, self.bits_per_px));
        let wanted = self.skip_bytes + row_bytes * u64::from(size.height);
        if bytes.len() as u64 != wanted {
            let fault = self.wrong_length(bytes.len() as u64, wanted, (row_bytes, is_part), size);
            let Some(kind) = picture_kind(bytes) else { return Err(fault) };
            let (what, word) = match kind {
                PictureKind::Png => ("a PNG", "png"),
                PictureKind::Graymap => ("a portable graymap", "pgm"),
            };
            let help = format!("the file begins like {what}: write `\"as\": \"{word}\"` into the header's `frames`");
            return Err(ScreenFault::new(fault.message, help));
        }
        // What stands in the buffer is written over.
        greys.resize(size.pixels() as usize, 0);
        let rows = bytes[self.skip_bytes as usize..].chunks_exact(row_bytes as usize);
        let rows = rows.zip(greys.chunks_exact_mut(size.width as usize));
        match self.bits_per_px {
            1 => rows.for_each(with_table(self.table::<8>())),
            2 => rows.for_each(with_table(self.table::<4>())),
            4 => rows.for_each(by_arithmetic::<2>(self)),
            _ => rows.for_each(by_arithmetic::<1>(self)),
        }
        Ok(greys)
    }

    /// The greys of the pixels of every byte.
    fn table<const PIXELS: usize>(&self) -> [[u8; PIXELS]; 256] {
        let bits = 8 / PIXELS as u32;
        let most = (1_u32 << bits) - 1;
        std::array::from_fn(|byte| {
            std::array::from_fn(|pixel| {
                let place = if self.low_first { pixel } else { PIXELS - 1 - pixel };
                let value = byte as u32 >> (place as u32 * bits) & most;
                let grey = (value * 255 / most) as u8;
                if self.zero_is_white { 255 - grey } else { grey }
            })
        })
    }

    fn wrong_length(&self, is: u64, wanted: u64, (row_bytes, is_part): (u64, bool), size: Size) -> ScreenFault {
        let counted = |count: u64, one: &str| format!("{count} {one}{}", if count == 1 { "" } else { "s" });
        let bytes = |count| counted(count, "byte");
        let skipped = if self.skip_bytes > 0 { format!("{} and ", bytes(self.skip_bytes)) } else { String::new() };
        let message = format!(
            "the raw frame has {}, but {skipped}{} of {} make {wanted} ({size} px at {} a pixel)",
            bytes(is),
            counted(size.height.into(), "row"),
            bytes(row_bytes),
            counted(self.bits_per_px.into(), "bit")
        );
        if is == 0 {
            return ScreenFault::new(message, LOST);
        }
        let help = self.likely_reading(is, is_part, size);
        let own_length = |size: Size| self.skip_bytes + tight_row(size, self.bits_per_px) * u64::from(size.height);
        let (fit, others) = other_displays(|size| own_length(size).abs_diff(is));
        let help = match help {
            Some(help) if fit && !is_part => format!("{help}; or {others}"),
            Some(help) => help,
            None if is_part => {
                format!(
                    "check the `window` of this part, whose rows stand in the file without padding; otherwise {CHECK}"
                )
            }
            None if fit => format!("{others}; otherwise {CHECK}"),
            None => format!("{CHECK}; the file of a part needs the `window` of that part; or {others}"),
        };
        ScreenFault::new(message, help)
    }

    /// What would make a file of that length right, in words; the nearest to what is described comes first.
    fn likely_reading(&self, is: u64, is_part: bool, size: Size) -> Option<String> {
        let height = u64::from(size.height);
        let rows = is.checked_sub(self.skip_bytes)?;
        let fits = |bits: &u8| *bits != self.bits_per_px && tight_row(size, *bits) * height == rows;
        if let Some(bits) = BITS_PER_PX.into_iter().find(fits) {
            return Some(format!("{bits} bits a pixel would fit: `\"bits_per_px\": {bits}`"));
        }
        // Rows of a part are never padded, and it has a window of its own.
        if is_part {
            return None;
        }
        let tight = tight_row(size, self.bits_per_px);
        let row = rows / height.max(1);
        if rows.is_multiple_of(height) && row == tight {
            return Some(format!("rows without padding would fit: `\"row_bytes\": {row}`"));
        }
        let swapped = Size { width: size.height, height: size.width };
        if size != swapped && tight_row(swapped, self.bits_per_px) * u64::from(swapped.height) == rows {
            return Some(format!("{swapped} px would fit: set `turned` to 90 or 270"));
        }
        // Rows are often padded to whole words of memory: common practice, no source.
        if rows.is_multiple_of(height) && row > tight && row <= tight + MOST_PADDING {
            return Some(format!("rows of {row} bytes would fit: `\"row_bytes\": {row}`"));
        }
        let tight_rows = self.row_bytes.unwrap_or(tight) * height;
        let is_a_header = |skip: &u64| *skip <= SHORT_HEADER || *skip <= MOST_SKIPPED && skip.is_multiple_of(64);
        let skip = is.checked_sub(tight_rows).filter(is_a_header)?;
        Some(format!("{skip} bytes before the first row would fit: `\"skip_bytes\": {skip}`"))
    }
}

/// A file that should be a picture, and is none.
fn no_picture(bytes: &[u8]) -> ScreenFault {
    if bytes.is_empty() {
        return ScreenFault::new("the frame is an empty file", LOST);
    }
    let help = "if the files hold the memory as it is, write `\"as\": \"raw\"` and `bits_per_px` into the header's `frames`; \
                otherwise export the frame as PNG or as a portable graymap";
    ScreenFault::new("the frame is neither a PNG nor a portable graymap (P2 or P5), by its first bytes", help)
}

/// Where to look for the reason of a file without bytes.
const LOST: &str = "look for a full storage, or for power that was lost while the device wrote it";

/// What to look at where no reading of a file is likely.
const CHECK: &str = "check `size_px`, `bits_per_px`, `row_bytes` and `skip_bytes` of the header's `frames`";

/// As many displays are proposed.
const MOST_DISPLAYS: usize = 3;

/// That the display may be the wrong one, in words, with those of the program that are as near as any; and whether these fit.
pub(super) fn other_displays(distance: impl Fn(Size) -> u64) -> (bool, String) {
    let mut known: Vec<(u64, &str, Size)> = shipped::sizes().map(|(name, size)| (distance(size), name, size)).collect();
    known.sort_by_key(|(distance, ..)| *distance);
    let fits = known.first().is_some_and(|(distance, ..)| *distance == 0);
    let most = if fits { MOST_DISPLAYS } else { 1 };
    let near = known.iter().take(most).take_while(|(distance, ..)| (*distance == 0) == fits);
    let near: Vec<String> = near.map(|(_, name, size)| format!("`{name}` ({size} px)")).collect();
    let near = near.join(", ");
    let words = if fits {
        format!("the display may be the wrong one: these files would fit {near}")
    } else {
        format!(
            "the display may be the wrong one: none that comes with the program has this size, and the nearest is {near}; \
             describe yours in a file of its own, `based_on` one of them"
        )
    };
    (fits, words)
}

/// Bytes of padding of a row that are worth proposing.
const MOST_PADDING: u64 = 64;
/// Bytes of a header that are worth proposing: few, or a round number of them.
const SHORT_HEADER: u64 = 128;
const MOST_SKIPPED: u64 = 4096;

/// The fewest whole bytes that hold a row.
pub(super) fn tight_row(size: Size, bits_per_px: u8) -> u64 {
    (u64::from(size.width) * u64::from(bits_per_px)).div_ceil(8)
}

/// Unpacks a row of bytes into a row of greys, by the greys of every byte: the quickest way for many pixels a byte.
fn with_table<const PIXELS: usize>(table: [[u8; PIXELS]; 256]) -> impl FnMut((&[u8], &mut [u8])) {
    move |(bytes, greys)| {
        let (whole, rest) = greys.as_chunks_mut::<PIXELS>();
        for (greys, byte) in whole.iter_mut().zip(bytes) {
            *greys = table[usize::from(*byte)];
        }
        if let Some(byte) = bytes.get(whole.len()).filter(|_| !rest.is_empty()) {
            rest.copy_from_slice(&table[usize::from(*byte)][..rest.len()]);
        }
    }
}

/// The same for few pixels a byte, which the compiler does for many bytes at once.
fn by_arithmetic<const PIXELS: usize>(raw: &Raw) -> impl FnMut((&[u8], &mut [u8])) {
    let bits = 8 / PIXELS as u32;
    let most = 255_u8 >> (8 - bits);
    let (low_first, flip) = (raw.low_first, if raw.zero_is_white { 255 } else { 0 });
    let grey = move |byte: u8, place: usize| (byte >> (place as u32 * bits) & most).wrapping_mul(255 / most) ^ flip;
    move |(bytes, greys)| {
        let (whole, rest) = greys.as_chunks_mut::<PIXELS>();
        // Without a question in the loop.
        if low_first {
            whole.iter_mut().zip(bytes).for_each(|(greys, byte)| *greys = std::array::from_fn(|at| grey(*byte, at)));
        } else {
            let last_first = |byte| std::array::from_fn(|at| grey(byte, PIXELS - 1 - at));
            whole.iter_mut().zip(bytes).for_each(|(greys, byte)| *greys = last_first(*byte));
        }
        if let Some(byte) = bytes.get(whole.len()).filter(|_| !rest.is_empty()) {
            let place = |at: usize| if low_first { at } else { PIXELS - 1 - at };
            rest.iter_mut().enumerate().for_each(|(at, rest)| *rest = grey(*byte, place(at)));
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const RAW: Raw = Raw { bits_per_px: 4, low_first: false, row_bytes: None, skip_bytes: 0, zero_is_white: false };
    const SIZE: Size = Size { width: 3, height: 2 };

    fn greys(raw: Raw, bytes: &[u8], is_part: bool) -> Vec<u8> {
        raw.greys(bytes, SIZE, is_part, Vec::new()).expect("the length is right")
    }

    #[test]
    fn bits_come_out_in_their_order() {
        assert_eq!(greys(RAW, &[0x0f, 0x10, 0x23, 0xf7], false), [0, 255, 17, 34, 51, 255]);
        let low = Raw { low_first: true, ..RAW };
        assert_eq!(greys(low, &[0xf0, 0x01, 0x32, 0x7f], false), [0, 255, 17, 34, 51, 255]);
        let padded = Raw { row_bytes: Some(4), skip_bytes: 1, zero_is_white: true, ..RAW };
        let bytes = [9, 0x0f, 0x10, 1, 2, 0x23, 0xf7, 3, 4];
        assert_eq!(greys(padded, &bytes, false), [255, 0, 238, 221, 204, 0]);
        assert_eq!(greys(padded, &[9, 0x0f, 0x10, 0x23, 0xf7], true), [255, 0, 238, 221, 204, 0]);
        let one = Raw { bits_per_px: 1, ..RAW };
        assert_eq!(greys(one, &[0b0101_1111, 0b1100_0000], false), [0, 255, 0, 255, 255, 0]);
        let two = Raw { bits_per_px: 2, ..RAW };
        assert_eq!(greys(two, &[0b0001_1011, 0b1110_0100], false), [0, 85, 170, 255, 170, 85]);
    }

    #[test]
    fn a_wrong_length_says_both_and_the_likely_reading() {
        let fault = |raw: Raw, length: usize| {
            raw.greys(&vec![0; length], Size { width: 10, height: 8 }, false, Vec::new()).expect_err("it is wrong")
        };
        assert_eq!(
            fault(Raw { bits_per_px: 2, ..RAW }, 40).message,
            "the raw frame has 40 bytes, but 8 rows of 3 bytes make 24 (10 x 8 px at 2 bits a pixel)"
        );
        let help = |raw: Raw, length: usize| fault(raw, length).help;
        assert_eq!(help(Raw { bits_per_px: 2, ..RAW }, 40), "4 bits a pixel would fit: `\"bits_per_px\": 4`");
        assert_eq!(help(RAW, 64), "rows of 8 bytes would fit: `\"row_bytes\": 8`");
        assert_eq!(help(RAW, 44), "4 bytes before the first row would fit: `\"skip_bytes\": 4`");
        assert_eq!(help(Raw { row_bytes: Some(8), ..RAW }, 40), "rows without padding would fit: `\"row_bytes\": 5`");
        assert!(help(RAW, 3).starts_with("check `size_px`"), "{}", help(RAW, 3));
        // 8 columns in 10 rows of one bit take less than 10 columns in 8 rows; 867 bytes are no header.
        assert_eq!(help(Raw { bits_per_px: 1, ..RAW }, 10), "8 x 10 px would fit: set `turned` to 90 or 270");
        assert!(help(RAW, 40 + 867).starts_with("check `size_px`"), "{}", help(RAW, 40 + 867));
        let size = Size { width: 10, height: 8 };
        let part = RAW.greys(&[0; 64], size, true, Vec::new()).expect_err("it is wrong").help;
        assert!(part.starts_with("check the `window` of this part"), "{part}");
    }

    #[test]
    fn pictures_are_turned_clockwise() {
        // abc     da
        // def  -> eb
        //         fc
        let letters = [b'a', b'b', b'c', b'd', b'e', b'f'];
        assert_eq!(turn(&letters, SIZE, Rotation::Quarter), *b"daebfc");
        assert_eq!(turn(&letters, SIZE, Rotation::Half), *b"fedcba");
        assert_eq!(turn(&letters, SIZE, Rotation::ThreeQuarters), *b"cfbead");
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        /// Every pixel is where plain arithmetic finds it in the bytes.
        #[test]
        fn unpacking_agrees_with_pixel_by_pixel(
            bits in prop::sample::select(BITS_PER_PX.to_vec()), low_first: bool, zero_is_white: bool, padding in 0_u64..3,
            skip_bytes in 0_u64..4, width in 1_u32..20, height in 1_u32..6, seed in prop::collection::vec(any::<u8>(), 200),
        ) {
            let size = Size { width, height };
            let row_bytes = tight_row(size, bits) + padding;
            let length = skip_bytes + row_bytes * u64::from(height);
            let bytes: Vec<u8> = seed.iter().cycle().take(length as usize).copied().collect();
            let raw = Raw { bits_per_px: bits, low_first, row_bytes: Some(row_bytes), skip_bytes, zero_is_white };
            let greys = raw.greys(&bytes, size, false, Vec::new()).unwrap();
            let bits = u32::from(bits);
            for (at, grey) in greys.into_iter().enumerate() {
                let (x, y) = (at as u32 % width, at as u32 / width);
                let byte = bytes[(skip_bytes + u64::from(y) * row_bytes + u64::from(x * bits / 8)) as usize];
                let place = x * bits % 8;
                let shift = if low_first { place } else { 8 - bits - place };
                let most = (1 << bits) - 1;
                let value = u32::from(byte) >> shift & most;
                let value = if zero_is_white { most - value } else { value };
                prop_assert_eq!(u32::from(grey), value * 255 / most);
            }
        }
    }
}
