//! Four pictures of a place: before, what it should show, what is seen, and the difference, which makes ghosts visible. As one
//! strip with titles, or each by itself.

use super::{
    panel_view::Colours,
    sheet::{Band, TITLE, add_title, opaque, png_of, titles_over},
};
use crate::{
    display::Ink,
    explain::{Patch, Story, WhyHere},
    geometry::Size,
};

/// The widest that one picture is drawn, and the least, px.
const WIDEST: u32 = 420;
const GAP: u32 = 20;
/// Around a picture that stands by itself, px: room for the frame around a place at its edge.
const MARGIN: u32 = 4;
/// What the title of the last picture takes, px.
const WIDEST_TITLE: u32 = 500;
/// The difference is drawn so that at least this much is black or white, L*: a trace of something shall not look large.
const LEAST_REACH_L: f32 = 3.0;

/// The strip as PNG bytes.
///
/// # Errors
/// A reason in words, where it cannot be drawn or encoded.
pub fn strip(story: &Story, ink: &Ink) -> Result<Vec<u8>, String> {
    let strip = Strip::of(&story.pictures[0]);
    let (rows, titles) = contents(story, ink);
    let mut under = |band: &mut Band| {
        for (number, picture) in rows.iter().enumerate() {
            strip.draw(picture, strip.corner(number as u32), band);
        }
    };
    png_of(strip.size(), &mut under, Some(&strip.overlay(&titles, story)))
}

/// The same pictures, each by itself as PNG bytes, with what it is called.
///
/// # Errors
/// A reason in words, where one cannot be drawn or encoded.
pub fn pictures(story: &Story, ink: &Ink) -> Result<Vec<(String, Vec<u8>)>, String> {
    let strip = Strip::of(&story.pictures[0]);
    let (rows, titles) = contents(story, ink);
    let drawn = strip.drawn();
    let size = Size { width: drawn.width + 2 * MARGIN, height: drawn.height + 2 * MARGIN };
    let corner = (MARGIN, MARGIN);
    let over = format!("{}{}</svg>", titles_over(size), strip.framed(story, corner));
    let picture = |(picture, title): (&Picture, String)| {
        let mut under = |band: &mut Band| strip.draw(picture, corner, band);
        png_of(size, &mut under, Some(&over)).map(|png| (title, png))
    };
    rows.iter().zip(titles).map(picture).collect()
}

/// The pixels of a picture, row by row.
type Picture = Vec<[u8; 3]>;

/// The four pictures, and what they are called.
fn contents(story: &Story, ink: &Ink) -> (Vec<Picture>, [String; 4]) {
    let [now, before] = &story.pictures;
    let reach_l = now.off_l.iter().fold(LEAST_REACH_L, |reach, off_l| reach.max(off_l.abs())).ceil();
    let titles = [
        "before".to_owned(),
        "as meant".to_owned(),
        "as seen".to_owned(),
        format!("difference (black: {reach_l} L* darker or more; white: lighter; grey: no difference)"),
    ];
    let mut rows: Vec<Picture> = Vec::new();
    let mut seen = |patch: &Patch, is_meant: bool| {
        let mut colours = Colours::against_own_white(ink);
        let levels = if is_meant { &patch.meant } else { &patch.seen };
        let off_l = |at: usize| if is_meant { 0.0 } else { f64::from(patch.off_l[at]) };
        rows.push(levels.iter().enumerate().map(|(at, level)| colours.of(*level, off_l(at))).collect());
    };
    seen(before, false);
    seen(now, true);
    seen(now, false);
    rows.push(differences(now, ink).map(|off_l| [tone(off_l / reach_l); 3]).collect());
    (rows, titles)
}

/// How much lighter each pixel is seen than it is meant, L*.
fn differences(patch: &Patch, ink: &Ink) -> impl Iterator<Item = f32> {
    let levels = patch.seen.iter().zip(&patch.meant).zip(&patch.off_l);
    levels.map(|((seen, meant), off_l)| off_l + (ink.lightness(*seen) - ink.lightness(*meant)) as f32)
}

fn tone(share: f32) -> u8 {
    (128.0 + share * 127.0).round().clamp(0.0, 255.0) as u8
}

/// Where the pictures stand.
struct Strip {
    /// The pixels that are kept of the place.
    place: Size,
    /// From one of them to the next.
    every: u32,
    /// How many pixels of the strip one pixel of the place takes, or how many of the place one of the strip stands for.
    larger: u32,
    smaller: u32,
    columns: u32,
}

impl Strip {
    fn of(patch: &Patch) -> Self {
        let place = patch.size();
        let larger = (WIDEST / place.width.max(1)).clamp(1, 8);
        let smaller = place.width.div_ceil(WIDEST).max(1);
        // Low places stand above each other, where that is easier to compare.
        let columns = if place.width >= 3 * place.height { 1 } else { 2 };
        Self { place, every: patch.every, larger, smaller, columns }
    }

    fn drawn(&self) -> Size {
        let side = |pixels: u32| (pixels / self.smaller).max(1) * self.larger;
        Size { width: side(self.place.width), height: side(self.place.height) }
    }

    /// The left upper corner of a picture.
    fn corner(&self, number: u32) -> (u32, u32) {
        let drawn = self.drawn();
        let wide = drawn.width.max(200) + GAP;
        (GAP + number % self.columns * wide, TITLE + number / self.columns * (drawn.height + TITLE + GAP))
    }

    fn size(&self) -> Size {
        let (drawn, (x, y)) = (self.drawn(), self.corner(3));
        Size { width: x + drawn.width.max(WIDEST_TITLE) + GAP, height: y + drawn.height + GAP }
    }

    fn draw(&self, picture: &Picture, (left, top): (u32, u32), band: &mut Band) {
        let drawn = self.drawn();
        for y in band.rows().filter(|y| (top..top + drawn.height).contains(y)) {
            for x in 0..drawn.width {
                let [red, green, blue] = self.colour(picture, x, y - top);
                band.set(left + x, y, opaque(red, green, blue));
            }
        }
    }

    /// The mean colour of the pixels that one of the strip stands for.
    fn colour(&self, picture: &[[u8; 3]], x: u32, y: u32) -> [u8; 3] {
        let (left, top) = (x / self.larger * self.smaller, y / self.larger * self.smaller);
        // A thin place has fewer rows, or columns, than one pixel of the strip stands for.
        let within = |from: u32, length: u32| from..(from + self.smaller).min(length);
        let (rows, columns) = (within(top, self.place.height), within(left, self.place.width));
        let count = (rows.len() * columns.len()).max(1) as u32;
        let mut sum = [0_u32; 3];
        for (row, column) in rows.flat_map(|row| columns.clone().map(move |column| (row, column))) {
            let pixel = picture[(row * self.place.width + column) as usize];
            for (sum, part) in sum.iter_mut().zip(pixel) {
                *sum += u32::from(part);
            }
        }
        sum.map(|sum| (sum / count) as u8)
    }

    fn overlay(&self, titles: &[String], story: &Story) -> String {
        let (size, drawn) = (self.size(), self.drawn());
        let mut svg = titles_over(size);
        for (number, title) in titles.iter().enumerate() {
            let (x, y) = self.corner(number as u32);
            add_title(&mut svg, title, (x, y), drawn);
            svg.push_str(&self.framed(story, (x, y)));
        }
        svg.push_str("</svg>");
        svg
    }

    /// A frame around the place, not over it, in a picture at a corner.
    fn framed(&self, story: &Story, (x, y): (u32, u32)) -> String {
        if story.why_here == WhyHere::Border {
            // A frame around the screen would look like the border, which is not in the picture.
            return String::new();
        }
        let around = story.pictures[0].place;
        let scaled = |pixels: u32| f64::from(pixels) * f64::from(self.larger) / f64::from(self.smaller * self.every);
        let (left, top) = (scaled(story.place.x - around.x) - 2.0, scaled(story.place.y - around.y) - 2.0);
        let (wide, high) = (scaled(story.place.width) + 4.0, scaled(story.place.height) + 4.0);
        format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{wide}\" height=\"{high}\" fill=\"none\" stroke=\"#0a6c76\" stroke-width=\"2\"/>",
            f64::from(x) + left,
            f64::from(y) + top
        )
    }
}
