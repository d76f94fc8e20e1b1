//! Frames as greyscale PNG, written.

use std::{fs, io::BufWriter, path::Path};

/// Writes a frame.
pub(crate) fn save(path: &Path, [width, height]: [usize; 2], pixels: &[u8]) {
    let file = fs::File::create(path).expect("the frame can be written");
    let mut encoder = png::Encoder::new(BufWriter::new(file), width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().expect("the header can be written");
    writer.write_image_data(pixels).expect("the picture can be written");
}
