//! Packed patches that are kept from one page to the next, while somebody draws: most of them stay as they were, and packing
//! them takes longer than everything else. A patch is found by its pixels. Knows no plans.

use crate::{
    geometry::Size,
    recently_used::{Key, RecentlyUsed},
};

/// The key of some pixels with so many samples each.
pub(super) fn key(pixels: &[u8], size: Size, samples: usize) -> Key {
    let mut hasher = blake3::Hasher::new();
    for number in [size.width, size.height, samples as u32] {
        hasher.update(&number.to_le_bytes());
    }
    *hasher.update(pixels).finalize().as_bytes()
}

/// The most bytes that the patches of late take.
const LARGEST: usize = 32 << 20;

/// Packed patches, as many as there is room for.
#[derive(Debug)]
pub struct PatchCache(RecentlyUsed<Vec<u8>>);

impl Default for PatchCache {
    fn default() -> Self {
        Self(RecentlyUsed::new(LARGEST))
    }
}

impl PatchCache {
    /// The packed patch, which is packed now if it was not before.
    pub(super) fn packed(&self, key: Key, pack: impl FnOnce() -> Result<Vec<u8>, String>) -> Result<Vec<u8>, String> {
        if let Some(known) = self.0.get(&key) {
            return Ok(known);
        }
        let packed = pack()?;
        self.0.put(key, packed.clone(), packed.len());
        Ok(packed)
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
}
