//! A prepared screen in three pictures side by side: as it was drawn, as it is prepared, and as the panel shows it.
//!
//! Knows pictures and inks, not how a screen is prepared.

use super::{
    panel_view::Colours,
    sheet::{Band, TITLE, add_title, opaque, png_of, titles_over},
};
use crate::{
    display::{Ink, Level},
    geometry::Size,
    panel::PlayedStep,
    screen::Picture,
};

const GAP: u32 = 20;
/// Screens are drawn larger, by whole pixels, up to about this width, px.
const WIDEST: u32 = 480;
/// A title needs this much room, px.
const TITLE_WIDTH: u32 = 230;

/// The three pictures as PNG bytes; `step` shows the prepared screen on the panel.
///
/// # Errors
/// A reason in words, where they cannot be drawn or encoded.
pub fn three_pictures(
    drawn: &Picture,
    prepared: &[Level],
    step: &PlayedStep<'_>,
    ink: &Ink,
) -> Result<Vec<u8>, String> {
    let size = drawn.size();
    let scale = (WIDEST / size.width.max(1)).clamp(1, 6);
    let column = (size.width * scale).max(TITLE_WIDTH) + GAP;
    let mut colours = Colours::absolute(ink);
    let mut colour_of = |number: u32, x: u32, y: u32| match number {
        0 => drawn.drawn(x, y),
        1 => ink.srgb(prepared[(y * size.width + x) as usize]),
        _ => {
            let (tile, bit) = step.grid().locate(x, y);
            colours.of(step.glass.level(x, y), step.glass.shown_residue(tile, bit.trailing_zeros()))
        }
    };
    let mut under = |band: &mut Band| {
        for y in band.rows().filter(|y| (TITLE..TITLE + size.height * scale).contains(y)) {
            for (number, x) in (0..3).flat_map(|number| (0..size.width * scale).map(move |x| (number, x))) {
                let [red, green, blue] = colour_of(number, x / scale, (y - TITLE) / scale);
                band.set(GAP + number * column + x, y, opaque(red, green, blue));
            }
        }
    };
    let whole = Size { width: GAP + 3 * column, height: TITLE + size.height * scale + GAP };
    png_of(whole, &mut under, Some(&titles(whole, column, size, scale)))
}

fn titles(whole: Size, column: u32, size: Size, scale: u32) -> String {
    let mut svg = titles_over(whole);
    let drawn = Size { width: size.width * scale, height: size.height * scale };
    for (number, title) in (0..).zip(["as drawn", "prepared", "on the panel"]) {
        add_title(&mut svg, title, (GAP + number * column, TITLE), drawn);
    }
    svg.push_str("</svg>");
    svg
}
