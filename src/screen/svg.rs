//! SVG to the shades of an ink, drawn the same on every machine: only the plan's own faces and the bundled one, no system
//! fonts, no network, no file that the caller's [`ImageFinder`] does not hand over.

use std::{
    cell::RefCell,
    sync::{Arc, Mutex, Once, PoisonError},
};

use resvg::{
    tiny_skia::{Pixmap, Transform},
    usvg::{
        self, FontFamily, FontResolver, ImageHrefResolver, ImageKind, Node, Options, Tree,
        fontdb::{self, Database, Family, ID},
        roxmltree,
    },
};

use super::{
    Picture, ScreenFault, ScreenNote, by_itself_if_large,
    drawing_limits::{check_attributes, check_document, shortened},
    png::{check_palette, colour_of_rgba, grey_of_rgba},
    svg_texts::drawn_texts,
    weight::{TooMuch, weigh},
};
use crate::{
    display::{Ink, Segments},
    geometry::{Size, Window},
};

/// The face that serves where a plan brings none: see `fonts/README.md` for its origin and licence.
const BUNDLED_FACE: &[u8] = include_bytes!("fonts/Arimo-subset.ttf");
/// The most elements and texts of an SVG.
const MOST_NODES: u32 = 50_000;
/// The most pixels of the pictures inside an SVG, all together.
const MOST_IMAGE_PIXELS: u64 = 64_000_000;
/// The most bytes of the files of these pictures.
const MOST_IMAGE_BYTES: usize = 64 << 20;

/// Hands over the bytes of a file that an SVG refers to, or says why not.
pub type ImageFinder<'f> = &'f (dyn Fn(&str) -> Result<Vec<u8>, String> + Sync);

/// The faces that the screens of a plan may use.
#[derive(Clone, Debug)]
pub struct Faces {
    database: Arc<Database>,
    bundled: ID,
    /// Whether the plan brought a face of its own.
    brought_any: bool,
}

impl Faces {
    /// The plan's own font files, and the bundled face behind them.
    ///
    /// # Errors
    /// The number of the font that holds no face that can be read.
    pub fn new(fonts: Vec<Vec<u8>>) -> Result<Self, usize> {
        let mut database = Database::new();
        let brought_any = !fonts.is_empty();
        for (index, font) in fonts.into_iter().enumerate() {
            let before = database.len();
            database.load_font_data(font);
            if database.len() == before {
                return Err(index);
            }
        }
        let bundled = database.load_font_source(fontdb::Source::Binary(Arc::new(BUNDLED_FACE)));
        let bundled = bundled.first().copied().ok_or(usize::MAX)?;
        Ok(Self { database: Arc::new(database), bundled, brought_any })
    }
}

/// Draws an SVG as a picture of exactly `size` in the shades of `ink`. `buffer` is used again for the picture.
///
/// # Errors
/// Where the file is no SVG that can be drawn, refers to something outside, or has another size.
pub fn draw_svg(
    bytes: &[u8],
    size: Size,
    ink: &Ink,
    faces: &Faces,
    find_image: ImageFinder<'_>,
    mut buffer: Vec<u8>,
) -> Result<Picture, ScreenFault> {
    let notes = Mutex::new(Vec::new());
    let (tree, log) = parse(bytes, faces, find_image, &notes)?;
    let is = tree.size();
    #[expect(clippy::float_cmp, reason = "a size that is off by a fraction counts as a different size")]
    if is.width() != size.width as f32 || is.height() != size.height as f32 {
        return Err(ScreenFault::wrong_size(&format!("{} x {}", is.width(), is.height()), size));
    }
    let beside = weigh(&tree, size).map_err(too_much)?;
    let _turn = by_itself_if_large(4 * size.pixels() + beside as u64);
    let mut pixmap = Pixmap::new(size.width, size.height)
        .ok_or_else(|| ScreenFault::new("the panel is too large to draw on", "describe a smaller panel"))?;
    let ((), drawing_log) = with_log(|| resvg::render(&tree, Transform::identity(), &mut pixmap.as_mut()));
    let rgba = pixmap.take_demultiplied();
    let mut picture = if ink.colours().is_some() {
        Picture::from_colours(size, rgba.chunks_exact(4).map(colour_of_rgba).collect(), ink, buffer)
    } else {
        buffer.clear();
        buffer.extend(rgba.chunks_exact(4).map(grey_of_rgba));
        Picture::from_greys(size, buffer, ink)
    };
    picture.texts = drawn_texts(&tree, size);
    let mut words = notes.into_inner().unwrap_or_else(PoisonError::into_inner);
    missing_glyphs(tree.root(), &mut words);
    words.extend(log.into_iter().chain(drawing_log).map(ScreenNote::LeftOut));
    for note in words {
        if !picture.notes.contains(&note) {
            picture.notes.push(note);
        }
    }
    Ok(picture)
}

/// Finds the segments of a drawing: every shape or group with an id is one, the later lies over the earlier.
///
/// # Errors
/// Where the file is no SVG that can be drawn, or holds no segments that can be distinguished.
pub fn draw_segments(bytes: &[u8]) -> Result<Segments, ScreenFault> {
    let faces =
        Faces::new(Vec::new()).map_err(|_| ScreenFault::new("the bundled font is broken", "please report it"))?;
    let notes = Mutex::new(Vec::new());
    let no_pictures = |_: &str| Err("segments are shapes".to_owned());
    let (tree, _) = parse(bytes, &faces, &no_pictures, &notes)?;
    let size = Size { width: tree.size().width().ceil() as u32, height: tree.size().height().ceil() as u32 };
    if size.pixels() > MOST_IMAGE_PIXELS {
        return Err(ScreenFault::new(format!("a drawing of {size} px is too large"), "draw it at the panel's size"));
    }
    weigh(&tree, size).map_err(too_much)?;
    let mut shapes = Vec::new();
    shapes_with_id(tree.root(), &mut shapes);
    if shapes.is_empty() || shapes.len() > Segments::MOST {
        return Err(ScreenFault::new(
            format!("the drawing has {} shapes with an id", shapes.len()),
            format!("give each segment, 1 to {}, an `id` of its own", Segments::MOST),
        ));
    }
    let mut owners = vec![0; size.pixels() as usize];
    for (index, shape) in shapes.iter().enumerate() {
        own(shape, index as u16 + 1, size, &mut owners)?;
    }
    let mut has_pixels = vec![false; shapes.len()];
    for owner in owners.iter().filter(|owner| **owner > 0) {
        has_pixels[usize::from(*owner) - 1] = true;
    }
    let names: Vec<String> = shapes.iter().map(|shape| shape.id().to_owned()).collect();
    if let Some(hidden) = has_pixels.iter().position(|has| !has) {
        return Err(ScreenFault::new(
            format!("the segment `{}` has no pixel of its own", names[hidden]),
            "draw it filled, inside the drawing, and not covered by another segment",
        ));
    }
    Ok(Segments::new(size, names, owners))
}

fn too_much(of_what: TooMuch) -> ScreenFault {
    let (message, help) = match of_what {
        TooMuch::Work => (
            "the SVG needs more drawing work than any screen should",
            "simplify it: use fewer overlapping shapes, filters, patterns and masks",
        ),
        TooMuch::Size => (
            "the SVG has a shape that is larger than 10,000,000 px, or that far away",
            "draw it no larger than the screen",
        ),
        TooMuch::Memory => (
            "the SVG needs too many layers or too large ones",
            "flatten groups that have opacity, masks or filters, and draw patterns and pictures no larger than they \
             appear",
        ),
    };
    ScreenFault::new(message, help)
}

/// The outermost nodes that have an id, in the order in which they are drawn.
fn shapes_with_id<'t>(group: &'t usvg::Group, shapes: &mut Vec<&'t Node>) {
    for node in group.children() {
        match node {
            node if !node.id().is_empty() => shapes.push(node),
            Node::Group(group) => shapes_with_id(group, shapes),
            Node::Path(_) | Node::Image(_) | Node::Text(_) => {}
        }
    }
}

/// Gives a segment the pixels that its shape covers by half or more. Draws no more than the shape's own box.
fn own(shape: &Node, owner: u16, size: Size, owners: &mut [u16]) -> Result<(), ScreenFault> {
    let Some(bounds) = shape.abs_layer_bounding_box() else {
        return Err(ScreenFault::new(format!("the segment `{}` has no area", shape.id()), "draw it as a filled shape"));
    };
    let (left, top) = (bounds.x().floor(), bounds.y().floor());
    let (width, height) = ((bounds.right().ceil() - left) as i64, (bounds.bottom().ceil() - top) as i64);
    let window = Window { x: left as i64, y: top as i64, width, height };
    // What lies entirely outside the drawing has no pixels.
    let Some(rect) = window.cut(size) else { return Ok(()) };
    let mut pixmap = Pixmap::new(rect.width, rect.height)
        .ok_or_else(|| ScreenFault::new("the drawing is too large", "draw it at the panel's size"))?;
    let to_box = Transform::from_translate(bounds.x() - rect.x as f32, bounds.y() - rect.y as f32);
    resvg::render_node(shape, to_box, &mut pixmap.as_mut());
    for (y, row) in (rect.y..rect.bottom()).zip(pixmap.pixels().chunks_exact(rect.width as usize)) {
        let known = &mut owners[(y * size.width + rect.x) as usize..][..rect.width as usize];
        for (pixel, known) in row.iter().zip(known) {
            if pixel.alpha() >= 128 {
                *known = owner;
            }
        }
    }
    Ok(())
}

/// Reads an SVG; gives what the library said about it.
fn parse(
    bytes: &[u8],
    faces: &Faces,
    find_image: ImageFinder<'_>,
    notes: &Mutex<Vec<ScreenNote>>,
) -> Result<(Tree, Vec<String>), ScreenFault> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        ScreenFault::new(format!("the SVG is not UTF-8: byte {}", error.valid_up_to()), "save it as UTF-8")
    })?;
    check_attributes(text)?;
    let parsing = roxmltree::ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..Default::default() };
    let document = roxmltree::Document::parse_with_options(text, parsing).map_err(|error| xml_fault(&error))?;
    check_document(&document)?;
    let refused = Mutex::new(Vec::new());
    let shown = Mutex::default();
    let options = options(faces, find_image, notes, &refused, &shown);
    let (tree, log) = with_log(|| Tree::from_xmltree(&document, &options));
    drop(options);
    if let Some(reason) = refused.into_inner().unwrap_or_else(PoisonError::into_inner).into_iter().next() {
        return Err(ScreenFault::new(
            reason,
            "put the picture into the plan's folder as a PNG, or draw it in the SVG itself",
        ));
    }
    let tree =
        tree.map_err(|error| ScreenFault::new(format!("the SVG cannot be drawn: {error}"), "correct the SVG"))?;
    Ok((tree, log))
}

fn xml_fault(error: &roxmltree::Error) -> ScreenFault {
    let help = match error {
        roxmltree::Error::DtdDetected => "remove the DOCTYPE with its entities from the file",
        roxmltree::Error::NodesLimitReached => {
            return ScreenFault::new(
                format!("the SVG has more than {MOST_NODES} elements and texts"),
                "simplify the drawing",
            );
        }
        _ => "correct the SVG here",
    };
    ScreenFault::new(format!("the SVG is broken: {error}"), help)
}

fn options<'o>(
    faces: &'o Faces,
    find_image: ImageFinder<'o>,
    notes: &'o Mutex<Vec<ScreenNote>>,
    refused: &'o Mutex<Vec<String>>,
    shown: &'o Mutex<Shown>,
) -> Options<'o> {
    let refuse = move |reason: String| {
        refused.lock().unwrap_or_else(PoisonError::into_inner).push(reason);
        None
    };
    Options {
        font_family: "sans-serif".into(),
        fontdb: faces.database.clone(),
        font_resolver: FontResolver {
            select_font: Box::new(move |font, database| Some(select_face(font, database, faces, notes))),
            select_fallback: FontResolver::default_fallback_selector(),
        },
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(move |_, data, _| {
                check_image(&data, shown).map_or_else(refuse, |()| Some(ImageKind::PNG(data)))
            }),
            resolve_string: Box::new(move |href, _| {
                if !refused.lock().unwrap_or_else(PoisonError::into_inner).is_empty() {
                    // One reason is reported; no more files are read for it.
                    return None;
                }
                let found = find_image(href).and_then(|data| check_image(&data, shown).map(|()| data));
                found.map_or_else(
                    |reason| refuse(format!("the SVG's picture `{}` cannot be used: {reason}", shortened(href))),
                    |data| Some(ImageKind::PNG(Arc::new(data))),
                )
            }),
        },
        ..Options::default()
    }
}

/// The pictures inside an SVG so far.
#[derive(Default)]
struct Shown {
    pixels: u64,
    bytes: usize,
}

fn check_image(data: &[u8], shown: &Mutex<Shown>) -> Result<(), String> {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(data));
    let header = decoder.read_header_info().map_err(|_| "a picture inside an SVG must be a PNG".to_owned())?;
    let mut shown = shown.lock().unwrap_or_else(PoisonError::into_inner);
    shown.pixels = shown.pixels.saturating_add(u64::from(header.width) * u64::from(header.height));
    shown.bytes += data.len();
    if shown.pixels > MOST_IMAGE_PIXELS || shown.bytes > MOST_IMAGE_BYTES {
        let with = format!("together with this one of {} x {} px", header.width, header.height);
        return Err(format!("{with}, the pictures inside the SVG are too large or too many"));
    }
    let reader = decoder.read_info().map_err(|error| format!("a picture inside the SVG is broken: {error}"))?;
    check_palette(reader.info()).map_err(|message| format!("a picture inside the SVG is broken: {message}"))
}

fn select_face(font: &usvg::Font, database: &Database, faces: &Faces, notes: &Mutex<Vec<ScreenNote>>) -> ID {
    let mut wanted = None;
    for family in font.families() {
        let FontFamily::Named(name) = family else {
            // A generic family asks for any face: the first that the plan brings.
            if faces.brought_any
                && wanted.is_none()
                && let Some(face) = database.faces().next()
            {
                return face.id;
            }
            wanted.get_or_insert_with(|| family.to_string());
            continue;
        };
        let query = fontdb::Query {
            families: &[Family::Name(name)],
            weight: fontdb::Weight(font.weight()),
            ..fontdb::Query::default()
        };
        if let Some(id) = database.query(&query) {
            if let Some(missing) = wanted {
                note(notes, ScreenNote::FaceMissing(missing));
            }
            return id;
        }
        wanted.get_or_insert_with(|| name.clone());
    }
    note(notes, ScreenNote::FaceMissing(wanted.unwrap_or_else(|| "sans-serif".into())));
    faces.bundled
}

fn note(notes: &Mutex<Vec<ScreenNote>>, note: ScreenNote) {
    notes.lock().unwrap_or_else(PoisonError::into_inner).push(note);
}

fn missing_glyphs(group: &usvg::Group, notes: &mut Vec<ScreenNote>) {
    for node in group.children() {
        match node {
            Node::Group(group) => missing_glyphs(group, notes),
            Node::Text(text) => {
                let glyphs = text.layouted().iter().flat_map(|span| &span.positioned_glyphs);
                notes.extend(
                    glyphs.filter(|glyph| glyph.id.0 == 0).map(|glyph| ScreenNote::GlyphMissing(glyph.text.clone())),
                );
            }
            Node::Path(_) | Node::Image(_) => {}
        }
    }
}

thread_local! {
    static LOG: RefCell<Option<Vec<String>>> = const { RefCell::new(None) };
}

/// Collects what the drawing library logs on this thread: it tells of dropped elements in no other way.
struct Collector;

impl log::Log for Collector {
    fn enabled(&self, metadata: &log::Metadata<'_>) -> bool {
        metadata.level() <= log::Level::Warn
    }

    fn log(&self, record: &log::Record<'_>) {
        if self.enabled(record.metadata()) {
            LOG.with_borrow_mut(|log| {
                if let Some(lines) = log {
                    lines.push(record.args().to_string());
                }
            });
        }
    }

    fn flush(&self) {}
}

fn with_log<T>(work: impl FnOnce() -> T) -> (T, Vec<String>) {
    static INSTALL: Once = Once::new();
    INSTALL.call_once(|| {
        // A host program that brought a logger of its own keeps it; then nothing is collected.
        if log::set_logger(&Collector).is_ok() {
            log::set_max_level(log::LevelFilter::Warn);
        }
    });
    LOG.set(Some(Vec::new()));
    let result = work();
    (result, LOG.take().unwrap_or_default())
}

/// One of the program's own SVG texts, in the bundled face, to be drawn over pictures.
pub(crate) struct Overlay(Tree);

impl Overlay {
    /// Reads the text.
    ///
    /// # Errors
    /// The drawing library's reason, where it is no SVG.
    pub(crate) fn new(svg: &str) -> Result<Self, String> {
        let mut database = Database::new();
        database.load_font_source(fontdb::Source::Binary(Arc::new(BUNDLED_FACE)));
        let options = Options { fontdb: Arc::new(database), ..Options::default() };
        Tree::from_str(svg, &options).map(Self).map_err(|error| error.to_string())
    }

    /// Draws it over a picture that shows the rows from `top` on.
    pub(crate) fn draw(&self, top: u32, pixmap: &mut Pixmap) {
        resvg::render(&self.0, Transform::from_translate(0.0, -(top as f32)), &mut pixmap.as_mut());
    }
}

/// The width of a line of text in the bundled face, px.
pub(crate) fn text_width(text: &str, size_px: f32) -> f32 {
    let Ok(face) = ttf_parser::Face::parse(BUNDLED_FACE, 0) else { return 0.0 };
    let per_unit = size_px / f32::from(face.units_per_em());
    let advance = |character| {
        let glyph = face.glyph_index(character).unwrap_or(ttf_parser::GlyphId(0));
        f32::from(face.glyph_hor_advance(glyph).unwrap_or(0))
    };
    text.chars().map(advance).sum::<f32>() * per_unit
}
