//! A value a pixel, held a tile at a time: one value where a whole tile agrees, 64 where it does not.

use std::rc::Rc;

use super::chunks::Chunked;

/// A value for every pixel of a panel. Copies share what they have in common.
#[derive(Clone, Debug)]
pub(crate) struct TileField<T> {
    tiles: Chunked<Held<T>>,
}

#[derive(Clone, Debug)]
enum Held<T> {
    /// All pixels of the tile have the same.
    Uniform(T),
    Various(Rc<[T; 64]>),
}

impl<T: Copy + PartialEq> TileField<T> {
    /// The same value everywhere.
    pub(crate) fn new(tiles: usize, value: T) -> Self {
        Self { tiles: Chunked::new(tiles, Held::Uniform(value)) }
    }

    /// The value of a tile, where all its pixels have the same.
    pub(crate) fn uniform(&self, tile: u32) -> Option<T> {
        match &self.tiles[tile as usize] {
            Held::Uniform(value) => Some(*value),
            Held::Various(_) => None,
        }
    }

    /// All values of a tile whose pixels do not agree.
    pub(crate) fn various(&self, tile: u32) -> Option<&[T; 64]> {
        match &self.tiles[tile as usize] {
            Held::Uniform(_) => None,
            Held::Various(values) => Some(values),
        }
    }

    /// The value of a pixel.
    pub(crate) fn get(&self, tile: u32, bit: u32) -> T {
        match &self.tiles[tile as usize] {
            Held::Uniform(value) => *value,
            Held::Various(values) => values[bit as usize],
        }
    }

    /// The values of all pixels of a tile.
    pub(crate) fn values(&self, tile: u32) -> [T; 64] {
        match &self.tiles[tile as usize] {
            Held::Uniform(value) => [*value; 64],
            Held::Various(values) => **values,
        }
    }

    /// Gives the pixels of a tile these values; those outside `whole` do not count.
    pub(crate) fn set(&mut self, tile: u32, values: &[T; 64], whole: u64) {
        let held = &mut self.tiles[tile as usize];
        match common(values, whole) {
            Some(value) => *held = Held::Uniform(value),
            None => {
                // The room of a tile is used again where no copy shares it.
                if let Held::Various(known) = held
                    && let Some(known) = Rc::get_mut(known)
                {
                    *known = *values;
                } else {
                    *held = Held::Various(Rc::new(*values));
                }
            }
        }
    }

    /// Gives a whole tile one value.
    pub(crate) fn set_uniform(&mut self, tile: u32, value: T) {
        self.tiles[tile as usize] = Held::Uniform(value);
    }

    /// The values of a tile, to be changed in place. Call [`TileField::settle`] where they may have come to agree.
    pub(crate) fn edit(&mut self, tile: u32) -> &mut [T; 64] {
        let held = &mut self.tiles[tile as usize];
        if let Held::Uniform(value) = held {
            *held = Held::Various(Rc::new([*value; 64]));
        }
        match held {
            Held::Various(values) => Rc::make_mut(values),
            Held::Uniform(_) => unreachable!("it has just been spread out"),
        }
    }

    /// Gives back the room of a tile whose pixels in `whole` all have the same value.
    pub(crate) fn settle(&mut self, tile: u32, whole: u64) {
        if let Some(value) = self.various(tile).and_then(|values| common(values, whole)) {
            self.set_uniform(tile, value);
        }
    }
}

/// The value that all pixels in `whole` have, where they agree.
fn common<T: Copy + PartialEq>(values: &[T; 64], whole: u64) -> Option<T> {
    let first = values[whole.trailing_zeros() as usize];
    if whole == u64::MAX && (values[63] != first || values[28] != first) {
        return None;
    }
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
        assert_eq!((field.uniform(1), field.various(1)), (Some(0.0), None));
        let copy = field.clone();
        field.edit(2)[0] = 2.5;
        assert_eq!((field.get(2, 0), field.get(2, 1), copy.get(2, 0)), (2.5, 0.0, 0.0));
    }
}
