//! Which pixels are edges and lines, that must stay crisp, and which are surfaces and tones.
//!
//! A pixel of a *surface* lies in some block of 3 x 3 px of one colour. Any other pixel is an *edge* where the 5 x 5 px around
//! it are of two tones far apart: see [`settle`]. The figures are common practice, no source.

use super::{Drawn, tones::Tones};
use crate::{display::Level, screen::DrawnText};

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
/// A surface or an edge in a colour that stands for a level takes that level. Any other edge takes the nearest of these, along
/// the channel in which its surroundings differ most: their darkest and their lightest tone and, on grey ink, the levels
/// between; of two as near the level. Where that is no level it goes with the surface of that tone, if there is one; else it
/// takes the level nearest to it, as a review reads it. All else is a tone.
pub(super) fn settle(drawn: &Drawn, tones: &Tones<'_>, texts: &[DrawnText]) -> Vec<Settled> {
    let surface = surfaces(drawn);
    let written = boxes(drawn, texts);
    let settle = |at: usize| {
        let colour = drawn.of_pixel[at];
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
                rows.iter().for_each(|row| surface[*row..row + 3].fill(true));
            }
        }
    }
    surface
}

/// The pixels in the boxes of an SVG's texts.
fn boxes(drawn: &Drawn, texts: &[DrawnText]) -> Vec<bool> {
    let mut inside = vec![false; drawn.of_pixel.len()];
    for rect in texts.iter().map(|text| text.rect) {
        for y in rect.y..rect.bottom() {
            inside[y as usize * drawn.width..][rect.x as usize..rect.right() as usize].fill(true);
        }
    }
    inside
}

/// The 5 x 5 px around a pixel, as far as they are on the screen.
struct Around {
    pixels: Vec<usize>,
    /// The channel in which they differ most, and the colours that are darkest and lightest in it.
    channel: usize,
    ends: [u32; 2],
    /// Their samples in that channel.
    least: u8,
    most: u8,
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
        Self { pixels, channel, ends, least, most, near_an_end }
    }

    /// Whether the pixels are of two tones far apart; among letters far apart is enough.
    fn is_edge(&self, is_text: bool) -> bool {
        self.most - self.least >= CONTRAST && (is_text || 2 * self.near_an_end >= self.pixels.len())
    }
}

fn edge(around: &Around, drawn: &Drawn, tones: &Tones<'_>, surface: &[bool], colour: u32) -> Settled {
    let (ink, own) = (tones.ink, drawn.colour(colour)[around.channel]);
    // How a level's shade does, where it lies between the two tones.
    let level = |level: Level| (ink.shade(level).abs_diff(own), level);
    let between = ink.all().iter().filter(|one| (around.least..=around.most).contains(&ink.shade(*one)));
    let level = if ink.colours().is_none() { between.map(level).min() } else { None };
    let tone = |end: u32| (drawn.colour(end)[around.channel].abs_diff(own), end);
    let [darker, lighter] = around.ends.map(tone);
    let nearest = if lighter.0 < darker.0 { lighter } else { darker };
    if let Some((_, level)) = level.filter(|(far, _)| *far <= nearest.0) {
        return Settled::Level(level);
    }
    let (_, end) = nearest;
    if let Some(level) = tones.stands_for(end) {
        return Settled::Level(level);
    }
    if around.pixels.iter().any(|pixel| surface[*pixel] && drawn.of_pixel[*pixel] == end) {
        return Settled::Tone(end);
    }
    let srgb = drawn.colour(end);
    Settled::Level(ink.nearest_colour(srgb).map_or(ink.level_table()[usize::from(srgb[0])], |(level, _)| level))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{display::Ink, geometry::Size, screen::Picture};

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

    #[test]
    fn a_ramp_and_a_texture_are_tones() {
        let ramp = ["0123456789abcdef"; 5].join("\n");
        assert_eq!(settled(&ramp), ramp);
        let texture = ["49637a5", "a85b369", "5946a73", "7b38594", "63a7486"].join("\n");
        assert_eq!(settled(&texture), texture);
    }
}
