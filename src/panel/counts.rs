//! Updates since the last cleaning, a count for every pixel, and the largest of them at any time.

use super::{chunks::Chunked, field::TileField};
use crate::change::{Mask, TileGrid, bits};

/// The counts of all pixels. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(super) struct Counts {
    of_pixels: TileField<u32>,
    /// The largest count of each tile.
    largest: Chunked<u32>,
    /// How many tiles have each largest count; the last number is not 0.
    tiles_by_largest: Vec<u32>,
}

impl Counts {
    /// A panel that was just cleaned.
    pub(super) fn new(tiles: usize) -> Self {
        Self {
            of_pixels: TileField::new(tiles, 0),
            largest: Chunked::new(tiles, 0),
            tiles_by_largest: vec![tiles as u32],
        }
    }

    /// The largest count of any pixel.
    pub(super) fn most(&self) -> u32 {
        self.tiles_by_largest.len().saturating_sub(1) as u32
    }

    /// The count of a pixel.
    pub(super) fn get(&self, tile: u32, bit: u32) -> u32 {
        self.of_pixels.get(tile, bit)
    }

    /// The counts of a tile.
    pub(super) fn values(&self, tile: u32) -> [u32; 64] {
        self.of_pixels.values(tile)
    }

    /// The pixels with a larger count than `limit`.
    pub(super) fn above(&self, limit: u32, grid: &TileGrid) -> Mask {
        if self.most() <= limit {
            return Mask::new();
        }
        let tiles = (0..grid.tiles() as u32).filter(|tile| self.largest[*tile as usize] > limit);
        Mask::from_sorted(tiles.map(|tile| {
            let whole = grid.whole(tile);
            let above = match self.of_pixels.various(tile) {
                None => whole,
                Some(counts) => {
                    bits(whole).filter(|bit| counts[*bit as usize] > limit).fold(0, |mask, bit| mask | 1 << bit)
                }
            };
            (tile, above)
        }))
    }

    /// Counts an update of the pixels in `counted`, none of which is cleaned.
    pub(super) fn count(&mut self, tile: u32, counted: u64, whole: u64) {
        if counted == 0 {
            return;
        }
        if let Some(count) = self.of_pixels.uniform(tile).filter(|_| counted == whole) {
            self.of_pixels.set_uniform(tile, count + 1);
            return self.set_largest(tile, count + 1);
        }
        let counts = self.of_pixels.edit(tile);
        let mut largest = self.largest[tile as usize];
        for bit in bits(counted) {
            let count = &mut counts[bit as usize & 63];
            *count += 1;
            largest = largest.max(*count);
        }
        self.set_largest(tile, largest);
    }

    /// Brings the pixels in `cleaned` back to 0, and counts an update of the others in `counted`.
    pub(super) fn clean(&mut self, tile: u32, counted: u64, cleaned: u64, whole: u64) {
        if cleaned == whole {
            self.of_pixels.set_uniform(tile, 0);
            self.set_largest(tile, 0);
            return;
        }
        if cleaned == 0 {
            return self.count(tile, counted, whole);
        }
        let counts = self.of_pixels.edit(tile);
        for bit in bits(counted | cleaned) {
            let count = &mut counts[bit as usize];
            *count = if cleaned >> bit & 1 == 1 { 0 } else { *count + 1 };
        }
        let largest = bits(whole).map(|bit| counts[bit as usize]).max().unwrap_or(0);
        self.of_pixels.settle(tile, whole);
        self.set_largest(tile, largest);
    }

    fn set_largest(&mut self, tile: u32, largest: u32) {
        let known = self.largest[tile as usize];
        if known == largest {
            return;
        }
        self.largest[tile as usize] = largest;
        if self.tiles_by_largest.len() <= largest as usize {
            self.tiles_by_largest.resize(largest as usize + 1, 0);
        }
        self.tiles_by_largest[largest as usize] += 1;
        self.tiles_by_largest[known as usize] -= 1;
        while self.tiles_by_largest.last() == Some(&0) {
            self.tiles_by_largest.pop();
        }
    }
}
