//! What a drawing may ask of the library that draws it, looked at before that library sees it: a few words of SVG can ask
//! for hours, or for all the memory there is.

use std::collections::{HashMap, hash_map::Entry};

use resvg::usvg::roxmltree;
use svgtypes::{Length, LengthUnit, PathParser, PathSegment, ViewBox};

use super::ScreenFault;

/// The deepest nesting of elements; deeper files overflow a thread's stack in the drawing library.
const DEEPEST: usize = 256;
/// The most elements where each stands wherever it is referred to; long outlines count as more than one.
const MOST_GROWN: u64 = 200_000;
/// So many bytes of an outline, and so many curves of its arcs, count as an element.
const BYTES_OF_ONE: u64 = 200;
const CURVES_OF_ONE: f64 = 20.0;
/// No arc reaches further, px; what is drawn must lie a hundred times nearer.
const FARTHEST: f64 = 1e9;
/// Further away than anything that can be computed beforehand, px: the largest figure of the drawing library.
const FAR: f64 = f32::MAX as f64;
/// The most attributes of an element: each is compared with all others.
const MOST_ATTRIBUTES: usize = 1000;
/// The most that the style sheets of an SVG may ask for: bytes of them times elements.
const MOST_STYLING: usize = 100_000_000;
/// The most characters of a text, and of all texts: the library compares the parts of a text with each other.
const LONGEST_TEXT: usize = 4_000;
const MOST_CHARACTERS: usize = 100_000;
/// The most that markers may ask for: bytes of paths, where one may stand at every corner, times what a marker is made of.
const MOST_MARKING: usize = 400_000;

/// Done on the text: a reader of XML takes as long as the square of the attributes.
pub(super) fn check_attributes(text: &str) -> Result<(), ScreenFault> {
    // No value holds a `<`, and every attribute has its `=`.
    let crowded = text.split('<').position(|tag| tag.bytes().filter(|byte| *byte == b'=').count() > MOST_ATTRIBUTES);
    let Some(at) = crowded else { return Ok(()) };
    let line = 1 + text.split('<').take(at).map(|tag| tag.bytes().filter(|byte| *byte == b'\n').count()).sum::<usize>();
    Err(ScreenFault::new(
        format!("in line {line}, an element of the SVG has more than {MOST_ATTRIBUTES} attributes"),
        "remove those that draw nothing",
    ))
}

/// Style sheets are held against every element.
fn check_styling(document: &roxmltree::Document<'_>) -> Result<(), ScreenFault> {
    let elements = document.descendants().filter(roxmltree::Node::is_element);
    let (mut count, mut bytes) = (0, 0);
    for element in elements {
        count += 1;
        if element.tag_name().name() == "style" {
            bytes += element.descendants().filter_map(|node| node.text()).map(str::len).sum::<usize>();
        }
    }
    if bytes.saturating_mul(count) <= MOST_STYLING {
        return Ok(());
    }
    Err(ScreenFault::new(
        format!("the SVG has {bytes} bytes of style sheets for {count} elements"),
        "keep only the styles that are used, or write them as attributes",
    ))
}

fn check_texts(document: &roxmltree::Document<'_>) -> Result<(), ScreenFault> {
    let mut all = 0;
    for text in document.descendants().filter(|node| node.tag_name().name() == "text") {
        let characters = |node: roxmltree::Node<'_, '_>| node.text().map_or(0, |text| text.chars().count());
        let own: usize = text.descendants().filter(roxmltree::Node::is_text).map(characters).sum();
        all += own;
        if own > LONGEST_TEXT || all > MOST_CHARACTERS {
            let line = document.text_pos_at(text.range().start).row;
            return Err(ScreenFault::new(
                format!("in line {line}, the SVG has a text of more than {LONGEST_TEXT} characters, or many long ones"),
                "remove text that the screen does not show, or divide it",
            ));
        }
    }
    Ok(())
}

fn check_markers(document: &roxmltree::Document<'_>) -> Result<(), ScreenFault> {
    let markers = document.descendants().filter(|node| node.tag_name().name() == "marker");
    let Some(largest) = markers.map(|marker| marker.descendants().count()).max() else { return Ok(()) };
    let paths = document.descendants().filter_map(|node| node.attribute("d").or(node.attribute("points")));
    let bytes: usize = paths.map(str::len).sum();
    if bytes.saturating_mul(largest) <= MOST_MARKING {
        return Ok(());
    }
    Err(ScreenFault::new(
        format!("the SVG has markers, and {bytes} bytes of paths that may carry them"),
        "draw the markers as shapes, or simplify the paths",
    ))
}

/// How deep the elements of a drawing lie in each other, and how many there are, when each stands wherever it is referred
/// to: as the drawing library goes through them.
fn check_references(document: &roxmltree::Document<'_>) -> Result<(), ScreenFault> {
    let references = References::of(document);
    let view = largest_view(document);
    let mut grown: HashMap<roxmltree::NodeId, Grown> = HashMap::new();
    // A node is met twice: on the way down, and when all below it is known.
    let mut open = vec![(document.root(), None)];
    while let Some((node, is_met)) = open.pop() {
        if let Some((outline, all_below)) = is_met {
            let mut own = Grown { depth: 1, elements: 1 + outline };
            let mut for_each: u64 = 0;
            let all_below: Vec<Below<'_, '_>> = all_below;
            for below in all_below {
                let Some(grown) = grown.get(&below.node.id()) else { continue };
                own.depth = own.depth.max(1 + grown.depth);
                let sum = if below.is_inherited { &mut for_each } else { &mut own.elements };
                *sum = sum.saturating_add(grown.elements);
            }
            own.elements = own.elements.saturating_add(for_each.saturating_mul(own.elements));
            if own.depth > DEEPEST + 1 {
                return Err(too_deep(document, node));
            }
            grown.insert(node.id(), own);
        } else if let Entry::Vacant(vacant) = grown.entry(node.id()) {
            // What leads back to itself is left out by the library.
            vacant.insert(Grown { depth: 0, elements: 0 });
            let outline = size_of_outline(node, view);
            if outline > MOST_GROWN {
                return Err(too_long(document, node));
            }
            let below = references.below(node);
            let nodes: Vec<_> = below.iter().map(|below| (below.node, None)).collect();
            open.push((node, Some((outline, below))));
            open.extend(nodes);
        }
    }
    if grown.get(&document.root().id()).is_none_or(|all| all.elements <= MOST_GROWN) {
        return Ok(());
    }
    Err(ScreenFault::new(
        format!("the SVG has more than {MOST_GROWN} elements when every reference is expanded"),
        "simplify its outlines, patterns, masks, clips and uses",
    ))
}

/// An element with all that stands in it.
#[derive(Clone, Copy)]
struct Grown {
    depth: usize,
    elements: u64,
}

/// How many elements the outline of one counts as: the library takes arcs apart into curves, the more the further they
/// reach, and keeps them all.
fn size_of_outline(node: roxmltree::Node<'_, '_>, view: f64) -> u64 {
    let written = |name| node.attribute(name).map_or(0, str::len) as u64;
    let curves = node.attribute("d").map_or(0.0, curves_of_path) + curves_of_shape(node, view);
    (written("d") + written("points")) / BYTES_OF_ONE + (curves / CURVES_OF_ONE) as u64
}

/// The most curves that the arcs of a path are taken apart into. Points may be relative to the one before, and radii that
/// are too small for the points grow until they reach them: so everything so far is added up.
fn curves_of_path(path: &str) -> f64 {
    let mut reach = 0.0;
    let mut curves = 0.0;
    for segment in PathParser::from(path).map_while(Result::ok) {
        match segment {
            PathSegment::MoveTo { x, y, .. }
            | PathSegment::LineTo { x, y, .. }
            | PathSegment::CurveTo { x, y, .. }
            | PathSegment::SmoothCurveTo { x, y, .. }
            | PathSegment::Quadratic { x, y, .. }
            | PathSegment::SmoothQuadratic { x, y, .. } => reach += x.abs() + y.abs(),
            PathSegment::HorizontalLineTo { x: step, .. } | PathSegment::VerticalLineTo { y: step, .. } => {
                reach += step.abs();
            }
            PathSegment::EllipticalArc { rx, ry, x, y, .. } => {
                reach += x.abs() + y.abs();
                curves += curves_of_arc(reach + rx.abs() + ry.abs());
            }
            PathSegment::ClosePath { .. } => {}
        }
    }
    curves
}

fn curves_of_shape(node: roxmltree::Node<'_, '_>, view: f64) -> f64 {
    if !matches!(node.tag_name().name(), "circle" | "ellipse" | "rect") {
        return 0.0;
    }
    let radii = ["r", "rx", "ry"].iter().filter_map(|name| node.attribute(*name)?.parse().ok());
    radii.map(|radius| 4.0 * curves_of_arc(reach(radius, view))).sum()
}

/// The curves that one arc is taken apart into, where none may be off by more than 0.1 px: the sixth root of the radius over
/// that, a whole turn at most (as the library of curves works it out, whose constant is 1.1163).
fn curves_of_arc(radius: f64) -> f64 {
    if radius > FARTHEST {
        return f64::INFINITY;
    }
    1.0 + (1.1163 * radius / 0.1).powf(1.0 / 6.0)
}

/// How far a length reaches at most, px.
fn reach(length: Length, view: f64) -> f64 {
    length.number.abs()
        * match length.unit {
            LengthUnit::None | LengthUnit::Px => 1.0,
            LengthUnit::Percent => view / 100.0,
            LengthUnit::In | LengthUnit::Cm | LengthUnit::Mm | LengthUnit::Pt | LengthUnit::Pc => 96.0,
            // The size of letters may be given by that of others, and so on.
            LengthUnit::Em | LengthUnit::Ex => FAR,
        }
}

/// What a hundred per cent are at most, px: the largest size of a part of the drawing with axes of its own.
fn largest_view(document: &roxmltree::Document<'_>) -> f64 {
    let mut largest: f64 = 100.0;
    for element in document.descendants().filter(roxmltree::Node::is_element) {
        if let Some(view) = element.attribute("viewBox").and_then(|text| text.parse::<ViewBox>().ok()) {
            largest = largest.max(view.w).max(view.h);
        }
        if matches!(element.tag_name().name(), "svg" | "symbol" | "use") {
            let sizes = ["width", "height"].iter().filter_map(|name| element.attribute(*name)?.parse::<Length>().ok());
            // Per cent above 100 grow with every part that lies in another.
            let own = |size: Length| {
                let grows = size.unit == LengthUnit::Percent && size.number > 100.0;
                if grows { FAR } else { reach(size, 0.0) }
            };
            largest = sizes.map(own).fold(largest, f64::max);
        }
    }
    largest
}

fn too_long(document: &roxmltree::Document<'_>, node: roxmltree::Node<'_, '_>) -> ScreenFault {
    let line = document.text_pos_at(node.range().start).row;
    ScreenFault::new(
        format!("in line {line}, the SVG has an outline that is too long, or an arc that reaches too far"),
        "keep arcs within 10,000,000 px, write their sizes in px, and simplify the outline",
    )
}

/// What elements refer to, by attributes and by style sheets.
struct References<'a, 'i> {
    ids: HashMap<&'a str, roxmltree::Node<'a, 'i>>,
    /// Selectors, and the rest of their rules.
    rules: Vec<(&'a str, &'a str)>,
}

impl<'a, 'i> References<'a, 'i> {
    fn of(document: &'a roxmltree::Document<'i>) -> Self {
        let ids = document.descendants().filter_map(|node| Some((node.attribute("id")?, node))).collect();
        let sheets = document.descendants().filter(|node| node.tag_name().name() == "style");
        let texts = sheets.flat_map(|sheet| sheet.descendants()).filter(roxmltree::Node::is_text);
        let rules = texts.filter_map(|text| text.text()).flat_map(|text| text.split('}'));
        let rules = rules.filter_map(|rule| rule.split_once('{')).filter(|(_, body)| body.contains("url"));
        Self { ids, rules: rules.collect() }
    }

    /// The elements in an element, and those that it refers to.
    fn below(&self, node: roxmltree::Node<'a, 'i>) -> Vec<Below<'a, 'i>> {
        let of_itself = |name: &str| matches!(name, "clip-path" | "mask" | "filter" | "href");
        let attributes = node.attributes().map(|attribute| (attribute.value(), !of_itself(attribute.name())));
        let rules = self.rules.iter().filter(|(selector, _)| may_select(selector, node)).map(|(_, body)| (*body, true));
        let referred = attributes.chain(rules).flat_map(|(value, is_inherited)| {
            let names =
                value.split('#').skip(1).map(|part| part.split([')', '"', '\'', ' ', ';']).next().unwrap_or_default());
            names.filter_map(move |name| Some(Below { node: *self.ids.get(name)?, is_inherited }))
        });
        let inside = node.children().map(|node| Below { node, is_inherited: false });
        inside.chain(referred).filter(|below| below.node.is_element()).collect()
    }
}

/// What is drawn for an element.
#[derive(Clone, Copy)]
struct Below<'a, 'i> {
    node: roxmltree::Node<'a, 'i>,
    /// Drawn for each element in it as well, such as a pattern that fills a group.
    is_inherited: bool,
}

/// Whether a selector may be one for an element; where in doubt, it is.
fn may_select(selector: &str, node: roxmltree::Node<'_, '_>) -> bool {
    let classes = node.attribute("class").unwrap_or_default();
    selector.contains(['*', '[', ':', '\\'])
        || selector.contains(node.tag_name().name()) && node.is_element()
        || classes.split_whitespace().any(|class| selector.contains(class))
        || node.attribute("id").is_some_and(|id| selector.contains(id))
}

fn too_deep(document: &roxmltree::Document<'_>, node: roxmltree::Node<'_, '_>) -> ScreenFault {
    let line = document.text_pos_at(node.range().start).row;
    ScreenFault::new(
        format!("the SVG nests deeper than {DEEPEST} elements, in line {line}"),
        "flatten its groups and the elements that they refer to",
    )
}

pub(super) fn check_document(document: &roxmltree::Document<'_>) -> Result<(), ScreenFault> {
    check_styling(document)?;
    check_texts(document)?;
    check_markers(document)?;
    // A walk of its own, as recursion would overflow on the very files that it looks for.
    let mut open = vec![(document.root(), 0)];
    while let Some((node, depth)) = open.pop() {
        check_node(document, node, depth)?;
        open.extend(node.children().map(|child| (child, depth + 1)));
    }
    check_references(document)
}

fn check_node(
    document: &roxmltree::Document<'_>,
    node: roxmltree::Node<'_, '_>,
    depth: usize,
) -> Result<(), ScreenFault> {
    let line = || document.text_pos_at(node.range().start).row;
    if depth > DEEPEST {
        return Err(ScreenFault::new(
            format!("the SVG nests deeper than {DEEPEST} elements, in line {}", line()),
            "flatten its groups",
        ));
    }
    let drawn = !matches!(node.tag_name().name(), "image" | "feImage" | "a");
    let outside = node
        .attributes()
        .find(|attribute| attribute.name() == "href" && drawn && !attribute.value().trim_start().starts_with('#'));
    if let Some(attribute) = outside {
        return Err(ScreenFault::new(
            format!(
                "in line {}, the SVG refers to something outside itself: `{}`",
                line(),
                shortened(attribute.value())
            ),
            "copy what it refers to into the file",
        ));
    }
    Ok(())
}

pub(super) fn shortened(text: &str) -> String {
    let mut short: String = text.chars().take(60).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short
}
