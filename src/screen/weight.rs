//! How much work and memory a drawing takes, computed before it is drawn: a small file can ask for hours of drawing.
//!
//! The work is counted in pixels, as if each were painted by itself; it goes by what is asked for and not by a clock, so
//! that a drawing is taken on every machine or on none. Knows the library's tree and how it is drawn, not how it came about.

use resvg::{
    tiny_skia::{PathSegment, Point, Transform},
    usvg::{
        self, ClipPath, Group, Mask, Node, Paint, Pattern,
        filter::{Filter, Kind},
    },
};

use crate::geometry::Size;

/// The most pixels that are painted for a drawing: some seconds.
const MOST_WORK: f64 = 2e9;
/// The most memory for what lies beside the picture while it is drawn, bytes.
const MOST_LAYERS: f64 = (256 << 20) as f64;
/// A node costs something even where it paints nothing.
const OF_A_NODE: f64 = 200.0;
/// How large a shape may be, and how far from the picture, px: figures of single precision end where pixels are lost.
const LARGEST: f32 = 1e7;
/// What a corner of a path costs beside its pixels.
const OF_A_SEGMENT: f64 = 40.0;
/// A path is sampled in as many lines a pixel.
const LINES: f64 = 4.0;
/// How many dashes a line has at most; the library draws no more.
const MOST_DASHES: f64 = 1e6;

/// Why a drawing is not drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TooMuch {
    /// It would take too long.
    Work,
    /// It would take too much memory.
    Memory,
    /// A shape is larger than the drawing library can reckon with.
    Size,
}

/// What a drawing takes beside its picture, bytes; or why it is not drawn.
pub(super) fn weigh(tree: &usvg::Tree, size: Size) -> Result<f64, TooMuch> {
    let canvas = Area { width: f64::from(size.width), height: f64::from(size.height) };
    let mut scales = Scales { canvas, work: 0.0 };
    scales.group(tree.root(), Transform::identity())
}

/// The bytes of a layer of so many pixels.
fn bytes(pixels: f64) -> f64 {
    4.0 * pixels
}

#[derive(Clone, Copy)]
struct Area {
    width: f64,
    height: f64,
}

impl Area {
    fn pixels(self) -> f64 {
        self.width * self.height
    }
}

/// Adds up the work; gives the memory that is needed at one time.
struct Scales {
    canvas: Area,
    work: f64,
}

type Weighed = Result<f64, TooMuch>;

impl Scales {
    fn add(&mut self, work: f64) -> Result<(), TooMuch> {
        self.work += work;
        // What is no number at all is too much, too.
        if self.work <= MOST_WORK { Ok(()) } else { Err(TooMuch::Work) }
    }

    fn children(&mut self, group: &Group, transform: Transform) -> Weighed {
        let mut most: f64 = 0.0;
        for node in group.children() {
            self.add(OF_A_NODE)?;
            most = most.max(match node {
                Node::Group(group) => self.group(group, transform)?,
                Node::Path(path) => self.path(path, transform)?,
                Node::Image(image) => self.image(image)?,
                Node::Text(text) => self.group(text.flattened(), transform)?,
            });
        }
        Ok(most)
    }

    fn group(&mut self, group: &Group, transform: Transform) -> Weighed {
        let transform = transform.pre_concat(group.transform());
        let inside = self.children(group, transform)?;
        if !group.should_isolate() {
            return Ok(inside);
        }
        let layer = self.layer(group.layer_bounding_box().to_rect(), transform);
        self.add(4.0 * layer)?;
        let mut beside = inside;
        for filter in group.filters() {
            beside = beside.max(self.filter(filter, layer, transform)?);
        }
        if let Some(clip) = group.clip_path() {
            beside = beside.max(self.clip(clip, layer, transform)?);
        }
        if let Some(mask) = group.mask() {
            beside = beside.max(self.mask(mask, layer, transform)?);
        }
        fits(bytes(layer) + beside)
    }

    /// The pixels of a layer: the library makes none of more than a few times the picture.
    fn layer(&self, bounds: usvg::tiny_skia_path::Rect, transform: Transform) -> f64 {
        let Some(bounds) = bounds.transform(transform) else { return 4.0 * self.canvas.pixels() };
        // Some pixels more for soft edges.
        let side = |length: f32, most: f64| f64::from(length + 6.0).min(2.0 * most);
        side(bounds.width(), self.canvas.width) * side(bounds.height(), self.canvas.height)
    }

    fn clip(&mut self, clip: &ClipPath, layer: f64, transform: Transform) -> Weighed {
        self.add(4.0 * layer)?;
        let inside = self.clipped(clip.root(), layer, transform.pre_concat(clip.transform()))?;
        let outer = clip.clip_path().map_or(Ok(0.0), |clip| self.clip(clip, layer, transform))?;
        fits(bytes(layer) + inside.max(outer))
    }

    fn clipped(&mut self, group: &Group, layer: f64, transform: Transform) -> Weighed {
        let mut most: f64 = 0.0;
        for node in group.children() {
            self.add(OF_A_NODE)?;
            most = most.max(match node {
                Node::Path(path) => self.path(path, transform)?,
                Node::Text(text) => self.clipped(text.flattened(), layer, transform)?,
                Node::Group(group) => {
                    let transform = transform.pre_concat(group.transform());
                    let inside = self.clipped(group, layer, transform)?;
                    let clip = group.clip_path().map(|clip| self.clip(clip, layer, transform)).transpose()?;
                    clip.map_or(Ok(inside), |clip| fits(bytes(layer) + inside.max(clip)))?
                }
                Node::Image(_) => 0.0,
            });
        }
        Ok(most)
    }

    fn mask(&mut self, mask: &Mask, layer: f64, transform: Transform) -> Weighed {
        self.add(6.0 * layer)?;
        let inside = self.children(mask.root(), transform)?;
        let outer = mask.mask().map_or(Ok(0.0), |mask| self.mask(mask, layer, transform))?;
        fits(2.0 * bytes(layer) + inside.max(outer))
    }

    fn filter(&mut self, filter: &Filter, layer: f64, transform: Transform) -> Weighed {
        let mut beside: f64 = 0.0;
        for primitive in filter.primitives() {
            self.add(OF_A_NODE + layer * work_of_a_pixel(primitive.kind(), transform))?;
            if let Kind::Image(image) = primitive.kind() {
                beside = beside.max(self.children(image.root(), transform)?);
            }
        }
        // Every result is kept to the end, and some steps work on copies.
        fits(bytes(layer) * (filter.primitives().len() as f64 + 4.0) + beside)
    }

    fn image(&mut self, image: &usvg::Image) -> Weighed {
        let pixels = f64::from(image.size().width()) * f64::from(image.size().height());
        // It is unpacked wherever it is drawn.
        self.add(20.0 * pixels + 4.0 * self.canvas.pixels())?;
        fits(bytes(pixels))
    }

    fn path(&mut self, path: &usvg::Path, transform: Transform) -> Weighed {
        check_size(path.stroke_bounding_box(), transform)?;
        let mut beside: f64 = 0.0;
        let (scale, corners) = (scale_of(transform), path.data().segments().count() as f64);
        if let Some(fill) = path.fill() {
            self.add(self.outline(path, scale) + self.covered(path.bounding_box(), transform))?;
            beside = beside.max(self.paint(fill.paint(), transform)?);
        }
        if let Some(stroke) = path.stroke() {
            let (length, width) = (length_of(path), f64::from(stroke.width().get()));
            let dash: f32 = stroke.dasharray().map_or(0.0, |dashes| dashes.iter().sum());
            let dashes = if dash > 0.0 { (length / f64::from(dash)).min(MOST_DASHES) } else { 0.0 };
            let painted = (length * width * scale * scale).min(self.covered(path.stroke_bounding_box(), transform));
            self.add(4.0 * self.outline(path, scale) + painted + 4.0 * OF_A_SEGMENT * (dashes + corners))?;
            beside = beside.max(self.paint(stroke.paint(), transform)?);
        }
        // The path itself, and its outline.
        fits(beside + 200.0 * corners)
    }

    /// What following a path along its length costs; beyond the picture it is cut.
    fn outline(&self, path: &usvg::Path, scale: f64) -> f64 {
        let most = self.canvas.height;
        steps_of(path).map(|step| LINES * (step * scale).min(most) + OF_A_SEGMENT).sum()
    }

    /// The pixels of a box that lie in the picture, whatever its place.
    fn covered(&self, bounds: usvg::Rect, transform: Transform) -> f64 {
        let Some(bounds) = bounds.transform(transform) else { return self.canvas.pixels() };
        f64::from(bounds.width()).min(self.canvas.width) * f64::from(bounds.height()).min(self.canvas.height)
    }

    fn paint(&mut self, paint: &Paint, transform: Transform) -> Weighed {
        match paint {
            Paint::Pattern(pattern) => self.pattern(pattern, transform),
            Paint::Color(_) | Paint::LinearGradient(_) | Paint::RadialGradient(_) => Ok(0.0),
        }
    }

    /// A pattern is drawn again wherever it is used, as large as it is.
    fn pattern(&mut self, pattern: &Pattern, transform: Transform) -> Weighed {
        let (across, down) = transform.pre_concat(pattern.transform()).get_scale();
        let (width, height) = (pattern.rect().width() * across, pattern.rect().height() * down);
        let pixels = f64::from(width) * f64::from(height);
        self.add(2.0 * pixels)?;
        let inside = self.children(pattern.root(), Transform::from_scale(across, down))?;
        fits(bytes(pixels) + inside)
    }
}

fn fits(bytes: f64) -> Weighed {
    if bytes <= MOST_LAYERS { Ok(bytes) } else { Err(TooMuch::Memory) }
}

fn check_size(bounds: usvg::Rect, transform: Transform) -> Result<(), TooMuch> {
    let Some(bounds) = bounds.transform(transform) else { return Err(TooMuch::Size) };
    let figures = [bounds.left(), bounds.top(), bounds.right(), bounds.bottom()];
    if figures.into_iter().all(|figure| figure.abs() <= LARGEST) { Ok(()) } else { Err(TooMuch::Size) }
}

fn scale_of(transform: Transform) -> f64 {
    let (across, down) = transform.get_scale();
    f64::from(across.max(down))
}

/// The distances from point to point of a path, those that steer curves among them.
fn steps_of(path: &usvg::Path) -> impl Iterator<Item = f64> {
    let mut last = Point::zero();
    path.data().segments().map(move |segment| {
        let mut way = 0.0;
        let mut go = |to: Point| {
            way += f64::from(last.distance(to));
            last = to;
        };
        match segment {
            PathSegment::MoveTo(to) | PathSegment::LineTo(to) => go(to),
            PathSegment::QuadTo(by, to) => [by, to].into_iter().for_each(&mut go),
            PathSegment::CubicTo(by, then, to) => [by, then, to].into_iter().for_each(&mut go),
            PathSegment::Close => {}
        }
        way
    })
}

fn length_of(path: &usvg::Path) -> f64 {
    steps_of(path).sum()
}

/// How many pixels' work a step of a filter is for each of its own.
fn work_of_a_pixel(kind: &Kind, transform: Transform) -> f64 {
    const SIMPLE: f64 = 30.0;
    let scale = scale_of(transform);
    SIMPLE
        + match kind {
            Kind::ConvolveMatrix(convolve) => {
                10.0 * f64::from(convolve.matrix().columns()) * f64::from(convolve.matrix().rows())
            }
            Kind::Morphology(morphology) => {
                let side = |radius: f32| 2.0 * f64::from(radius) * scale + 1.0;
                10.0 * side(morphology.radius_x().get()) * side(morphology.radius_y().get())
            }
            Kind::Turbulence(turbulence) => 200.0 * f64::from(turbulence.num_octaves()),
            Kind::DiffuseLighting(_) | Kind::SpecularLighting(_) => 100.0,
            Kind::Merge(merge) => SIMPLE * merge.inputs().len() as f64,
            _ => 0.0,
        }
}
