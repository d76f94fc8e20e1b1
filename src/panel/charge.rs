//! The net impulse of every pixel, volt-seconds; kept only where a mode gives impulses and there is a limit.

use std::collections::BTreeMap;

use super::field::TileField;
use crate::change::{Mask, bits};

/// The net impulses, and which are beyond the limit. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(super) struct Charge {
    limit_vs: f64,
    net_vs: TileField<f64>,
    /// The pixels beyond the limit by tile, and the largest net impulse among them.
    over: BTreeMap<u32, (u64, f64)>,
}

impl Charge {
    /// A panel without net impulse.
    pub(super) fn new(tiles: usize, limit_vs: f64) -> Self {
        Self { limit_vs, net_vs: TileField::new(tiles, 0.0), over: BTreeMap::new() }
    }

    /// The pixels beyond the limit, and the largest net impulse among them.
    pub(super) fn over(&self) -> (Mask, f64) {
        let most_vs = self.over.values().map(|(_, most_vs)| *most_vs).fold(0.0, f64::max);
        (Mask::from_sorted(self.over.iter().map(|(tile, (over, _))| (*tile, *over))), most_vs)
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
        let over = bits(whole).filter(|bit| net_vs[*bit as usize].abs() > self.limit_vs);
        let (over, most_vs) =
            over.fold((0, 0.0_f64), |(over, most_vs), bit| (over | 1 << bit, most_vs.max(net_vs[bit as usize].abs())));
        if over == 0 {
            self.over.remove(&tile);
        } else {
            self.over.insert(tile, (over, most_vs));
        }
    }
}
