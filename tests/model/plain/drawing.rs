//! SVG files of flat shapes: rectangles, and polygons of level and upright edges on whole pixels, alone or in groups that
//! may be moved by whole pixels. Knows which share of a pixel a shape covers, and draws nothing smooth.

use resvg::usvg::roxmltree::{Document, Node};

use super::Fault;
use super::geometry::Size;

#[derive(Clone, Debug)]
pub(crate) struct Drawing {
    pub(crate) size: Size,
    /// In the order in which they are drawn.
    pub(crate) shapes: Vec<Shape>,
    /// The ids of the outermost elements that have one, in that order too.
    pub(crate) ids: Vec<String>,
}

#[derive(Clone, Debug)]
pub(crate) struct Shape {
    /// Which of the drawing's ids it belongs to.
    pub(crate) id: Option<usize>,
    colour: [u8; 3],
    /// The corners, each joined with the next.
    corners: Vec<(f64, f64)>,
}

impl Drawing {
    pub(crate) fn read(text: &str) -> Result<Drawing, Fault> {
        let document = Document::parse(text).map_err(|e| e.to_string())?;
        let root = document.root_element();
        let size = Size { w: number(root, "width")? as i64, h: number(root, "height")? as i64 };
        let mut drawing = Drawing { size, shapes: Vec::new(), ids: Vec::new() };
        drawing.add_children(root, None, (0.0, 0.0))?;
        Ok(drawing)
    }

    fn add_children(&mut self, of: Node<'_, '_>, id: Option<usize>, moved: (f64, f64)) -> Result<(), Fault> {
        of.children().filter(Node::is_element).try_for_each(|child| self.add(child, id, moved))
    }

    fn add(&mut self, element: Node<'_, '_>, id: Option<usize>, moved: (f64, f64)) -> Result<(), Fault> {
        let id = id.or_else(|| {
            self.ids.push(element.attribute("id")?.to_owned());
            Some(self.ids.len() - 1)
        });
        let corners = match element.tag_name().name() {
            "g" => {
                let by = shift(element)?;
                return self.add_children(element, id, (moved.0 + by.0, moved.1 + by.1));
            }
            "rect" => corners_of_rect(element)?,
            "polygon" => pairs(element.attribute("points").unwrap_or_default())?,
            other => return Err(format!("{other} is not drawn here")),
        };
        let corners = corners.into_iter().map(|(x, y)| (x + moved.0, y + moved.1)).collect();
        self.shapes.push(Shape { id, colour: colour(element)?, corners });
        Ok(())
    }

    /// The colours of the pixels, on white. Only for shapes on whole pixels.
    pub(crate) fn painted(&self) -> Result<Vec<[u8; 3]>, Fault> {
        let mut painted = vec![[255; 3]; self.size.pixels()];
        for shape in &self.shapes {
            for (x, y) in shape.places(self.size) {
                match shape.share_of(x, y) {
                    1.0 => painted[(y * self.size.w + x) as usize] = shape.colour,
                    0.0 => {}
                    share => return Err(format!("{share} of the pixel {x}, {y} is covered")),
                }
            }
        }
        Ok(painted)
    }
}

impl Shape {
    /// The pixels of the drawing in the box around the shape: outside of it, it covers none.
    pub(crate) fn places(&self, size: Size) -> impl Iterator<Item = (i64, i64)> {
        let range = |sides: Vec<f64>, end: i64| {
            let least = sides.iter().copied().fold(f64::INFINITY, f64::min).floor() as i64;
            let most = sides.iter().copied().fold(f64::NEG_INFINITY, f64::max).ceil() as i64;
            least.max(0)..most.min(end)
        };
        let columns = range(self.corners.iter().map(|corner| corner.0).collect(), size.w);
        let rows = range(self.corners.iter().map(|corner| corner.1).collect(), size.h);
        rows.flat_map(move |y| columns.clone().map(move |x| (x, y)))
    }

    /// Which share of a pixel the shape covers: exact for an upright rectangle, and for every other shape on whole pixels.
    pub(crate) fn share_of(&self, x: i64, y: i64) -> f64 {
        let (x, y) = (x as f64, y as f64);
        if let [(left, top), (right, _), (_, bottom), _] = *self.corners {
            let along = |begin: f64, end: f64, at: f64| (end.min(at + 1.0) - begin.max(at)).max(0.0);
            return along(left, right, x) * along(top, bottom, y);
        }
        if self.holds(x + 0.5, y + 0.5) { 1.0 } else { 0.0 }
    }

    /// A ray to the right from an inner point crosses the outline an odd number of times.
    fn holds(&self, x: f64, y: f64) -> bool {
        let next = self.corners.iter().cycle().skip(1);
        let crossed = self.corners.iter().zip(next).filter(|(one, other)| {
            let is_upright_beside = (one.1 <= y) != (other.1 <= y);
            is_upright_beside && one.0 > x
        });
        crossed.count() % 2 == 1
    }
}

/// From the upper left one to the right.
fn corners_of_rect(element: Node<'_, '_>) -> Result<Vec<(f64, f64)>, Fault> {
    let at = |name: &str| if element.has_attribute(name) { number(element, name) } else { Ok(0.0) };
    let (left, top) = (at("x")?, at("y")?);
    let (right, bottom) = (left + number(element, "width")?, top + number(element, "height")?);
    Ok(vec![(left, top), (right, top), (right, bottom), (left, bottom)])
}

/// By how much a group is moved.
fn shift(group: Node<'_, '_>) -> Result<(f64, f64), Fault> {
    let Some(transform) = group.attribute("transform") else { return Ok((0.0, 0.0)) };
    let inner = transform.strip_prefix("translate(").and_then(|rest| rest.strip_suffix(')'));
    let moved = pairs(inner.ok_or_else(|| format!("{transform} is not drawn here"))?)?;
    moved.first().copied().ok_or_else(|| format!("{transform} has no numbers"))
}

fn colour(element: Node<'_, '_>) -> Result<[u8; 3], Fault> {
    let Some(fill) = element.attribute("fill") else { return Ok([0; 3]) };
    let value = u32::from_str_radix(fill.trim_start_matches('#'), 16).map_err(|e| format!("{fill}: {e}"))?;
    let [_, r, g, b] = value.to_be_bytes();
    Ok([r, g, b])
}

fn pairs(text: &str) -> Result<Vec<(f64, f64)>, Fault> {
    let numbers: Vec<f64> = text
        .split([' ', ','])
        .map(|number| number.parse().map_err(|e| format!("{number}: {e}")))
        .collect::<Result<_, Fault>>()?;
    Ok(numbers.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect())
}

fn number(element: Node<'_, '_>, name: &str) -> Result<f64, Fault> {
    let text = element.attribute(name).ok_or_else(|| format!("no {name}"))?;
    text.parse().map_err(|e| format!("{name}: {e}"))
}
