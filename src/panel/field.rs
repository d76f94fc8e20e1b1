//! A value a pixel, held a tile at a time: one value where a whole tile agrees, 64 where it does not.

/// A value for every pixel of a panel.
#[derive(Debug)]
pub(crate) struct TileField<T> {
    /// The value of each tile that has the same everywhere.
    uniform: Vec<T>,
    /// Where the 64 values of a tile are, else [`UNIFORM`].
    slot: Vec<u32>,
    slab: Vec<[T; 64]>,
    free: Vec<u32>,
}

const UNIFORM: u32 = u32::MAX;

impl<T: Copy + PartialEq> TileField<T> {
    /// The same value everywhere.
    pub(crate) fn new(tiles: usize, value: T) -> Self {
        Self { uniform: vec![value; tiles], slot: vec![UNIFORM; tiles], slab: Vec::new(), free: Vec::new() }
    }

    /// The value of a tile, where all its pixels have the same.
    pub(crate) fn uniform(&self, tile: u32) -> Option<T> {
        (self.slot[tile as usize] == UNIFORM).then(|| self.uniform[tile as usize])
    }

    /// The values of a tile.
    pub(crate) fn values(&self, tile: u32) -> [T; 64] {
        match self.slot[tile as usize] {
            UNIFORM => [self.uniform[tile as usize]; 64],
            slot => self.slab[slot as usize],
        }
    }

    /// The value of a pixel.
    pub(crate) fn get(&self, tile: u32, bit: u32) -> T {
        match self.slot[tile as usize] {
            UNIFORM => self.uniform[tile as usize],
            slot => self.slab[slot as usize][bit as usize],
        }
    }

    /// Gives a whole tile one value.
    pub(crate) fn set_uniform(&mut self, tile: u32, value: T) {
        let slot = std::mem::replace(&mut self.slot[tile as usize], UNIFORM);
        if slot != UNIFORM {
            self.free.push(slot);
        }
        self.uniform[tile as usize] = value;
    }

    /// Stores the values of a tile; those of pixels outside `whole` do not matter.
    pub(crate) fn store(&mut self, tile: u32, values: &[T; 64], whole: u64) {
        let first = values[whole.trailing_zeros() as usize];
        let same = values.iter().enumerate().all(|(bit, value)| whole >> bit & 1 == 0 || *value == first);
        if same {
            self.set_uniform(tile, first);
            return;
        }
        if self.slot[tile as usize] == UNIFORM {
            let slot = self.free.pop().unwrap_or_else(|| {
                self.slab.push([first; 64]);
                (self.slab.len() - 1) as u32
            });
            self.slot[tile as usize] = slot;
        }
        self.slab[self.slot[tile as usize] as usize] = *values;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tile_that_agrees_again_takes_no_room() {
        let mut field = TileField::new(3, 0.0);
        let mut values = [0.0; 64];
        values[5] = 1.5;
        field.store(1, &values, u64::MAX);
        assert_eq!((field.uniform(1), field.get(1, 5), field.get(1, 6)), (None, 1.5, 0.0));
        // Outside the mask the value does not count.
        field.store(1, &values, !(1 << 5));
        assert_eq!((field.uniform(1), field.free.len()), (Some(0.0), 1));
        field.store(2, &values, u64::MAX);
        assert_eq!((field.values(2), field.slab.len()), (values, 1));
    }
}
