//! The net impulse of every pixel, volt-seconds; kept only where a mode gives impulses and there is a limit.

use std::collections::BTreeMap;

use super::field::TileField;
use crate::change::{Mask, bits};

/// The net impulses, and which are beyond the limit. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(super) struct Charge {
    limit_vs: f64,
    net_vs: TileField<f64>,
    /// The tiles with a pixel at more than `NEAR` of the limit, each with its pixels that are on the panel.
    near: BTreeMap<u32, u64>,
}

/// The least share of the limit that somebody may ask for.
const NEAR: f64 = 0.5;

impl Charge {
    /// A panel without net impulse.
    pub(super) fn new(tiles: usize, limit_vs: f64) -> Self {
        Self { limit_vs, net_vs: TileField::new(tiles, 0.0), near: BTreeMap::new() }
    }

    /// The pixels beyond a share of the limit, at least `NEAR`, and the largest net impulse among them, either way.
    pub(super) fn beyond(&self, share: f64) -> (Mask, f64) {
        debug_assert!(share >= NEAR, "tiles below that are not kept");
        let (mut pixels, mut most_vs) = (Mask::new(), 0.0_f64);
        for (tile, whole) in &self.near {
            let (mut beyond, values) = (0, self.values(*tile));
            for bit in bits(*whole) {
                let net_vs = values[bit as usize];
                if net_vs.abs() > share * self.limit_vs {
                    beyond |= 1 << bit;
                    most_vs = if net_vs.abs() > most_vs.abs() { net_vs } else { most_vs };
                }
            }
            pixels.push(*tile, beyond);
        }
        (pixels, most_vs)
    }

    /// The net impulse of a pixel.
    pub(super) fn get(&self, tile: u32, bit: u32) -> f64 {
        self.net_vs.get(tile, bit)
    }

    /// The net impulses of a tile.
    pub(super) fn values(&self, tile: u32) -> [f64; 64] {
        self.net_vs.values(tile)
    }

    /// Gives a tile these net impulses.
    pub(super) fn set(&mut self, tile: u32, net_vs: &[f64; 64], whole: u64) {
        self.net_vs.set(tile, net_vs, whole);
        if bits(whole).any(|bit| net_vs[bit as usize].abs() > NEAR * self.limit_vs) {
            self.near.insert(tile, whole);
        } else {
            self.near.remove(&tile);
        }
    }
}
