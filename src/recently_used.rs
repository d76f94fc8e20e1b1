//! Values that are made at some cost and may be wanted again, as many as there is room for. Each is found by a hash of all that
//! it is made from, so it is never outdated. Knows nothing of the values.

use std::{
    collections::HashMap,
    mem,
    sync::{Mutex, MutexGuard, PoisonError},
};

/// A hash of all that a value is made from.
pub(crate) type Key = [u8; blake3::OUT_LEN];

/// Values of late.
#[derive(Debug)]
pub(crate) struct RecentlyUsed<V> {
    kept: Mutex<Kept<V>>,
    largest: usize,
}

#[derive(Debug)]
struct Kept<V> {
    /// With the bytes that each takes.
    before: HashMap<Key, (V, usize)>,
    now: HashMap<Key, (V, usize)>,
    /// What those of now take together.
    bytes: usize,
}

impl<V: Clone> RecentlyUsed<V> {
    /// None yet. When those of late take so many bytes, those that were not used since the last time are dropped.
    pub(crate) fn new(largest: usize) -> Self {
        let kept = Kept { before: HashMap::new(), now: HashMap::new(), bytes: 0 };
        Self { kept: Mutex::new(kept), largest }
    }

    /// The value that was made from the same before.
    pub(crate) fn get(&self, key: &Key) -> Option<V> {
        let mut kept = self.kept();
        if let Some((value, _)) = kept.now.get(key) {
            return Some(value.clone());
        }
        let (value, bytes) = kept.before.remove(key)?;
        kept.add(*key, (value.clone(), bytes), self.largest);
        Some(value)
    }

    /// Keeps a value that takes so many bytes, where there is room.
    pub(crate) fn put(&self, key: Key, value: V, bytes: usize) {
        self.kept().add(key, (value, bytes), self.largest);
    }

    fn kept(&self) -> MutexGuard<'_, Kept<V>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<V> Kept<V> {
    fn add(&mut self, key: Key, (value, bytes): (V, usize), largest: usize) {
        if self.bytes + bytes > largest {
            (self.before, self.bytes) = (mem::take(&mut self.now), 0);
        }
        if bytes <= largest && self.now.insert(key, (value, bytes)).is_none() {
            self.bytes += bytes;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_not_used_of_late_is_dropped_where_there_is_no_room() {
        let recent = RecentlyUsed::new(8);
        for number in 0..3 {
            recent.put([number; 32], number, 4);
        }
        {
            let kept = recent.kept();
            assert!(
                kept.before.contains_key(&[0; 32])
                    && kept.before.contains_key(&[1; 32])
                    && kept.now.contains_key(&[2; 32])
            );
        }
        recent.put([3; 32], 3, 4);
        recent.put([4; 32], 4, 4);
        {
            let kept = recent.kept();
            assert!(!kept.before.contains_key(&[0; 32]) && kept.before.contains_key(&[3; 32]));
            assert_eq!(kept.bytes, 4);
        }
        assert_eq!(recent.get(&[3; 32]), Some(3), "what is used again stays");
        assert_eq!(recent.kept().bytes, 8);
        recent.put([5; 32], 5, 9);
        assert_eq!(recent.get(&[5; 32]), None, "for this there is never room");
    }
}
