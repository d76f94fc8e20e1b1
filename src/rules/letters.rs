//! The letters of a screen's texts, pixel by pixel: which pixels the drawing covers by half or more, and how many of them have
//! which level.
//!
//! Looks at pictures alone, each once; knows no panel state and no limits.

use std::collections::HashMap;

use crate::{
    change::{Mask, TileCover, TileGrid, bits},
    display::{Ink, Level, ink::MOST_LEVELS},
    geometry::Rect,
    screen::{DrawnText, Picture},
};

/// Where letters cover most of their box, another colour that has this share of it is taken for the ground.
const GROUND_SHARE: f64 = 0.2;
/// Colours closer than this in every channel are no letters on a ground: nothing was drawn that could be lost.
const LEAST_CONTRAST: u8 = 8;

/// How many pixels have each level.
pub(super) type Counts = [u32; MOST_LEVELS];

/// The letters of a text, and the ground in their box.
#[derive(Clone, Debug)]
pub(super) struct Letters {
    /// The text's place in the list of the picture.
    pub(super) text: usize,
    /// The size of its face, whole px.
    pub(super) size_px: u32,
    /// The pixels that the drawing covers by half or more.
    pub(super) ink: Mask,
    /// Their levels, and those of the rest of the box.
    pub(super) levels: Levels,
}

/// The levels of a text's letters and of its ground.
#[derive(Clone, Copy, Debug)]
pub(super) struct Levels {
    pub(super) ink: Counts,
    pub(super) ground: Counts,
}

impl Levels {
    /// A pixel has another level.
    pub(super) fn change(&mut self, is_ink: bool, from: Level, to: Level) {
        let counts = if is_ink { &mut self.ink } else { &mut self.ground };
        counts[usize::from(from)] -= 1;
        counts[usize::from(to)] += 1;
    }

    /// The level of most of the ground.
    pub(super) fn of_ground(&self) -> Level {
        most(&self.ground)
    }

    /// The level of most of the letters' pixels.
    pub(super) fn of_ink(&self) -> Level {
        most(&self.ink)
    }

    /// The share of the letters' pixels that stand out from the ground by at least so much (L*, or CIEDE2000 of colours).
    pub(super) fn share_apart(&self, least: f64, ink: &Ink) -> f64 {
        let ground = self.of_ground();
        let all: u32 = self.ink.iter().sum();
        let stands_out = |(level, _): &(usize, &u32)| ink.apart(*level as Level, ground) >= least;
        let seen = self.ink.iter().enumerate().filter(|(_, pixels)| **pixels > 0).filter(stands_out);
        f64::from(seen.map(|(_, pixels)| *pixels).sum::<u32>()) / f64::from(all.max(1))
    }
}

fn most(counts: &Counts) -> Level {
    let levels = counts.iter().enumerate().rev();
    levels.max_by_key(|(_, pixels)| **pixels).map_or(0, |(level, _)| level as Level)
}

/// The letters of a picture's texts; of those alone that have one colour, and that were drawn in another than their ground.
pub(super) fn letters_of(picture: &Picture, grid: &TileGrid, table: &[Level; 256]) -> Vec<Letters> {
    let of_text = |(at, text): (usize, &DrawnText)| letters(at, text, picture, grid, table);
    picture.texts.iter().enumerate().filter_map(of_text).collect()
}

fn letters(at: usize, text: &DrawnText, picture: &Picture, grid: &TileGrid, table: &[Level; 256]) -> Option<Letters> {
    let [ground, paint] = colours(text, picture)?;
    let mut levels = Levels { ink: [0; MOST_LEVELS], ground: [0; MOST_LEVELS] };
    let mut tiles: Vec<(u32, u64)> = Vec::new();
    for Run { x, y, width, colour } in runs(text.rect, picture) {
        let level = usize::from(table[usize::from(picture.shade(x, y))]);
        if !is_covered(colour, ground, paint) {
            levels.ground[level] += width;
            continue;
        }
        levels.ink[level] += width;
        for (tile, bit) in (x..x + width).map(|x| grid.locate(x, y)) {
            match tiles.last_mut() {
                Some((last, pixels)) if *last == tile => *pixels |= bit,
                _ => tiles.push((tile, bit)),
            }
        }
    }
    let ink = Mask::from_unsorted(tiles);
    (!ink.is_empty()).then_some(Letters { text: at, size_px: text.size_px.round() as u32, ink, levels })
}

/// Pixels of one colour, side by side in a row.
#[derive(Clone, Copy)]
struct Run {
    x: u32,
    y: u32,
    width: u32,
    colour: [u8; 3],
}

/// The runs of a box: most pixels are as the one before.
fn runs(rect: Rect, picture: &Picture) -> impl Iterator<Item = Run> {
    let (mut x, mut y) = (rect.x, rect.y);
    std::iter::from_fn(move || {
        if x == rect.right() {
            (x, y) = (rect.x, y + 1);
        }
        if y == rect.bottom() {
            return None;
        }
        let (from, colour) = (x, picture.drawn(x, y));
        while x < rect.right() && picture.drawn(x, y) == colour {
            x += 1;
        }
        Some(Run { x: from, y, width: x - from, colour })
    })
}

/// The colour of a text's ground and that of its letters on it, as they were drawn.
fn colours(text: &DrawnText, picture: &Picture) -> Option<[[u8; 3]; 2]> {
    let paint = text.paint.or(text.outline)?;
    let mut counts: HashMap<[u8; 3], u64> = HashMap::new();
    for run in runs(text.rect, picture) {
        *counts.entry(run.colour).or_default() += u64::from(run.width);
    }
    let mut counts: Vec<([u8; 3], u64)> = counts.into_iter().collect();
    counts.sort_by_key(|(colour, count)| (std::cmp::Reverse(*count), *colour));
    let least = (GROUND_SHARE * text.rect.pixels() as f64) as u64;
    let differs = |ground: [u8; 3]| {
        paint.over(ground).iter().zip(ground).any(|(one, other)| one.abs_diff(other) >= LEAST_CONTRAST)
    };
    let grounds = counts.iter().enumerate().filter(|(at, (_, count))| *at == 0 || *count >= least);
    let ground = grounds.map(|(_, (colour, _))| *colour).find(|colour| differs(*colour))?;
    Some([ground, paint.over(ground)])
}

/// Whether a colour is at least half of the way from the ground to the paint: drawing programs blend encoded values.
fn is_covered(colour: [u8; 3], ground: [u8; 3], paint: [u8; 3]) -> bool {
    let way: [i32; 3] = std::array::from_fn(|channel| i32::from(paint[channel]) - i32::from(ground[channel]));
    let gone = (0..3).map(|channel| (i32::from(colour[channel]) - i32::from(ground[channel])) * way[channel]);
    2 * gone.sum::<i32>() >= way.iter().map(|channel| channel * channel).sum::<i32>()
}

/// The tiles that the texts' boxes touch, rising, each with the number of a text's letters and its pixels of the box.
pub(super) fn by_tile(letters: &[Letters], picture: &Picture, grid: &TileGrid) -> Vec<(u32, usize, u64)> {
    let mut found = Vec::new();
    for (at, letters) in letters.iter().enumerate() {
        let rect = picture.texts[letters.text].rect;
        TileCover::new(*grid, &[rect]).for_each_tile(|tile, covered| found.push((tile, at, covered)));
    }
    found.sort_unstable_by_key(|(tile, at, _)| (*tile, *at));
    found
}

/// The bits of a word, each with whether it is of the letters.
pub(super) fn with_ink(pixels: u64, ink: u64) -> impl Iterator<Item = (u32, bool)> {
    bits(pixels).map(move |bit| (bit, ink >> bit & 1 == 1))
}
