//! Random drawings of segments: rectangles, also ones that cut through pixels, bars with a corner, groups; some of them
//! over each other, across the edge, or without a name.

use super::dice::Dice;
use crate::plain::Fault;
use crate::plain::drawing::Drawing;
use crate::plain::geometry::{Rect, Size};
use crate::plain::segments::Segments;

/// An SVG in which every segment has a pixel, and its segments on the panel's own axes.
pub(crate) fn drawing(dice: &mut Dice, size: Size) -> Result<(String, Segments), Fault> {
    let mut elements: Vec<String> = (0..dice.between(1, 9)).map(|number| element(dice, size, number)).collect();
    loop {
        if elements.is_empty() {
            elements.push(format!(r#"<rect id="all" width="{}" height="{}"/>"#, size.w, size.h));
        }
        let svg = whole(size, &elements);
        let segments = Segments::of(&Drawing::read(&svg)?);
        let hidden = (0..segments.names.len()).find(|&segment| !segments.owners.contains(&Some(segment)));
        match hidden {
            // A segment that no pixel belongs to refuses the description.
            Some(segment) => {
                let name = format!("id=\"{}\"", segments.names[segment]);
                elements.retain(|element| !element.contains(&name));
            }
            None if segments.names.is_empty() => elements.clear(),
            None => return Ok((svg, segments)),
        }
    }
}

pub(crate) fn whole(size: Size, elements: &[String]) -> String {
    let (w, h) = (size.w, size.h);
    let inner = elements.join("\n  ");
    format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\">\n  {inner}\n</svg>\n")
}

fn element(dice: &mut Dice, size: Size, number: i64) -> String {
    let name = format!(r#"id="bar-{number}""#);
    let at = place(dice, size);
    match dice.below(8) {
        0 => rect("", at),
        1 => smooth_rect(dice, &name, at),
        2 | 3 => bar_with_corner(dice, &name, at),
        4 => format!(r"<g {name}>{}{}</g>", rect(r#"id="inner""#, at), rect("", place(dice, size))),
        5 => {
            let (dx, dy) = (dice.between(-3, 3), dice.between(-3, 3));
            format!(r#"<g {name} transform="translate({dx} {dy})">{}</g>"#, rect("", at))
        }
        6 => {
            let second = format!(r#"id="second-{number}""#);
            format!(r"<g>{}{}</g>", rect(&name, at), rect(&second, place(dice, size)))
        }
        _ => rect(&name, at),
    }
}

/// Mostly within the panel, at times across its edge.
fn place(dice: &mut Dice, size: Size) -> Rect {
    let over = if dice.chance(15) { 4 } else { 0 };
    let (x, y) = (dice.between(-over, size.w - 2), dice.between(-over, size.h - 2));
    let (w, h) = (dice.between(2, (size.w - x).clamp(2, 30)), dice.between(2, (size.h - y).clamp(2, 30)));
    Rect { x, y, w: w + over, h: h + over }
}

fn rect(name: &str, at: Rect) -> String {
    format!(r#"<rect {name} x="{}" y="{}" width="{}" height="{}"/>"#, at.x, at.y, at.w, at.h)
}

/// Every side off the whole pixels by a quarter, so that no pixel is covered by just the half.
fn smooth_rect(dice: &mut Dice, name: &str, at: Rect) -> String {
    let mut off = |side: i64| side as f64 + *dice.pick(&[-0.25, 0.25]);
    let (left, top, right, bottom) = (off(at.x), off(at.y), off(at.x + at.w), off(at.y + at.h));
    format!(r#"<rect {name} x="{left}" y="{top}" width="{}" height="{}"/>"#, right - left, bottom - top)
}

fn bar_with_corner(dice: &mut Dice, name: &str, at: Rect) -> String {
    let (right, bottom) = (at.x + at.w, at.y + at.h);
    let (x, y) = (at.x + dice.between(1, at.w - 1), at.y + dice.between(1, at.h - 1));
    let (left, top) = (at.x, at.y);
    format!(r#"<polygon {name} points="{left},{top} {right},{top} {right},{y} {x},{y} {x},{bottom} {left},{bottom}"/>"#)
}
