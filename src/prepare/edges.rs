//! Which pixels are edges and lines, that must stay crisp, and which are surfaces and tones.
//!
//! A pixel of a *surface* lies in some block of 3 x 3 px of one colour. Any other pixel is an *edge* where the 5 x 5 px around
//! it are of two tones far apart: see [`settle`]. The figures are common practice, no source.

use std::collections::BTreeMap;

use super::{drawn::Drawn, tones::Tones};
use crate::{
    display::Level,
    screen::DrawnText,
    units::{grey_of_rgb, level_of_grey},
};

/// How far the darkest and the lightest of the pixels around an edge lie apart at least, 8-bit counts of some channel.
const CONTRAST: u8 = 64;
/// Which part of the way between the two, from either end, still counts as one of the two tones.
const NEAR_AN_END: u32 = 16;

/// What became of a pixel before any tone is shaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Settled {
    /// It takes this level, whatever its neighbours do.
    Level(Level),
    /// It is shaded as the tone of this colour.
    Tone(u32),
}

/// Settles every pixel of a picture.
///
/// A surface or an edge in a colour that stands for a level takes that level. Any other edge, on grey ink, takes the level
/// nearest to it as a review reads it, unless the tone of a surface is nearer that is the darkest or the lightest of its
/// surroundings: then it goes with that surface. On a palette it takes the nearer of the darkest and the lightest colour, along
/// the channel in which they differ most: its level, else its tone where it is a surface, else the level nearest to it. The
/// letters of an SVG, of one opaque colour, take the level nearest to it, where their ground is nearest to another one. All
/// else is a tone.
pub(super) fn settle(drawn: &Drawn, tones: &Tones<'_>, texts: &[DrawnText]) -> Vec<Settled> {
    let surface = surfaces(drawn);
    let written = boxes(drawn, texts);
    let letters = letters(drawn, tones, texts);
    let settle = |at: usize| {
        let colour = drawn.of_pixel[at];
        if let Some(level) = letters[at] {
            return Settled::Level(level);
        }
        let around = || Some(Around::of(drawn, at)).filter(|around| around.is_edge(written[at]));
        let around = if surface[at] { None } else { around() };
        match (tones.stands_for(colour), around) {
            (Some(level), around) if surface[at] || around.is_some() => Settled::Level(level),
            (None, Some(around)) => edge(&around, drawn, tones, &surface, colour),
            _ => Settled::Tone(colour),
        }
    };
    (0..drawn.of_pixel.len()).map(settle).collect()
}

/// The pixels that lie in some block of 3 x 3 px of one colour.
fn surfaces(drawn: &Drawn) -> Vec<bool> {
    let (width, of_pixel) = (drawn.width, &drawn.of_pixel);
    let mut surface = vec![false; of_pixel.len()];
    for y in 0..drawn.height.saturating_sub(2) {
        for x in 0..width.saturating_sub(2) {
            let corner = y * width + x;
            let rows = [corner, corner + width, corner + 2 * width];
            if rows.iter().all(|row| of_pixel[*row..row + 3].iter().all(|colour| *colour == of_pixel[corner])) {
                for row in rows {
                    surface[row..row + 3].fill(true);
                }
            }
        }
    }
    surface
}

/// The pixels in the boxes of an SVG's texts.
fn boxes(drawn: &Drawn, texts: &[DrawnText]) -> Vec<bool> {
    let mut inside = vec![false; drawn.of_pixel.len()];
    for pixel in texts.iter().flat_map(|text| pixels_of(drawn, text)) {
        inside[pixel] = true;
    }
    inside
}

fn pixels_of(drawn: &Drawn, text: &DrawnText) -> impl Iterator<Item = usize> {
    let (rect, width) = (text.rect, drawn.width);
    (rect.y..rect.bottom()).flat_map(move |y| (rect.x..rect.right()).map(move |x| y as usize * width + x as usize))
}

/// The levels of the insides of letters: holes in them, which a tone would have, are harder to read than another shade.
fn letters(drawn: &Drawn, tones: &Tones<'_>, texts: &[DrawnText]) -> Vec<Option<Level>> {
    let mut inside = vec![None; drawn.of_pixel.len()];
    for text in texts {
        let Some(paint) = text.paint.filter(|paint| paint.opacity >= 1.0) else { continue };
        let mut counts: BTreeMap<u32, usize> = BTreeMap::new();
        pixels_of(drawn, text).for_each(|pixel| *counts.entry(drawn.of_pixel[pixel]).or_default() += 1);
        let Some(own) = counts.keys().copied().find(|colour| is_drawn_as(drawn.colour(*colour), paint.srgb, tones))
        else {
            continue;
        };
        // What most of the box is filled with beside the letters.
        let ground = counts.iter().filter(|(colour, _)| **colour != own).max_by_key(|(_, count)| **count);
        let level = nearest_level(drawn, tones, own);
        if ground.is_some_and(|(ground, _)| nearest_level(drawn, tones, *ground) != level) {
            for pixel in pixels_of(drawn, text).filter(|pixel| drawn.of_pixel[*pixel] == own) {
                inside[pixel] = Some(level);
            }
        }
    }
    inside
}

/// Whether a colour of the picture, on grey ink a grey, is that of a paint.
fn is_drawn_as(colour: [u8; 3], [red, green, blue]: [u8; 3], tones: &Tones<'_>) -> bool {
    let paint = if tones.ink.colours().is_some() { [red, green, blue] } else { [grey_of_rgb(red, green, blue); 3] };
    colour == paint
}

/// The level nearest to a colour, as a review reads it.
fn nearest_level(drawn: &Drawn, tones: &Tones<'_>, colour: u32) -> Level {
    let (ink, srgb) = (tones.ink, drawn.colour(colour));
    ink.nearest_colour(srgb).map_or_else(|| level_of_grey(srgb[0], ink.levels() as u8), |(level, _)| level)
}

/// The 5 x 5 px around a pixel, as far as they are on the screen.
struct Around {
    pixels: Vec<usize>,
    /// The channel in which they differ most, and the colours that are darkest and lightest in it.
    channel: usize,
    ends: [u32; 2],
    /// By how much these differ in it, 8-bit counts.
    contrast: u8,
    /// How many pixels are near one of the two.
    near_an_end: usize,
}

impl Around {
    fn of(drawn: &Drawn, at: usize) -> Self {
        let (x, y) = (at % drawn.width, at / drawn.width);
        let columns = x.saturating_sub(2)..(x + 3).min(drawn.width);
        let rows = y.saturating_sub(2)..(y + 3).min(drawn.height);
        let pixels: Vec<usize> = rows.flat_map(|y| columns.clone().map(move |x| y * drawn.width + x)).collect();
        let sample = |pixel: usize, channel: usize| drawn.colour(drawn.of_pixel[pixel])[channel];
        let ends = |channel: usize| {
            let by_sample = |pixel: &&usize| sample(**pixel, channel);
            let (least, most) = (pixels.iter().min_by_key(by_sample), pixels.iter().max_by_key(by_sample));
            [least, most].map(|end| *end.unwrap_or(&at))
        };
        let spread = |channel: usize| {
            let [least, most] = ends(channel);
            sample(most, channel) - sample(least, channel)
        };
        // Of channels that differ alike the first: `max_by_key` would take the last.
        let channel = (0..3).rev().max_by_key(|channel| spread(*channel)).unwrap_or(0);
        let [first, last] = ends(channel);
        let (least, most) = (sample(first, channel), sample(last, channel));
        let near = |pixel: &&usize| {
            let sample = sample(**pixel, channel);
            u32::from((sample - least).min(most - sample)) * NEAR_AN_END <= u32::from(most - least)
        };
        let near_an_end = pixels.iter().filter(near).count();
        let ends = [first, last].map(|pixel| drawn.of_pixel[pixel]);
        Self { pixels, channel, ends, contrast: most - least, near_an_end }
    }

    /// Whether the pixels are of two tones far apart; among letters far apart is enough.
    fn is_edge(&self, is_text: bool) -> bool {
        self.contrast >= CONTRAST && (is_text || 2 * self.near_an_end >= self.pixels.len())
    }
}

fn edge(around: &Around, drawn: &Drawn, tones: &Tones<'_>, surface: &[bool], colour: u32) -> Settled {
    let (ink, own) = (tones.ink, drawn.colour(colour)[around.channel]);
    let is_palette = ink.colours().is_some();
    let is_surface = |end: u32| around.pixels.iter().any(|pixel| surface[*pixel] && drawn.of_pixel[*pixel] == end);
    let far = |end: u32| drawn.colour(end)[around.channel].abs_diff(own);
    let end = around.ends.into_iter().filter(|end| is_palette || is_surface(*end)).min_by_key(|end| far(*end));
    let level = nearest_level(drawn, tones, colour);
    // Between two colours a palette has no levels; of greys the nearest may be nearer than either tone.
    let Some(end) = end.filter(|end| is_palette || far(*end) < ink.shade(level).abs_diff(own)) else {
        return Settled::Level(level);
    };
    match tones.stands_for(end) {
        Some(level) => Settled::Level(level),
        None if is_surface(end) => Settled::Tone(end),
        None => Settled::Level(nearest_level(drawn, tones, end)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        display::Ink,
        geometry::Size,
        screen::{Faces, Picture, draw_svg},
    };

    /// Settles a grid of characters, a hexadecimal digit d the shade 17 d, and shows what became of it: a level as `b` or
    /// `w`, a tone as its digit.
    fn settled(grid: &str) -> String {
        let rows: Vec<&str> = grid.lines().collect();
        let size = Size { width: rows[0].len() as u32, height: rows.len() as u32 };
        let shades = rows.concat().chars().map(|digit| 17 * digit.to_digit(16).unwrap() as u8).collect();
        let drawn = Drawn::of(&Picture::from_shades(size, shades));
        let ink = Ink::grey_between(2, 0.04, 0.44);
        let tones = Tones::of(&drawn, &ink);
        let settled = settle(&drawn, &tones, &[]);
        let character = |pixel: &Settled| match pixel {
            Settled::Level(level) => ['b', 'w'][usize::from(*level)],
            Settled::Tone(colour) => char::from_digit(u32::from(drawn.colour(*colour)[0] / 17), 16).unwrap(),
        };
        let rows = settled.chunks(rows[0].len()).map(|row| row.iter().map(character).collect::<String>());
        rows.collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn a_soft_edge_between_black_and_white_falls_to_the_nearer_side() {
        let grid = ["000055ffff", "000055ffff", "00009affff", "0000d2ffff"].join("\n");
        // 0x55 is nearer to black, 0x99, 0xaa and 0xdd to white, 0x22 to black.
        assert_eq!(settled(&grid), "bbbbbbwwww\nbbbbbbwwww\nbbbbwwwwww\nbbbbwbwwww");
    }

    #[test]
    fn a_soft_edge_of_a_tint_goes_with_the_tint() {
        // Between the tint 0x77 and white 0xbb is the middle: it falls to the level.
        let grid = ["7777cffff", "7777bffff", "7777affff", "77779ffff"].join("\n");
        assert_eq!(settled(&grid), "7777wwwww\n7777wwwww\n77777wwww\n77777wwww");
    }

    #[test]
    fn a_line_in_a_tint_is_solid_and_not_dotted() {
        let grid = ["fff7fff"; 5].join("\n");
        assert_eq!(settled(&grid), ["wwwbwww"; 5].join("\n"));
    }

    /// Bold letters of a dark grey are black to the core on two levels; the surface beside them, of the same grey, is a tone,
    /// and letters that would vanish in their ground stay one.
    #[test]
    fn letters_have_no_holes() {
        let svg = |ground: &str| {
            format!(
                "<svg xmlns='http://www.w3.org/2000/svg' width='80' height='48'><rect width='80' height='48' fill='{ground}'/>\
                 <rect x='60' y='4' width='16' height='16' fill='#555555'/>\
                 <text x='4' y='40' font-size='48' fill='#555555' stroke='#555555' stroke-width='6'>I</text></svg>"
            )
        };
        let ink = Ink::grey_between(2, 0.04, 0.44);
        let faces = Faces::new(Vec::new()).unwrap();
        let tone_in = |ground: &str| {
            let size = Size { width: 80, height: 48 };
            let none = |_: &str| Err(String::new());
            let picture = draw_svg(svg(ground).as_bytes(), size, &ink, &faces, &none, Vec::new()).unwrap();
            let drawn = Drawn::of(&picture);
            let settled = settle(&drawn, &Tones::of(&drawn, &ink), &picture.texts);
            let grey = |pixel: &Settled| matches!(pixel, Settled::Tone(colour) if drawn.colour(*colour)[0] == 0x55);
            let count = |columns: std::ops::Range<usize>| {
                settled.iter().enumerate().filter(|(at, pixel)| columns.contains(&(at % 80)) && grey(pixel)).count()
            };
            (count(0..50), count(50..80))
        };
        assert_eq!(tone_in("#ffffff"), (0, 256), "on white");
        let (letters, surface) = tone_in("#222222");
        assert!(letters > 100 && surface == 256, "on a ground that is black too: {letters}");
    }

    #[test]
    fn a_ramp_and_a_texture_are_tones() {
        let ramp = ["0123456789abcdef"; 5].join("\n");
        assert_eq!(settled(&ramp), ramp);
        let texture = ["49637a5", "a85b369", "5946a73", "7b38594", "63a7486"].join("\n");
        assert_eq!(settled(&texture), texture);
    }
}
