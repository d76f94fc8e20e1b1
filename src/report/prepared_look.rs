//! A prepared screen in three pictures side by side: as it was drawn, as it is prepared, and as the panel shows it.
//!
//! Knows pictures and inks, not how a screen is prepared.

use std::fmt::Write as _;

use super::{
    panel_view::Colours,
    sheet::{Band, opaque, png_of},
};
use crate::{
    display::{Ink, Level},
    geometry::Size,
    panel::PlayedStep,
    screen::Picture,
};

const GAP: u32 = 20;
const TITLE: u32 = 30;
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
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" font-family=\"Arimo\" font-size=\"14\" \
         fill=\"#1c1f24\">",
        whole.width, whole.height
    );
    for (number, title) in ["as drawn", "prepared", "on the panel"].iter().enumerate() {
        let left = GAP + number as u32 * column;
        let _ = write!(svg, "<text x=\"{left}\" y=\"{}\">{title}</text>", TITLE - 9);
        // Around the picture, not over it.
        let _ = write!(
            svg,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#9aa0a6\"/>",
            f64::from(left) - 0.5,
            f64::from(TITLE) - 0.5,
            size.width * scale + 1,
            size.height * scale + 1
        );
    }
    svg.push_str("</svg>");
    svg
}
