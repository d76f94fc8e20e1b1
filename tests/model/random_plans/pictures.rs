//! Random screens, PNG files of every colour type and depth, and SVG files of flat bars. What stands in a file need not be the canvas to the
//! last unit: whoever reads it back reads the file.

use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use png::{BitDepth, ColorType};

use super::dice::Dice;
use super::segments::whole;
use crate::plain::Fault;
use crate::plain::geometry::Size;
use crate::plain::ink::grey;
use crate::plain::screens::over_white;
use crate::plain::segments::Segments;

/// What screens are drawn for.
pub(crate) struct Subject {
    /// The encoded colours that the panel's levels stand for.
    pub(crate) shades: Vec<[u8; 3]>,
    /// As they lie on the screen.
    pub(crate) segments: Option<Segments>,
}

#[derive(Clone)]
pub(crate) struct Canvas {
    size: Size,
    rgba: Vec<[u8; 4]>,
}

impl Canvas {
    pub(crate) fn random(dice: &mut Dice, size: Size, subject: &Subject) -> Canvas {
        if let Some(segments) = &subject.segments {
            let mut canvas = Canvas { size, rgba: vec![[255; 4]; size.pixels()] };
            (0..segments.names.len()).for_each(|segment| canvas.draw_segment(dice, segments, segment));
            return canvas;
        }
        let shades = &subject.shades;
        let ground = shade(dice, shades);
        let mut canvas = Canvas { size, rgba: vec![ground; size.pixels()] };
        for _ in 0..dice.between(0, 5) {
            canvas.draw(dice, shades);
        }
        canvas
    }

    /// White except for the first pixel.
    pub(crate) fn dot(size: Size) -> Canvas {
        let mut canvas = Canvas { size, rgba: vec![[255; 4]; size.pixels()] };
        canvas.rgba[0] = [0, 0, 0, 255];
        canvas
    }

    /// The same again, the same with something drawn on it, or another.
    pub(crate) fn next(&self, dice: &mut Dice, subject: &Subject) -> Canvas {
        match dice.below(10) {
            0 | 1 => self.clone(),
            2 => Canvas::random(dice, self.size, subject),
            3 | 4 => {
                let mut canvas = self.clone();
                canvas.speckle(dice, &subject.shades);
                canvas
            }
            _ => {
                let mut canvas = self.clone();
                for _ in 0..dice.between(1, 3) {
                    match &subject.segments {
                        Some(segments) if dice.chance(85) => {
                            let segment = dice.below(segments.names.len());
                            canvas.draw_segment(dice, segments, segment);
                        }
                        _ => canvas.draw(dice, &subject.shades),
                    }
                }
                canvas
            }
        }
    }

    /// On, off, or a number of its pixels, often just about the ones from which on it counts as on or no longer as off.
    fn draw_segment(&mut self, dice: &mut Dice, segments: &Segments, segment: usize) {
        let own: Vec<usize> = (0..self.rgba.len()).filter(|&at| segments.owners[at] == Some(segment)).collect();
        let all = own.len();
        let dark = match dice.below(10) {
            0..=3 => all,
            4..=6 => 0,
            7 => (all * *dice.pick(&[5, 95]) / 100 + dice.below(2)).min(all),
            8 => all / 2 + dice.below(2).min(all % 2),
            _ => dice.below(all + 1),
        };
        // 127 is the lightest grey that is dark.
        let (ink, paper) = (*dice.pick(&[0, 0, 0, 127]), *dice.pick(&[255, 255, 255, 128]));
        for (number, &at) in own.iter().enumerate() {
            let grey = if number < dark { ink } else { paper };
            self.rgba[at] = [grey, grey, grey, 255];
        }
    }

    /// A bar for each run of one colour; transparent pixels as they look on white.
    pub(crate) fn svg(&self) -> String {
        let colours: Vec<[u8; 3]> = self.rgba.iter().map(|&rgba| over_white(rgba)).collect();
        let mut bars = Vec::new();
        for (y, row) in colours.chunks(self.size.w as usize).enumerate() {
            let mut left = 0;
            for run in row.chunk_by(|one, other| one == other) {
                let (wide, [r, g, b]) = (run.len(), run[0]);
                let fill = format!("#{r:02x}{g:02x}{b:02x}");
                bars.push(format!(r#"<rect x="{left}" y="{y}" width="{wide}" height="1" fill="{fill}"/>"#));
                left += wide;
            }
        }
        whole(self.size, &bars)
    }

    /// Single pixels here and there.
    fn speckle(&mut self, dice: &mut Dice, shades: &[[u8; 3]]) {
        for _ in 0..dice.between(3, 6) {
            let at = dice.below(self.rgba.len());
            self.rgba[at] = shade(dice, shades);
        }
    }

    /// A flat box, one with a dither or noise, or a single pixel.
    fn draw(&mut self, dice: &mut Dice, shades: &[[u8; 3]]) {
        let (left, top) = (dice.between(0, self.size.w - 1), dice.between(0, self.size.h - 1));
        let (wide, high) = (dice.between(1, self.size.w - left), dice.between(1, self.size.h - top));
        let (one, other) = (shade(dice, shades), shade(dice, shades));
        let kind = dice.below(10);
        let share = dice.below(100);
        for y in top..top + high {
            for x in left..left + wide {
                let colour = match kind {
                    0..=3 => one,
                    4 | 5 if (x + y) % 2 == 0 => one,
                    6 if dice.chance(share) => one,
                    4..=6 => other,
                    7 => shade(dice, shades),
                    8 => [dice.below(256) as u8, dice.below(256) as u8, dice.below(256) as u8, 255],
                    _ if (x, y) == (left, top) => one,
                    _ => continue,
                };
                self.rgba[(y * self.size.w + x) as usize] = colour;
            }
        }
    }
}

/// Mostly one of the panel's own, at times any, at times half transparent.
fn shade(dice: &mut Dice, shades: &[[u8; 3]]) -> [u8; 4] {
    let [r, g, b] = match dice.below(8) {
        0 => [dice.below(256) as u8; 3],
        1 => [dice.below(256) as u8, dice.below(256) as u8, dice.below(256) as u8],
        _ => *dice.pick(shades),
    };
    [r, g, b, if dice.chance(12) { dice.below(256) as u8 } else { 255 }]
}

pub(crate) fn write_png(dice: &mut Dice, canvas: &Canvas, path: &Path) -> Result<(), Fault> {
    let fault = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(|e| fault(&e))?;
    }
    let file = BufWriter::new(File::create(path).map_err(|e| fault(&e))?);
    let packed = pack(dice, canvas);
    let mut encoder = png::Encoder::new(file, canvas.size.w as u32, canvas.size.h as u32);
    encoder.set_color(packed.colour);
    encoder.set_depth(packed.depth);
    if let Some(table) = packed.table {
        encoder.set_palette(table);
    }
    if let Some(transparent) = packed.transparent {
        encoder.set_trns(transparent);
    }
    let mut writer = encoder.write_header().map_err(|e| fault(&e))?;
    writer.write_image_data(&packed.bytes).map_err(|e| fault(&e))
}

/// A picture as it stands in a file, before it is compressed.
struct Packed {
    colour: ColorType,
    depth: BitDepth,
    bytes: Vec<u8>,
    table: Option<Vec<u8>>,
    transparent: Option<Vec<u8>>,
}

fn pack(dice: &mut Dice, canvas: &Canvas) -> Packed {
    let small = *dice.pick(&[BitDepth::One, BitDepth::Two, BitDepth::Four, BitDepth::Eight]);
    let large = *dice.pick(&[BitDepth::Eight, BitDepth::Sixteen]);
    match dice.below(8) {
        0 | 1 => pack_samples(dice, canvas, ColorType::Grayscale, small),
        2 => pack_samples(dice, canvas, ColorType::Grayscale, BitDepth::Sixteen),
        3 => pack_samples(dice, canvas, ColorType::GrayscaleAlpha, large),
        4 => pack_samples(dice, canvas, ColorType::Rgb, large),
        5 | 6 => pack_samples(dice, canvas, ColorType::Rgba, large),
        _ => pack_indexed(canvas, small),
    }
}

fn pack_samples(dice: &mut Dice, canvas: &Canvas, colour: ColorType, depth: BitDepth) -> Packed {
    let pixels: Vec<Vec<u32>> = canvas
        .rgba
        .iter()
        .map(|&rgba| samples(colour, rgba).into_iter().map(|v| at_depth(dice, v, depth)).collect())
        .collect();
    let may_have_key = matches!(colour, ColorType::Grayscale | ColorType::Rgb);
    // The key is some pixel's own samples; at 16 bits its neighbours of the same 8 bits stay opaque.
    let transparent = (may_have_key && dice.chance(30))
        .then(|| dice.pick(&pixels).iter().flat_map(|&s| (s as u16).to_be_bytes()).collect());
    Packed { colour, depth, bytes: packed_rows(canvas.size, &pixels, depth), table: None, transparent }
}

fn samples(colour: ColorType, [r, g, b, a]: [u8; 4]) -> Vec<u8> {
    let own_grey = grey([r, g, b]) as u8;
    match colour {
        ColorType::Grayscale => vec![own_grey],
        ColorType::GrayscaleAlpha => vec![own_grey, a],
        ColorType::Rgb => vec![r, g, b],
        _ => vec![r, g, b, a],
    }
}

/// At 16 bits with a little noise, so that bringing it back to 8 has something to round.
fn at_depth(dice: &mut Dice, value: u8, depth: BitDepth) -> u32 {
    let value = i64::from(value);
    match depth {
        BitDepth::Eight => value as u32,
        BitDepth::Sixteen if dice.chance(50) => (value * 257 + dice.between(-140, 140)).clamp(0, 65535) as u32,
        BitDepth::Sixteen => (value * 257) as u32,
        _ => {
            let most = (1 << depth as u8) - 1;
            ((value * most + 127) / 255) as u32
        }
    }
}

/// The first colours of the canvas, as many as there is room for; other pixels take the nearest of them.
fn pack_indexed(canvas: &Canvas, depth: BitDepth) -> Packed {
    let mut entries: Vec<[u8; 4]> = Vec::new();
    for &rgba in &canvas.rgba {
        if entries.len() < 1 << depth as u8 && !entries.contains(&rgba) {
            entries.push(rgba);
        }
    }
    let far = |a: [u8; 4], b: [u8; 4]| a.iter().zip(b).map(|(&p, q)| u32::from(p.abs_diff(q))).sum::<u32>();
    let nearest = |rgba: [u8; 4]| (0..entries.len()).min_by_key(|&i| far(entries[i], rgba)).unwrap_or(0);
    let pixels: Vec<Vec<u32>> = canvas.rgba.iter().map(|&rgba| vec![nearest(rgba) as u32]).collect();
    let opaque = entries.iter().all(|e| e[3] == 255);
    Packed {
        colour: ColorType::Indexed,
        depth,
        bytes: packed_rows(canvas.size, &pixels, depth),
        table: Some(entries.iter().flat_map(|e| [e[0], e[1], e[2]]).collect()),
        transparent: (!opaque).then(|| entries.iter().map(|e| e[3]).collect()),
    }
}

/// Rows begin at whole bytes, the first sample in the highest bits.
fn packed_rows(size: Size, pixels: &[Vec<u32>], depth: BitDepth) -> Vec<u8> {
    let mut bytes = Vec::new();
    for row in pixels.chunks(size.w as usize) {
        let bits: Vec<u8> = row
            .iter()
            .flatten()
            .flat_map(|&sample| (0..depth as u32).rev().map(move |bit| (sample >> bit & 1) as u8))
            .collect();
        bytes.extend(
            bits.chunks(8).map(|eight| eight.iter().enumerate().fold(0, |byte, (i, bit)| byte | bit << (7 - i))),
        );
    }
    bytes
}
