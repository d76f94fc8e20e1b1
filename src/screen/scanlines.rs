//! The rows of a plain PNG, one after the other. Chunks and compression are the `png` crate's work, the filters are undone
//! here: the prediction of Paeth, byte by byte, took half of the time that a screen needs.
//!
//! Screens are mostly long runs that are as the row above or as the pixel before. Their filtered bytes are zero, and a run
//! of zeros is copied. What is not plain (palettes, packed and 16-bit samples, interlacing, transparent colours,
//! animations) and whatever looks broken is left to the library's own reader, which also has the words for it.
//!
//! Source of the filters: Portable Network Graphics (PNG) Specification (Third Edition), W3C, section 9.

use png::{BitDepth, ColorType, Decoded, Info, StreamingDecoder, UnfilterRegion, chunk};

/// Pixels that are looked at together: a run begins and ends at such a stretch.
const STRETCH: usize = 32;
/// Bytes that are unpacked before the older ones are moved out of the way: some times the 32 KiB that packed data refers
/// back to (RFC 1950, section 2.2).
const UNPACKED_BYTES: usize = 128 << 10;
/// The library unpacks at most so many bytes at a time.
const ROOM_BYTES: usize = 8 << 10;

/// Shows the rows of samples of a plain PNG to `see`, from the top. `None` if the file is not plain or not whole; rows
/// may have been shown by then.
pub(super) fn plain_rows(bytes: &[u8], see: impl FnMut(&[u8])) -> Option<()> {
    let stream = Stream::begin(bytes)?;
    let info = stream.decoder.info()?;
    if !is_plain(info) {
        return None;
    }
    let (width, height) = (info.width as usize, info.height as usize);
    match info.color_type {
        ColorType::Grayscale => stream.rows::<1>(width, height, see),
        ColorType::GrayscaleAlpha => stream.rows::<2>(width, height, see),
        ColorType::Rgb => stream.rows::<3>(width, height, see),
        ColorType::Rgba => stream.rows::<4>(width, height, see),
        ColorType::Indexed => None,
    }
}

fn is_plain(info: &Info<'_>) -> bool {
    info.bit_depth == BitDepth::Eight
        && !info.interlaced
        && info.trns.is_none()
        && info.animation_control.is_none()
        && info.frame_control.is_none()
}

/// The file, read up to a place.
struct Stream<'b> {
    decoder: StreamingDecoder,
    rest: &'b [u8],
}

impl<'b> Stream<'b> {
    /// Reads up to the image data.
    fn begin(bytes: &'b [u8]) -> Option<Self> {
        let mut decoder = StreamingDecoder::new();
        decoder.set_ignore_text_chunk(true);
        decoder.set_ignore_iccp_chunk(true);
        let mut stream = Self { decoder, rest: bytes };
        stream.skip_until(|event| matches!(event, Decoded::ChunkBegin(_, chunk::IDAT)))?;
        Some(stream)
    }

    fn skip_until(&mut self, reached: impl Fn(&Decoded) -> bool) -> Option<()> {
        loop {
            let (read, event) = self.decoder.update(self.rest, None).ok()?;
            self.rest = &self.rest[read..];
            if reached(&event) {
                return Some(());
            }
            if self.rest.is_empty() {
                return None;
            }
        }
    }

    fn rows<const SAMPLES: usize>(mut self, width: usize, height: usize, mut see: impl FnMut(&[u8])) -> Option<()> {
        let row_bytes = width.checked_mul(SAMPLES)?;
        let mut unpacked = vec![0; UNPACKED_BYTES.checked_add(row_bytes.checked_mul(2)?)?];
        let mut region = UnfilterRegion::default();
        let (mut above, mut row) = (vec![0; row_bytes], vec![0; row_bytes]);
        // Where the next row, with the byte that tells its filter, begins in what is unpacked.
        let mut start = 0;
        let mut seen = 0;
        while seen < height {
            if unpacked.len() - region.filled < ROOM_BYTES {
                let kept = region.available.min(start);
                unpacked.copy_within(kept..region.filled, 0);
                (region.available, region.filled, start) =
                    (region.available - kept, region.filled - kept, start - kept);
            }
            let (read, event) = self.decoder.update(self.rest, Some(&mut region.as_buf(&mut unpacked))).ok()?;
            self.rest = &self.rest[read..];
            while seen < height && region.filled - start > row_bytes {
                let (filter, filtered) = unpacked[start..=start + row_bytes].split_first()?;
                undo::<SAMPLES>(*filter, filtered, &above, &mut row)?;
                see(&row);
                std::mem::swap(&mut above, &mut row);
                start += row_bytes + 1;
                seen += 1;
            }
            if seen < height && (self.rest.is_empty() || matches!(event, Decoded::ImageDataFlushed)) {
                return None;
            }
        }
        self.skip_until(|event| matches!(event, Decoded::ChunkComplete(chunk::IEND)))
    }
}

/// Undoes the filter of a row; `None` if there is no such filter.
fn undo<const SAMPLES: usize>(filter: u8, filtered: &[u8], above: &[u8], row: &mut [u8]) -> Option<()> {
    match filter {
        0 => row.copy_from_slice(filtered),
        1 => undo_sub::<SAMPLES>(filtered, row),
        2 => row.iter_mut().zip(filtered).zip(above).for_each(|((byte, filtered), above)| {
            *byte = filtered.wrapping_add(*above);
        }),
        3 => undo_average::<SAMPLES>(filtered, above, row),
        4 => undo_paeth::<SAMPLES>(filtered, above, row),
        _ => return None,
    }
    Some(())
}

fn undo_sub<const SAMPLES: usize>(filtered: &[u8], row: &mut [u8]) {
    let mut left = [0; SAMPLES];
    for (row, filtered) in row.chunks_mut(STRETCH * SAMPLES).zip(filtered.chunks(STRETCH * SAMPLES)) {
        if all_zero(filtered) {
            fill(row, left);
            continue;
        }
        for (pixel, filtered) in row.as_chunks_mut().0.iter_mut().zip(filtered.as_chunks().0) {
            for (left, filtered) in left.iter_mut().zip::<&[u8; SAMPLES]>(filtered) {
                *left = left.wrapping_add(*filtered);
            }
            *pixel = left;
        }
    }
}

fn undo_average<const SAMPLES: usize>(filtered: &[u8], above: &[u8], row: &mut [u8]) {
    let mut left = [0; SAMPLES];
    let pixels = row.as_chunks_mut().0.iter_mut().zip(filtered.as_chunks().0).zip(above.as_chunks().0);
    for ((pixel, filtered), above) in pixels {
        let (filtered, above): (&[u8; SAMPLES], &[u8; SAMPLES]) = (filtered, above);
        for ((left, filtered), above) in left.iter_mut().zip(filtered).zip(above) {
            *left = filtered.wrapping_add(u8::midpoint(*left, *above));
        }
        *pixel = left;
    }
}

fn undo_paeth<const SAMPLES: usize>(filtered: &[u8], above: &[u8], row: &mut [u8]) {
    let (mut left, mut above_left) = ([0; SAMPLES], [0; SAMPLES]);
    let step = STRETCH * SAMPLES;
    for ((row, filtered), above) in row.chunks_mut(step).zip(filtered.chunks(step)).zip(above.chunks(step)) {
        let pixels_above: &[[u8; SAMPLES]] = above.as_chunks().0;
        let zero = all_zero(filtered);
        if zero && left == above_left {
            // What is predicted is what stands above, and stays so while the two rows are equal.
            row.copy_from_slice(above);
        } else if zero && pixels_above.iter().all(|pixel| *pixel == above_left) {
            // What is predicted is what stands on the left, while nothing changes above.
            fill(row, left);
        } else {
            let pixels = row.as_chunks_mut().0.iter_mut().zip(filtered.as_chunks().0).zip(pixels_above);
            for ((pixel, filtered), above) in pixels {
                let filtered: &[u8; SAMPLES] = filtered;
                for sample in 0..SAMPLES {
                    let predicted = paeth(left[sample], above[sample], above_left[sample]);
                    left[sample] = filtered[sample].wrapping_add(predicted);
                }
                *pixel = left;
                above_left = *above;
            }
        }
        if let (Some(last), Some(last_above)) = (row.last_chunk(), above.last_chunk()) {
            (left, above_left) = (*last, *last_above);
        }
    }
}

/// Of left, above and upper left the one nearest to left + above - upper left; the first of them where two are as near.
///
/// Without the three distances, for every byte waits for this: three times the upper left less the sum of the others is at
/// least the higher of them where the lower one is the nearest, and at most the lower one where the higher one is.
fn paeth(left: u8, above: u8, above_left: u8) -> u8 {
    if left == above_left {
        // Said apart, for it is the rule, and the processor then does not wait for the byte on the left.
        return above;
    }
    let (lower, higher) = (left.min(above), left.max(above));
    let turn = 3 * i16::from(above_left) - i16::from(above) - i16::from(left);
    let nearest = if i16::from(higher) <= turn { lower } else { above_left };
    if turn <= i16::from(lower) { higher } else { nearest }
}

fn all_zero(bytes: &[u8]) -> bool {
    bytes.iter().fold(0, |bits, byte| bits | byte) == 0
}

fn fill<const SAMPLES: usize>(row: &mut [u8], pixel: [u8; SAMPLES]) {
    row.as_chunks_mut().0.fill(pixel);
}

#[cfg(test)]
mod tests {
    use super::*;
    use png::{Decoder, Encoder, Filter};
    use proptest::prelude::*;
    use std::io::Cursor;

    const COLOURS: [ColorType; 4] = [ColorType::Grayscale, ColorType::GrayscaleAlpha, ColorType::Rgb, ColorType::Rgba];
    const FILTERS: [Filter; 6] =
        [Filter::NoFilter, Filter::Sub, Filter::Up, Filter::Avg, Filter::Paeth, Filter::Adaptive];

    /// Bytes in runs, some of them long, as in a screen.
    fn runs() -> impl Strategy<Value = Vec<(u8, usize)>> {
        prop::collection::vec((prop_oneof![Just(0), Just(255), 0..=255_u8], 1..200_usize), 1..40)
    }

    fn bytes_of_runs(runs: &[(u8, usize)], length: usize) -> Vec<u8> {
        let bytes = runs.iter().cycle().flat_map(|(byte, times)| std::iter::repeat_n(*byte, *times));
        bytes.take(length).collect()
    }

    /// The library's own reader: the samples of a whole file.
    fn library(bytes: &[u8]) -> Option<Vec<u8>> {
        let mut reader = Decoder::new(Cursor::new(bytes)).read_info().ok()?;
        let mut samples = vec![0; reader.output_buffer_size()?];
        reader.next_frame(&mut samples).ok()?;
        reader.finish().ok()?;
        Some(samples)
    }

    fn ours(bytes: &[u8]) -> Option<Vec<u8>> {
        let mut samples = Vec::new();
        plain_rows(bytes, |row| samples.extend_from_slice(row))?;
        Some(samples)
    }

    fn png_of(width: u32, height: u32, colour: ColorType, filter: Filter, samples: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, width, height);
        encoder.set_color(colour);
        encoder.set_depth(BitDepth::Eight);
        encoder.set_filter(filter);
        let mut writer = encoder.write_header().expect("the header is right");
        writer.write_image_data(samples).expect("the samples are right");
        writer.finish().expect("a vector takes all");
        bytes
    }

    /// The filters as section 9.2 and 9.4 of the standard write them, byte by byte.
    fn as_the_standard_writes(samples: usize, filter: u8, filtered: &[u8], above: &[u8]) -> Vec<u8> {
        let mut row: Vec<u8> = Vec::new();
        for (at, filtered) in filtered.iter().enumerate() {
            let left = |bytes: &[u8]| at.checked_sub(samples).map_or(0, |at| i32::from(bytes[at]));
            let (a, b, c) = (left(&row), i32::from(above[at]), left(above));
            let predicted = [0, a, b, i32::midpoint(a, b), predictor_of_the_standard(a, b, c)][usize::from(filter)];
            row.push(filtered.wrapping_add(predicted as u8));
        }
        row
    }

    /// Section 9.4.
    fn predictor_of_the_standard(a: i32, b: i32, c: i32) -> i32 {
        let p = a + b - c;
        let (pa, pb, pc) = ((p - a).abs(), (p - b).abs(), (p - c).abs());
        if pa <= pb && pa <= pc {
            a
        } else if pb <= pc {
            b
        } else {
            c
        }
    }

    #[test]
    fn the_prediction_is_that_of_the_standard_for_all_bytes() {
        for (a, b) in (0..=255_u8).flat_map(|a| (0..=255_u8).map(move |b| (a, b))) {
            for c in 0..=255_u8 {
                let expected = predictor_of_the_standard(a.into(), b.into(), c.into());
                assert_eq!(i32::from(paeth(a, b, c)), expected, "{a} {b} {c}");
            }
        }
    }

    fn undone<const SAMPLES: usize>(filter: u8, filtered: &[u8], above: &[u8]) -> Vec<u8> {
        let mut row = vec![0xa5; filtered.len()];
        undo::<SAMPLES>(filter, filtered, above, &mut row).expect("there is such a filter");
        row
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]

        #[test]
        fn filters_are_undone_as_the_standard_writes(
            filtered in runs(), above in runs(), pixels in 1..300_usize, filter in 0..5_u8,
        ) {
            for samples in 1..=4 {
                let length = pixels * samples;
                let (filtered, above) = (bytes_of_runs(&filtered, length), bytes_of_runs(&above, length));
                let row = match samples {
                    1 => undone::<1>(filter, &filtered, &above),
                    2 => undone::<2>(filter, &filtered, &above),
                    3 => undone::<3>(filter, &filtered, &above),
                    _ => undone::<4>(filter, &filtered, &above),
                };
                prop_assert_eq!(row, as_the_standard_writes(samples, filter, &filtered, &above));
            }
        }

        #[test]
        fn whole_files_are_read_as_the_library_reads_them(
            runs in runs(), width in 1..200_u32, height in 1..120_u32,
            colour in prop::sample::select(&COLOURS[..]), filter in prop::sample::select(&FILTERS[..]),
        ) {
            let samples = bytes_of_runs(&runs, width as usize * height as usize * colour.samples());
            let bytes = png_of(width, height, colour, filter, &samples);
            prop_assert_eq!(ours(&bytes), Some(samples.clone()));
            prop_assert_eq!(library(&bytes), Some(samples));
        }

        #[test]
        fn changed_files_are_never_read_otherwise_than_by_the_library(
            runs in runs(), height in 1..40_u32, filter in prop::sample::select(&FILTERS[..]),
            changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..3),
            cut in prop::option::of(any::<prop::sample::Index>()),
        ) {
            let mut bytes = png_of(40, height, ColorType::Rgb, filter, &bytes_of_runs(&runs, 120 * height as usize));
            for (at, byte) in changes {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
            if let Some(cut) = cut {
                bytes.truncate(cut.index(bytes.len()));
            }
            if let Some(samples) = ours(&bytes) {
                prop_assert_eq!(Some(samples), library(&bytes));
            }
        }
    }

    #[test]
    fn a_filter_that_does_not_exist_is_no_row() {
        assert!(undo::<1>(5, &[0], &[0], &mut [0]).is_none());
    }
}
