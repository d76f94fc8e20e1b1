//! Decoded screens, kept from one round of `--watch` to the next.
//!
//! A picture is found by the content of its file and everything else that it is made from.

use crate::{
    recently_used::{Key, RecentlyUsed},
    screen::Picture,
};

/// The most that the pictures of late take, in bytes of pixels.
const LARGEST: usize = 96 << 20;

/// Decoded pictures, as many as there is room for: also those of plans that the last round did not review again.
#[derive(Debug)]
pub(crate) struct DecodedCache(RecentlyUsed<Picture>);

impl Default for DecodedCache {
    fn default() -> Self {
        Self(RecentlyUsed::new(LARGEST))
    }
}

impl DecodedCache {
    /// A picture that was made from the same content before.
    pub(crate) fn get(&self, key: &Key) -> Option<Picture> {
        self.0.get(key)
    }

    /// Keeps a picture, where there is room.
    pub(crate) fn put(&self, key: Key, picture: &Picture) {
        self.0.put(key, picture.clone(), picture.bytes());
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
