//! Pixels that behave alike whatever the walk: the same level in every screen and at the beginning, and inside the same
//! sent windows of the same moves.
//!
//! Linear in the pixels: every pixel gets a signature of 128 bits, and pixels of one signature are a cell.

use std::{collections::HashMap, thread};

use super::{frames::Frames, sent::Regions};
use crate::{
    display::Level,
    geometry::{Rect, Size},
};

/// A cell.
#[derive(Clone, Debug)]
pub(super) struct Cell {
    /// How many pixels it has.
    pub(super) pixels: u64,
    /// The box around them.
    pub(super) rect: Rect,
    /// Its level in each frame.
    pub(super) levels: Vec<Level>,
    /// Whether it lies in each region, 64 regions a word.
    inside: Vec<u64>,
}

impl Cell {
    /// Whether it lies in a region.
    pub(super) fn is_inside(&self, region: usize) -> bool {
        self.inside[region / 64] >> (region % 64) & 1 == 1
    }

    /// What it is compared by with others: first where it lies, then what it shows.
    pub(super) fn likeness(&self) -> (&[u64], &[Level]) {
        (&self.inside, &self.levels)
    }
}

/// The cells of a flow.
#[derive(Debug)]
pub(super) struct Cells {
    pub(super) list: Vec<Cell>,
    /// The cell of each pixel, row by row.
    pub(super) of_pixel: Vec<u32>,
}

impl Cells {
    /// The cells of these frames and regions.
    pub(super) fn new(frames: &Frames, regions: &Regions, threads: usize) -> Self {
        let signatures = signatures(frames, regions, threads);
        let mut numbers: HashMap<u128, u32> = HashMap::new();
        let mut cells = Self { list: Vec::new(), of_pixel: Vec::with_capacity(signatures.len()) };
        let mut last = None;
        let width = frames.size().width as usize;
        for (at, signature) in signatures.into_iter().enumerate() {
            let number = match last {
                Some((known, number)) if known == signature => number,
                _ => *numbers.entry(signature).or_insert_with(|| cells.begin(frames, regions, at)),
            };
            last = Some((signature, number));
            let cell = &mut cells.list[number as usize];
            cell.pixels += 1;
            cell.rect = cell.rect.around(pixel_box(at, width));
            cells.of_pixel.push(number);
        }
        cells
    }

    /// A new cell with what is true of its first pixel.
    fn begin(&mut self, frames: &Frames, regions: &Regions, at: usize) -> u32 {
        let rect = pixel_box(at, frames.size().width as usize);
        let mut inside = vec![0_u64; regions.boxes.len().div_ceil(64)];
        for (number, boxes) in regions.boxes.iter().enumerate() {
            if boxes.iter().any(|other| other.overlaps(rect)) {
                inside[number / 64] |= 1 << (number % 64);
            }
        }
        let levels =
            (0..frames.count()).map(|frame| frames.levels(frame)[usize::from(frames.bytes(frame)[at])]).collect();
        self.list.push(Cell { pixels: 0, rect, levels, inside });
        self.list.len() as u32 - 1
    }
}

fn pixel_box(at: usize, width: usize) -> Rect {
    Rect { x: (at % width) as u32, y: (at / width) as u32, width: 1, height: 1 }
}

/// A mixer of 64 bits, by S. Vigna's published constants (from memory): equal numbers give equal keys on every machine.
fn mixed(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A key of its own for each number of each kind of thing.
fn key(kind: u64, number: u64) -> u128 {
    let seed = mixed(kind << 40 | number);
    u128::from(mixed(seed)) << 64 | u128::from(mixed(seed ^ 0x5555_5555_5555_5555))
}

/// The signature of every pixel: two pixels of different behaviour get the same one by a chance of 1 in 2^128.
fn signatures(frames: &Frames, regions: &Regions, threads: usize) -> Vec<u128> {
    let Size { width, height } = frames.size();
    let bands = Bands::new(frames.size(), regions);
    let of_frame = |frame: usize| frames.levels(frame).map(|level| key(frame as u64 + 1, level.into()));
    let keys: Vec<[u128; 256]> = (0..frames.count()).map(of_frame).collect();
    let mut signatures = vec![0_u128; width as usize * height as usize];
    let rows_each = (height as usize).div_ceil(threads.max(1));
    thread::scope(|scope| {
        for (part, rows) in signatures.chunks_mut(rows_each * width as usize).enumerate() {
            let (bands, keys) = (&bands, &keys);
            scope.spawn(move || {
                for (at, row) in rows.chunks_exact_mut(width as usize).enumerate() {
                    sign_row(row, part * rows_each + at, frames, bands, keys);
                }
            });
        }
    });
    signatures
}

fn sign_row(row: &mut [u128], y: usize, frames: &Frames, bands: &Bands, keys: &[[u128; 256]]) {
    bands.write_row(y, row);
    let width = row.len();
    for (frame, keys) in keys.iter().enumerate() {
        let bytes = &frames.bytes(frame)[y * width..][..width];
        for (signature, byte) in row.iter_mut().zip(bytes) {
            *signature ^= keys[usize::from(*byte)];
        }
    }
}

/// The panel cut along all edges of all boxes: every part lies in the same regions as a whole.
struct Bands {
    /// Where columns of parts begin, the panel's width last.
    columns: Vec<u32>,
    /// The row of parts of each row of pixels.
    part_rows: Vec<u32>,
    /// By row and column of parts.
    keys: Vec<u128>,
}

impl Bands {
    fn new(size: Size, regions: &Regions) -> Self {
        let boxes = || regions.boxes.iter().flatten();
        let columns = cuts(size.width, boxes().flat_map(|rect| [rect.x, rect.right()]));
        let rows = cuts(size.height, boxes().flat_map(|rect| [rect.y, rect.bottom()]));
        let (across, down) = (columns.len() - 1, rows.len() - 1);
        let mut keys = vec![0_u128; across * down];
        let mut painted = vec![usize::MAX; across * down];
        for (number, boxes) in regions.boxes.iter().enumerate() {
            let own = key(0, number as u64);
            for rect in boxes {
                let place = |cuts: &[u32], at: u32| cuts.partition_point(|cut| *cut < at);
                for row in place(&rows, rect.y)..place(&rows, rect.bottom()) {
                    for column in place(&columns, rect.x)..place(&columns, rect.right()) {
                        let part = row * across + column;
                        // A part in two boxes of a region lies in it once.
                        if painted[part] != number {
                            painted[part] = number;
                            keys[part] ^= own;
                        }
                    }
                }
            }
        }
        let part_rows = rows.windows(2).enumerate();
        let part_rows = part_rows.flat_map(|(part, ends)| (ends[0]..ends[1]).map(move |_| part as u32)).collect();
        Self { columns, part_rows, keys }
    }

    fn write_row(&self, y: usize, row: &mut [u128]) {
        let across = self.columns.len() - 1;
        let first = self.part_rows[y] as usize * across;
        for (column, ends) in self.columns.windows(2).enumerate() {
            row[ends[0] as usize..ends[1] as usize].fill(self.keys[first + column]);
        }
    }
}

/// The places from 0 to the end at which something begins or ends, rising.
fn cuts(end: u32, edges: impl Iterator<Item = u32>) -> Vec<u32> {
    let mut cuts: Vec<u32> = [0, end].into_iter().chain(edges).collect();
    cuts.sort_unstable();
    cuts.dedup();
    cuts
}
