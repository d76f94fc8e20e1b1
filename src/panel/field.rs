//! A value a pixel, held a tile at a time: one value where a whole tile agrees, 64 where it does not.

/// A value for every pixel of a panel.
#[derive(Clone, Debug)]
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

    /// All values of a tile whose pixels do not agree.
    pub(crate) fn various(&self, tile: u32) -> Option<&[T; 64]> {
        let slot = self.slot[tile as usize];
        (slot != UNIFORM).then(|| &self.slab[slot as usize])
    }

    /// The value of a pixel.
    pub(crate) fn get(&self, tile: u32, bit: u32) -> T {
        match self.slot[tile as usize] {
            UNIFORM => self.uniform[tile as usize],
            slot => self.slab[slot as usize][bit as usize],
        }
    }

    /// The values of all pixels of a tile.
    pub(crate) fn values(&self, tile: u32) -> [T; 64] {
        match self.slot[tile as usize] {
            UNIFORM => [self.uniform[tile as usize]; 64],
            slot => self.slab[slot as usize],
        }
    }

    /// Gives the pixels of a tile these values; those outside `whole` do not count.
    pub(crate) fn set(&mut self, tile: u32, values: &[T; 64], whole: u64) {
        match common(values, whole) {
            Some(value) => self.set_uniform(tile, value),
            None => *self.edit(tile) = *values,
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

    /// The values of a tile, to be changed in place. Call [`TileField::settle`] where they may have come to agree.
    pub(crate) fn edit(&mut self, tile: u32) -> &mut [T; 64] {
        let at = tile as usize;
        if self.slot[at] == UNIFORM {
            let value = self.uniform[at];
            self.slot[at] = if let Some(slot) = self.free.pop() {
                self.slab[slot as usize] = [value; 64];
                slot
            } else {
                self.slab.push([value; 64]);
                (self.slab.len() - 1) as u32
            };
        }
        &mut self.slab[self.slot[at] as usize]
    }

    /// Gives back the room of a tile whose pixels in `whole` all have the same value.
    pub(crate) fn settle(&mut self, tile: u32, whole: u64) {
        let slot = self.slot[tile as usize];
        if slot == UNIFORM {
            return;
        }
        if let Some(value) = common(&self.slab[slot as usize], whole) {
            self.set_uniform(tile, value);
        }
    }
}

/// The value that all pixels in `whole` have, where they agree.
fn common<T: Copy + PartialEq>(values: &[T; 64], whole: u64) -> Option<T> {
    let first = values[whole.trailing_zeros() as usize];
    let agree = if whole == u64::MAX {
        // Counting, unlike stopping at the first that differs, is done for many pixels at a time.
        values.iter().filter(|value| **value != first).count() == 0
    } else {
        values.iter().enumerate().all(|(bit, value)| whole >> bit & 1 == 0 || *value == first)
    };
    agree.then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tile_that_agrees_again_takes_no_room() {
        let mut field = TileField::new(3, 0.0);
        field.edit(1)[5] = 1.5;
        field.settle(1, u64::MAX);
        assert_eq!((field.uniform(1), field.get(1, 5), field.get(1, 6)), (None, 1.5, 0.0));
        // Outside the mask the value does not count.
        field.settle(1, !(1 << 5));
        assert_eq!((field.uniform(1), field.free.len()), (Some(0.0), 1));
        field.edit(2)[0] = 2.5;
        assert_eq!((field.get(2, 0), field.get(2, 1), field.slab.len()), (2.5, 0.0, 1));
    }
}
