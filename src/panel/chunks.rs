//! A list whose copies share what they have in common: a copy costs a pointer a chunk, and a change copies its chunk
//! alone. So a panel can be kept as it was, at the cost of what changes from then on.

use std::{
    ops::{Index, IndexMut},
    rc::Rc,
};

/// A list of values, one a tile.
#[derive(Clone, Debug)]
pub(crate) struct Chunked<T> {
    chunks: Vec<Rc<[T; CHUNK]>>,
}

/// A row of a small letter: what changes together lies together.
pub(super) const CHUNK: usize = 8;

impl<T: Clone> Chunked<T> {
    /// The same value so many times.
    pub(crate) fn new(length: usize, value: T) -> Self {
        let chunk = Rc::new(std::array::from_fn(|_| value.clone()));
        Self { chunks: vec![chunk; length.div_ceil(CHUNK)] }
    }

    /// These values; beyond them stands the last one again.
    pub(crate) fn from_values(values: &[T]) -> Self {
        let of_chunk = |chunk: &[T]| Rc::new(std::array::from_fn(|at| chunk[at.min(chunk.len() - 1)].clone()));
        Self { chunks: values.chunks(CHUNK).map(of_chunk).collect() }
    }
}

impl<T> Index<usize> for Chunked<T> {
    type Output = T;

    fn index(&self, at: usize) -> &T {
        &self.chunks[at / CHUNK][at % CHUNK]
    }
}

impl<T: Clone> IndexMut<usize> for Chunked<T> {
    fn index_mut(&mut self, at: usize) -> &mut T {
        &mut Rc::make_mut(&mut self.chunks[at / CHUNK])[at % CHUNK]
    }
}

impl<T: PartialEq> PartialEq for Chunked<T> {
    fn eq(&self, other: &Self) -> bool {
        let is_same = |(one, other): (&Rc<[T; CHUNK]>, &Rc<[T; CHUNK]>)| Rc::ptr_eq(one, other) || one == other;
        self.chunks.len() == other.chunks.len() && self.chunks.iter().zip(&other.chunks).all(is_same)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_copy_stays_as_it_was() {
        let mut list = Chunked::from_values(&(0..20).collect::<Vec<u32>>());
        let copy = list.clone();
        list[9] = 90;
        assert_eq!((list[9], copy[9], list[10], copy[19]), (90, 9, 10, 19));
        assert!(Rc::ptr_eq(&list.chunks[0], &copy.chunks[0]) && !Rc::ptr_eq(&list.chunks[1], &copy.chunks[1]));
        let mut same = Chunked::new(17, 'a');
        same[16] = 'b';
        assert_eq!((same[0], same[15], same[16]), ('a', 'a', 'b'));
    }
}
