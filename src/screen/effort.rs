//! How much work the drawing of an SVG is, worked out before it is drawn: a file of a few lines may ask for hours, or for more
//! memory than there is. Knows the elements of the file and the tree that the drawing library makes of them.
//!
//! Work is counted in pixels that are filled or looked at, without regard to what is clear or covered. The count is a rough
//! one: it is to tell a page from a trap.

use resvg::{
    tiny_skia::{NonZeroRect, Rect, Transform},
    usvg::{
        ClipPath, Group, Mask, Node, Paint, Path, Pattern, Tree,
        filter::Kind,
        roxmltree::{self, Document},
    },
};

/// The most work of a drawing, in pixels: a page of 2000 x 1500 px is painted over six hundred times.
const MOST_WORK: f64 = 2e9;
/// The most pixels of a pattern's tile, which is drawn as a picture of its own, however little of it is seen.
const MOST_TILE_PIXELS: f64 = 64e6;
/// The farthest that a shape may reach, in pixels: those that reach a hundred times farther make the library fail.
const FARTHEST: f64 = 1e8;
/// The attributes whose numbers are looked at before the file is read: the library takes an arc apart into the more pieces
/// the larger it is, without end.
const OUTLINES: [&str; 6] = ["d", "rx", "ry", "r", "width", "height"];
/// The most characters that are laid out together, squared: ten thousand and some.
const MOST_TEXT: f64 = 2e8;
/// As many characters is a part of a text with a place or a style of its own.
const SPAN: f64 = 10.0;
/// The most elements times selectors of style sheets.
const MOST_STYLED: f64 = 5e6;
/// What every element costs, in pixels, however small it is.
const ELEMENT: f64 = 2000.0;
/// What a point of an outline costs, in pixels.
const POINT: f64 = 20.0;
/// Of a picture that lies over several times the drawing the library keeps as many.
const LARGEST_LAYER: f64 = 25.0;

/// What a drawing asks too much of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TooMuch {
    /// Pixels that are worked on.
    Work,
    /// Coordinates: the library's numbers overflow.
    Distance,
    /// Characters of a text that are laid out together.
    Text,
    /// Rules of style sheets, each of which is tried on every element.
    Styles,
}

impl TooMuch {
    /// What is wrong, and what helps.
    pub(super) fn words(self) -> [&'static str; 2] {
        match self {
            Self::Work => [
                "the SVG is too laborious to draw: its layers, filters and patterns cover too many pixels, too often",
                "flatten its layers, and make its filters and the tiles of its patterns smaller",
            ],
            Self::Distance => ["a shape of the SVG reaches too far beyond it", "cut it at the edge of the drawing"],
            Self::Text => ["the SVG has too long a text", "divide it into several `text` elements, a line each"],
            Self::Styles => [
                "the SVG has too many rules in its style sheets for its elements",
                "take out the rules that it does not need",
            ],
        }
    }
}

/// Sees that a file can be made into a tree: its texts and its style sheets take time with the square of their length.
pub(super) fn check_document(document: &Document<'_>) -> Result<(), TooMuch> {
    let (mut elements, mut rules, mut texts) = (0.0, 0.0, 0.0);
    for node in document.descendants().filter(|node| node.is_element()) {
        elements += 1.0;
        let outlines = node.attributes().filter(|attribute| OUTLINES.contains(&attribute.name()));
        if outlines.flat_map(|attribute| numbers(attribute.value())).any(|number| number.abs() > FARTHEST) {
            return Err(TooMuch::Distance);
        }
        let letters =
            |of: roxmltree::Node<'_, '_>| of.descendants().filter_map(|node| node.text()).map(str::len).sum::<usize>();
        match node.tag_name().name() {
            "style" => rules += node.text().unwrap_or_default().matches(['{', ',']).count() as f64,
            "text" => texts += (letters(node) as f64 + SPAN * node.descendants().count() as f64).powi(2),
            _ => {}
        }
    }
    if texts > MOST_TEXT {
        return Err(TooMuch::Text);
    }
    if elements * rules > MOST_STYLED { Err(TooMuch::Styles) } else { Ok(()) }
}

/// The numbers of a text, as they follow each other in an outline: `1-2`, `.5.5` and `1e3-4` are two each.
fn numbers(text: &str) -> impl Iterator<Item = f64> {
    let is_outside = |letter: char| !(letter.is_ascii_digit() || "+-.eE".contains(letter));
    text.split(is_outside).flat_map(|run| {
        let (mut from, mut has_point) = (0, false);
        let bytes = run.as_bytes();
        let mut parts = Vec::new();
        for at in 0..bytes.len() {
            let is_sign = matches!(bytes[at], b'+' | b'-') && at > 0 && !matches!(bytes[at - 1], b'e' | b'E');
            if is_sign || (bytes[at] == b'.' && has_point) {
                parts.push(&run[from..at]);
                (from, has_point) = (at, false);
            }
            has_point |= bytes[at] == b'.';
        }
        parts.push(&run[from..]);
        // Of a unit like `em` the first letter may be left.
        parts.into_iter().filter_map(|part| part.trim_end_matches(['e', 'E']).parse().ok())
    })
}

/// Sees that a drawing of so many pixels is no more work than it may be.
pub(super) fn check_tree(tree: &Tree, pixels: u64) -> Result<(), TooMuch> {
    Effort::new(pixels).group(tree.root(), 1.0)
}

/// The work of several drawings, one after the other; as soon as it is too much nothing more is looked at.
pub(super) struct Effort {
    canvas: f64,
    spent: f64,
}

impl Effort {
    /// No work yet, on a drawing of so many pixels.
    pub(super) fn new(pixels: u64) -> Self {
        Self { canvas: pixels as f64, spent: 0.0 }
    }

    /// Adds a node, and pixels beside it; nothing where that is too much.
    pub(super) fn node(&mut self, node: &Node, beside: u64) -> Result<(), TooMuch> {
        self.spend(beside as f64)?;
        self.part(node, 1.0)
    }

    fn spend(&mut self, pixels: f64) -> Result<(), TooMuch> {
        self.spent += pixels;
        // Not a number is too much as well.
        if self.spent <= MOST_WORK { Ok(()) } else { Err(TooMuch::Work) }
    }

    /// `scale`: how many pixels an area of 1 has, where the group is drawn larger or smaller than its own coordinates say.
    fn group(&mut self, group: &Group, scale: f64) -> Result<(), TooMuch> {
        self.spend(ELEMENT)?;
        group.children().iter().try_for_each(|child| self.part(child, scale))?;
        if !group.should_isolate() {
            return Ok(());
        }
        let layer = (area(group.abs_layer_bounding_box()) * scale).min(LARGEST_LAYER * self.canvas);
        let of_transform = scale * scale_of(group.abs_transform());
        self.spend(3.0 * layer)?;
        for primitive in group.filters().iter().flat_map(|filter| filter.primitives()) {
            self.spend(ELEMENT + layer * passes(primitive.kind(), of_transform, layer))?;
            if let Kind::Image(image) = primitive.kind() {
                self.group(image.root(), scale)?;
            }
        }
        self.clip(group.clip_path(), layer, scale)?;
        self.mask(group.mask(), layer, scale)
    }

    fn clip(&mut self, clip: Option<&ClipPath>, layer: f64, scale: f64) -> Result<(), TooMuch> {
        let Some(clip) = clip else { return Ok(()) };
        self.spend(3.0 * layer)?;
        self.group(clip.root(), scale)?;
        self.clip(clip.clip_path(), layer, scale)
    }

    fn mask(&mut self, mask: Option<&Mask>, layer: f64, scale: f64) -> Result<(), TooMuch> {
        let Some(mask) = mask else { return Ok(()) };
        self.spend(4.0 * layer)?;
        self.group(mask.root(), scale)?;
        self.mask(mask.mask(), layer, scale)
    }

    fn part(&mut self, node: &Node, scale: f64) -> Result<(), TooMuch> {
        match node {
            Node::Group(group) => self.group(group, scale),
            Node::Path(path) => self.path(path, scale),
            Node::Text(text) => self.group(text.flattened(), scale),
            Node::Image(image) => {
                let size = image.size();
                self.spend(ELEMENT + f64::from(size.width()) * f64::from(size.height()))?;
                self.spend(self.seen(image.abs_bounding_box(), scale))
            }
        }
    }

    fn path(&mut self, path: &Path, scale: f64) -> Result<(), TooMuch> {
        self.spend(ELEMENT + POINT * path.data().len() as f64)?;
        let paints = [
            path.fill().map(|fill| (fill.paint(), path.abs_bounding_box())),
            path.stroke().map(|stroke| (stroke.paint(), path.abs_stroke_bounding_box())),
        ];
        paints.into_iter().flatten().try_for_each(|(paint, bounds)| {
            let farthest = [bounds.left(), bounds.top(), bounds.right(), bounds.bottom()].map(f32::abs);
            if f64::from(farthest.into_iter().fold(0.0, f32::max)) * scale.sqrt() > FARTHEST {
                return Err(TooMuch::Distance);
            }
            self.spend(self.seen(bounds, scale))?;
            match paint {
                Paint::Pattern(pattern) => self.pattern(pattern, scale * scale_of(path.abs_transform())),
                Paint::Color(_) | Paint::LinearGradient(_) | Paint::RadialGradient(_) => Ok(()),
            }
        })
    }

    fn pattern(&mut self, pattern: &Pattern, scale: f64) -> Result<(), TooMuch> {
        let scale = scale * scale_of(pattern.transform());
        let tile = area(pattern.rect()) * scale;
        if tile > MOST_TILE_PIXELS {
            return Err(TooMuch::Work);
        }
        self.spend(tile)?;
        self.group(pattern.root(), scale)
    }

    /// How much of a box can lie on the drawing.
    fn seen(&self, bounds: Rect, scale: f64) -> f64 {
        (f64::from(bounds.width()) * f64::from(bounds.height()) * scale).min(self.canvas)
    }
}

/// How often each pixel of a layer is looked at by a filter.
fn passes(kind: &Kind, scale: f64, layer: f64) -> f64 {
    match kind {
        Kind::Morphology(morphology) => {
            let radius = |radius: f32| 2.0 * f64::from(radius) + 1.0;
            let window = radius(morphology.radius_x().get()) * radius(morphology.radius_y().get());
            (window * scale).min(layer)
        }
        Kind::ConvolveMatrix(convolve) => {
            4.0 * f64::from(convolve.matrix().rows()) * f64::from(convolve.matrix().columns())
        }
        Kind::Turbulence(turbulence) => 40.0 * f64::from(turbulence.num_octaves()),
        Kind::GaussianBlur(_) | Kind::DropShadow(_) => 15.0,
        Kind::DiffuseLighting(_) | Kind::SpecularLighting(_) => 50.0,
        _ => 5.0,
    }
}

fn scale_of(transform: Transform) -> f64 {
    let (x, y) = transform.get_scale();
    f64::from(x) * f64::from(y)
}

fn area(rect: NonZeroRect) -> f64 {
    f64::from(rect.width()) * f64::from(rect.height())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_told_apart_as_outlines_write_them() {
        let of = |text: &str| numbers(text).collect::<Vec<f64>>();
        assert_eq!(of("M1-2.5.5L3e2-4,+5 6e-1z"), [1.0, -2.5, 0.5, 300.0, -4.0, 5.0, 0.6]);
        assert_eq!(of("2em 3mm 40%"), [2.0, 3.0, 40.0]);
        assert!(of("none").is_empty());
    }
}
