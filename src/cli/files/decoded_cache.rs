//! Decoded screens, kept from one round of `--watch` to the next.
//!
//! A picture is found by the content of its file and everything else that it is made from, so it is never outdated.

use std::{
    collections::BTreeMap,
    mem,
    sync::{Mutex, PoisonError},
};

use crate::screen::Picture;

/// The most that is kept, in bytes of pixels.
const LARGEST: usize = 192 << 20;

/// What a picture is made from.
pub(crate) type Key = [u8; blake3::OUT_LEN];

/// The pictures of this round and of the one before.
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
    /// Begins a round: pictures that the last round did not show are dropped.
    pub(crate) fn begin_run(&self) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.before = mem::take(&mut kept.now);
        kept.bytes = 0;
    }

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
        if self.bytes + size <= LARGEST {
            self.bytes += size;
            self.now.insert(key, picture);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    #[test]
    fn what_a_round_did_not_show_is_forgotten() {
        let cache = DecodedCache::default();
        let picture = Picture::from_shades(Size { width: 2, height: 1 }, vec![0, 255]);
        cache.put([1; 32], &picture);
        cache.put([2; 32], &picture);
        cache.begin_run();
        assert_eq!(cache.get(&[1; 32]), Some(picture));
        cache.begin_run();
        assert!(cache.get(&[1; 32]).is_some() && cache.get(&[2; 32]).is_none());
    }
}
