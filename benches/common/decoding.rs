//! Frames decoded alone, without any review.

use std::{
    fs,
    io::Cursor,
    path::{Path, PathBuf},
    sync::atomic::{AtomicUsize, Ordering},
    thread,
    time::{Duration, Instant},
};

/// Who decodes.
#[derive(Clone, Copy)]
pub(crate) enum Decoder {
    /// The `png` crate.
    Png,
    /// The `zune-png` crate.
    Zune,
}

/// Decodes every frame with the `png` crate, buffers used again, the frames shared out among the threads.
pub(crate) fn decode_all(frames: &[PathBuf], pixels: usize, threads: usize) -> Duration {
    decode_all_by(Decoder::Png, frames, pixels, threads)
}

/// Decodes every frame, buffers used again, the frames shared out among the threads.
pub(crate) fn decode_all_by(decoder: Decoder, frames: &[PathBuf], pixels: usize, threads: usize) -> Duration {
    let begin = Instant::now();
    let next = AtomicUsize::new(0);
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let mut buffer = vec![0; pixels];
                while let Some(frame) = frames.get(next.fetch_add(1, Ordering::Relaxed)) {
                    match decoder {
                        Decoder::Png => png_frame(frame, &mut buffer),
                        Decoder::Zune => zune_frame(frame, &mut buffer),
                    }
                }
            });
        }
    });
    begin.elapsed()
}

pub(crate) fn png_frame(frame: &Path, buffer: &mut [u8]) {
    let bytes = fs::read(frame).expect("the frame is there");
    let mut reader = png::Decoder::new(Cursor::new(bytes)).read_info().expect("the frame is a PNG");
    reader.next_frame(buffer).expect("the frame is whole");
}

fn zune_frame(frame: &Path, buffer: &mut [u8]) {
    let bytes = fs::read(frame).expect("the frame is there");
    let mut decoder = zune_png::PngDecoder::new(zune_png::zune_core::bytestream::ZCursor::new(bytes));
    decoder.decode_headers().expect("the frame is a PNG");
    decoder.decode_into(buffer).expect("the frame is whole");
}
