//! Frames decoded alone, without any review.

use std::{
    fs,
    io::Cursor,
    path::PathBuf,
    sync::atomic::{AtomicUsize, Ordering},
    thread,
    time::{Duration, Instant},
};

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
