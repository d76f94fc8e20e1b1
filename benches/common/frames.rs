//! Frames as greyscale PNG: written, and decoded alone, without any review.

use std::{
    fs,
    io::{BufWriter, Cursor},
    path::{Path, PathBuf},
    sync::atomic::{AtomicUsize, Ordering},
    thread,
    time::{Duration, Instant},
};

/// Writes a frame.
pub(crate) fn save(path: &Path, [width, height]: [usize; 2], pixels: &[u8]) {
    let file = fs::File::create(path).expect("the frame can be written");
    let mut encoder = png::Encoder::new(BufWriter::new(file), width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().expect("the header can be written");
    writer.write_image_data(pixels).expect("the picture can be written");
}

/// Decodes every frame with the `png` crate, buffers used again, the frames shared out among the threads.
pub(crate) fn decode_all(frames: &[PathBuf], pixels: usize, threads: usize) -> Duration {
    let begin = Instant::now();
    let next = AtomicUsize::new(0);
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let mut buffer = vec![0; pixels];
                while let Some(frame) = frames.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let bytes = fs::read(frame).expect("the frame is there");
                    let decoder = png::Decoder::new(Cursor::new(bytes));
                    let mut reader = decoder.read_info().expect("the frame is a PNG");
                    reader.next_frame(&mut buffer).expect("the frame is whole");
                }
            });
        }
    });
    begin.elapsed()
}
