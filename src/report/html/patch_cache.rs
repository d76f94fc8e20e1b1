//! Packed patches that are kept from one page to the next, while somebody draws: most of them stay as they were, and packing
//! them takes longer than everything else. A patch is found by its pixels, so it is never outdated. Knows no plans.

use std::{
    collections::HashMap,
    mem,
    sync::{Mutex, PoisonError},
};

use crate::geometry::Size;

/// What a patch shows.
pub(super) type Key = [u8; blake3::OUT_LEN];

/// The key of some pixels with so many samples each.
pub(super) fn key(pixels: &[u8], size: Size, samples: usize) -> Key {
    let mut hasher = blake3::Hasher::new();
    for number in [size.width, size.height, samples as u32] {
        hasher.update(&number.to_le_bytes());
    }
    *hasher.update(pixels).finalize().as_bytes()
}

/// When the patches of late take so many bytes, those that were not used since the last time are dropped.
const LARGEST: usize = 32 << 20;

/// Packed patches, as many as there is room for.
#[derive(Debug, Default)]
pub struct PatchCache {
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    before: HashMap<Key, Vec<u8>>,
    now: HashMap<Key, Vec<u8>>,
    bytes: usize,
}

impl PatchCache {
    /// The packed patch, which is packed now if it was not before.
    pub(super) fn packed(&self, key: Key, pack: impl FnOnce() -> Result<Vec<u8>, String>) -> Result<Vec<u8>, String> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let known = match kept.now.get(&key) {
            Some(known) => Some(known.clone()),
            None => kept.before.remove(&key),
        };
        drop(kept);
        let packed = known.map_or_else(pack, Ok)?;
        self.kept.lock().unwrap_or_else(PoisonError::into_inner).add(key, &packed, LARGEST);
        Ok(packed)
    }
}

impl Kept {
    fn add(&mut self, key: Key, packed: &[u8], largest: usize) {
        if self.bytes + packed.len() > largest {
            (self.before, self.bytes) = (mem::take(&mut self.now), 0);
        }
        if self.now.insert(key, packed.to_owned()).is_none() {
            self.bytes += packed.len();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_packed_is_not_packed_again() {
        let cache = PatchCache::default();
        let size = Size { width: 2, height: 1 };
        let [one, other] = [&[0, 1], &[0, 2]].map(|pixels| key(pixels, size, 1));
        assert_ne!(one, other);
        assert_ne!(one, key(&[0, 1], Size { width: 1, height: 2 }, 1));
        for key in [one, other] {
            assert_eq!(cache.packed(key, || Ok(vec![key[0]])), Ok(vec![key[0]]));
        }
        assert_eq!(cache.packed(one, || Err("packed again".into())), Ok(vec![one[0]]));
    }

    #[test]
    fn what_was_not_used_of_late_is_dropped_where_there_is_no_room() {
        let mut kept = Kept::default();
        for number in 0..3 {
            kept.add([number; 32], &[number; 4], 8);
        }
        assert!(
            kept.before.contains_key(&[0; 32]) && kept.before.contains_key(&[1; 32]) && kept.now.contains_key(&[2; 32])
        );
        kept.add([3; 32], &[3; 4], 8);
        kept.add([4; 32], &[4; 4], 8);
        assert!(!kept.before.contains_key(&[0; 32]) && kept.before.contains_key(&[3; 32]));
        assert_eq!(kept.bytes, 4);
    }
}
