//! The texts of an SVG as they were laid out: where each stands, how large its letters are, and in which paint.
//!
//! Reads the drawing library's layout and the faces' own figures; knows no panel and no limits.

use resvg::{
    tiny_skia::Transform,
    usvg::{
        self, BlendMode, Node, Paint, Tree,
        fontdb::{Database, ID},
        layout::{PositionedGlyph, Span},
    },
};
use ttf_parser::{Face, Tag};

use crate::geometry::{Rect, Size, Window};

/// The lightest weight that counts as bold: `bold` of CSS, 700.
const BOLD: u16 = 700;

/// A run of text in one style, as an SVG draws it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnText {
    /// What it says.
    pub text: String,
    /// The box of its letters from ascent to descent, cut at the edge of the screen.
    pub rect: Rect,
    /// The size of its face, px on the screen.
    pub size_px: f64,
    /// Whether its face is bold.
    pub bold: bool,
    /// The height of its small letters, px on the screen.
    pub x_height_px: f64,
    /// What its letters are filled with, where that is one colour that is known.
    pub paint: Option<TextPaint>,
    /// What their outline is drawn in, where they have one of one colour that is known.
    pub outline: Option<TextPaint>,
}

/// One colour, laid over what stands below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TextPaint {
    /// Encoded sRGB.
    pub srgb: [u8; 3],
    /// Its share, 0 to 1, with the opacity of all groups around it.
    pub opacity: f64,
}

impl TextPaint {
    /// The colour that comes out over a ground, encoded sRGB.
    pub fn over(self, ground: [u8; 3]) -> [u8; 3] {
        std::array::from_fn(|channel| {
            let (own, below) = (f64::from(self.srgb[channel]), f64::from(ground[channel]));
            (own * self.opacity + below * (1.0 - self.opacity)).round() as u8
        })
    }
}

/// The texts of a drawing that show on a screen of this size, in the order in which they are drawn.
pub(super) fn drawn_texts(tree: &Tree, size: Size) -> Vec<DrawnText> {
    let mut found = Vec::new();
    let look = Look { faces: tree.fontdb(), size };
    look.at(tree.root(), Around { opacity: 1.0, is_plain: true }, &mut found);
    found
}

/// What the groups around a text do to its paint.
#[derive(Clone, Copy)]
struct Around {
    opacity: f64,
    /// Whether opacity is all: a mask, a filter or blending may make any colour of it.
    is_plain: bool,
}

impl Around {
    fn with(self, group: &usvg::Group) -> Self {
        let is_plain = group.mask().is_none() && group.filters().is_empty() && group.blend_mode() == BlendMode::Normal;
        Self { opacity: self.opacity * f64::from(group.opacity().get()), is_plain: self.is_plain && is_plain }
    }
}

struct Look<'t> {
    faces: &'t Database,
    size: Size,
}

impl Look<'_> {
    fn at(&self, group: &usvg::Group, around: Around, found: &mut Vec<DrawnText>) {
        let around = around.with(group);
        for node in group.children() {
            match node {
                Node::Group(group) => self.at(group, around, found),
                Node::Text(text) => {
                    let transform = text.abs_transform();
                    found.extend(text.layouted().iter().filter_map(|span| self.span(span, transform, around)));
                }
                Node::Path(_) | Node::Image(_) => {}
            }
        }
    }

    fn span(&self, span: &Span, transform: Transform, around: Around) -> Option<DrawnText> {
        let glyphs = &span.positioned_glyphs;
        let text: String = glyphs.iter().map(|glyph| glyph.text.as_str()).collect();
        let fill = span.fill.as_ref().map(|fill| (fill.paint(), fill.opacity()));
        let stroke = span.stroke.as_ref().map(|stroke| (stroke.paint(), stroke.opacity()));
        let [fill, stroke] = [fill, stroke].map(|paint| paint_of(paint?, around));
        let first = glyphs.iter().find(|glyph| !glyph.text.trim().is_empty())?;
        if !span.visible || (fill.is_none() && stroke.is_none()) {
            return None;
        }
        let boxes = glyphs.iter().filter_map(|glyph| self.glyph_box(glyph, transform));
        let rect = boxes.reduce(Corners::around)?.window().cut(self.size)?;
        // How far the transforms stretch what stands upright in the text.
        let upright = f64::from(transform.kx).hypot(f64::from(transform.sy));
        // Transforms are of single precision: 25 px turned by an angle must not become 24.999998 px.
        let size_px = (f64::from(first.font_size()) * upright * 1000.0).round() / 1000.0;
        let (x_height, bold) = self.with_face(first.font, span, |face| (x_height_of_em(face), is_bold(face, span)))?;
        Some(DrawnText {
            text,
            rect,
            size_px,
            bold,
            x_height_px: size_px * x_height,
            paint: fill.flatten(),
            outline: stroke.flatten(),
        })
    }

    /// The box of a glyph's place in its line, px on the screen.
    fn glyph_box(&self, glyph: &PositionedGlyph, transform: Transform) -> Option<Corners> {
        let (advance, ascent, descent) = self.faces.with_face_data(glyph.font, |data, index| {
            let face = Face::parse(data, index).ok()?;
            let advance = face.glyph_hor_advance(ttf_parser::GlyphId(glyph.id.0 as u16))?;
            Some((f32::from(advance), f32::from(face.ascender()), f32::from(face.descender())))
        })??;
        let to_screen = transform.pre_concat(glyph.outline_transform());
        let corners = [(0.0, descent), (advance, descent), (0.0, ascent), (advance, ascent)];
        let corners = corners.map(|(x, y)| {
            let (x, y) = (
                to_screen.sx * x + to_screen.kx * y + to_screen.tx,
                to_screen.ky * x + to_screen.sy * y + to_screen.ty,
            );
            Corners { left: x, top: y, right: x, bottom: y }
        });
        corners.into_iter().reduce(Corners::around)
    }

    fn with_face<T>(&self, font: ID, span: &Span, take: impl FnOnce(&Face<'_>) -> T) -> Option<T> {
        self.faces.with_face_data(font, |data, index| {
            let mut face = Face::parse(data, index).ok()?;
            for variation in &span.variations {
                // An axis that the face does not have changes nothing.
                let _ = face.set_variation(Tag::from_bytes(&variation.tag), variation.value);
            }
            Some(take(&face))
        })?
    }
}

/// Something that paints; the colour within is missing where there are several, or none that is known.
type Paints = Option<TextPaint>;

/// What a paint does; `None` if it cannot be seen.
fn paint_of((paint, own): (&Paint, usvg::Opacity), around: Around) -> Option<Paints> {
    let opacity = f64::from(own.get()) * around.opacity;
    if opacity <= 0.0 {
        return None;
    }
    let (Paint::Color(colour), true) = (paint, around.is_plain) else { return Some(None) };
    Some(Some(TextPaint { srgb: [colour.red, colour.green, colour.blue], opacity }))
}

/// The height of the small letters, as a share of the face's size.
fn x_height_of_em(face: &Face<'_>) -> f64 {
    let own = face.x_height().filter(|height| *height > 0);
    let drawn = || Some(face.glyph_bounding_box(face.glyph_index('x')?)?.y_max);
    // Neither given nor drawn: half of the size, common practice, no source.
    let height = own.or_else(drawn).map_or(f64::from(face.units_per_em()) / 2.0, f64::from);
    height / f64::from(face.units_per_em())
}

fn is_bold(face: &Face<'_>, span: &Span) -> bool {
    let varied = span.variations.iter().find(|variation| &variation.tag == b"wght");
    varied.map_or(face.weight().to_number() >= BOLD, |variation| variation.value >= f32::from(BOLD))
}

/// A box whose corners may lie between pixels.
#[derive(Clone, Copy)]
struct Corners {
    left: f32,
    top: f32,
    right: f32,
    bottom: f32,
}

impl Corners {
    fn around(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }

    /// The pixels that it touches.
    fn window(self) -> Window {
        let (x, y) = (self.left.floor() as i64, self.top.floor() as i64);
        Window { x, y, width: (self.right.ceil() as i64 - x).max(1), height: (self.bottom.ceil() as i64 - y).max(1) }
    }
}
