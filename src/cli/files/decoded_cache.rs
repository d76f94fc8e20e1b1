//! Decoded screens, kept from one round of `--watch` to the next.
//!
//! A picture is found by the content of its file and everything else that it is made from, so it is never outdated.

use std::{
    collections::BTreeMap,
    mem,
    sync::{Mutex, PoisonError},
};

use crate::screen::Picture;

/// When the pictures of late take so many bytes of pixels, those that were not used since the last time are dropped.
const LARGEST: usize = 96 << 20;

/// What a picture is made from.
pub(crate) type Key = [u8; blake3::OUT_LEN];

/// Decoded pictures, as many as there is room for: also those of plans that the last round did not review again.
#[derive(Debug, Default)]
pub(crate) struct DecodedCache {
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    before: BTreeMap<Key, Picture>,
    now: BTreeMap<Key, Picture>,
    bytes: usize,
}

impl DecodedCache {
    /// A picture that was made from the same content before.
    pub(crate) fn get(&self, key: &Key) -> Option<Picture> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(picture) = kept.now.get(key) {
            return Some(picture.clone());
        }
        let picture = kept.before.remove(key)?;
        kept.add(*key, picture.clone());
        Some(picture)
    }

    /// Keeps a picture, where there is room.
    pub(crate) fn put(&self, key: Key, picture: &Picture) {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner).add(key, picture.clone());
    }
}

impl Kept {
    fn add(&mut self, key: Key, picture: Picture) {
        let size = picture.bytes();
        if self.bytes + size > LARGEST {
            (self.before, self.bytes) = (mem::take(&mut self.now), 0);
        }
        if size <= LARGEST && self.now.insert(key, picture).is_none() {
            self.bytes += size;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    #[test]
    fn what_was_not_used_of_late_is_forgotten_where_there_is_no_room() {
        let cache = DecodedCache::default();
        let small = Picture::from_shades(Size { width: 2, height: 1 }, vec![0, 255]);
        cache.put([1; 32], &small);
        assert_eq!(cache.get(&[1; 32]), Some(small.clone()));
        // Each takes two thirds of the room.
        let size = Size { width: 8192, height: (LARGEST as u32 / 8192) * 2 / 3 };
        let large = Picture::from_shades(size, vec![0; size.pixels() as usize]);
        for number in 2..4 {
            cache.put([number; 32], &large);
        }
        assert!(cache.get(&[1; 32]).is_some(), "it was used before the last time that there was no room");
        cache.put([4; 32], &large);
        assert!(cache.get(&[2; 32]).is_none() && cache.get(&[4; 32]).is_some());
    }
}
