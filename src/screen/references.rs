//! How far the references of an SVG lead: what is drawn once in the file may be drawn a million times, or inside itself a
//! thousand deep, by what refers to it. Knows elements and their names, not what they look like.
//!
//! The drawing library follows references by recursion, as often as they are made.

use std::collections::{HashMap, HashSet};

use resvg::usvg::roxmltree::{Document, Node, NodeId};

/// The most references in the style sheets of a file. Each may be meant for every element.
const MOST_IN_STYLES: usize = 500;
/// The most references of an element to what it is a part of. Behind each of them the walk may miss a way, and with it
/// depth; a style for every path, with a marker that is a path itself, makes one a path of the marker.
const MOST_CIRCLES: usize = 16;

/// What is drawn of an element, the references in it followed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Reach {
    /// Elements in all, each as often as it is drawn.
    pub(super) elements: u64,
    /// Elements inside each other.
    pub(super) depth: usize,
}

/// What is drawn of a document. A reference in a circle is left out: the drawing library refuses it. What is not sure, as
/// which elements a style is for, is taken for the worse.
///
/// # Errors
/// What there is too much of.
pub(super) fn reach(document: &Document<'_>) -> Result<Reach, String> {
    let references = References::of(document)?;
    let mut circles = 0;
    let mut known: HashMap<NodeId, Reach> = HashMap::new();
    // A walk of its own, as recursion would overflow on the very files that it looks for.
    let mut open = vec![(document.root(), false)];
    let mut ways = HashSet::new();
    while let Some((node, is_below_known)) = open.pop() {
        if is_below_known {
            ways.remove(&node.id());
            known.insert(node.id(), with_below(&references.below(node), &known));
        } else if !known.contains_key(&node.id()) {
            known.insert(node.id(), Reach::default());
            ways.insert(node.id());
            open.push((node, true));
            open.extend(references.below(node).into_iter().map(|(below, _)| (below, false)));
        } else if ways.contains(&node.id()) {
            circles += 1;
        }
    }
    if circles > MOST_CIRCLES {
        return Err(format!("elements refer to what they are a part of more than {MOST_CIRCLES} times"));
    }
    Ok(known.get(&document.root().id()).copied().unwrap_or_default())
}

/// A node with all that is below it.
fn with_below(below: &[(Node<'_, '_>, Option<Call<'_>>)], known: &HashMap<NodeId, Reach>) -> Reach {
    let reach = |node: &Node<'_, '_>| known.get(&node.id()).copied().unwrap_or_default();
    let depth = below.iter().map(|(node, _)| reach(node).depth).max().unwrap_or(0);
    let children = below.iter().filter(|(_, call)| call.is_none()).map(|(node, _)| reach(node).elements);
    let own = children.fold(1_u64, u64::saturating_add);
    let called = below.iter().filter_map(|(node, call)| {
        let call = call.as_ref()?;
        let times = if call.is_inherited { call.times.saturating_mul(own) } else { call.times };
        Some(reach(node).elements.saturating_mul(times))
    });
    Reach { elements: called.fold(own, u64::saturating_add), depth: depth + 1 }
}

/// A name that is referred to.
#[derive(Clone, Copy, Debug)]
struct Call<'d> {
    name: &'d str,
    /// For one element.
    times: u64,
    /// Whether everything inside the element that calls refers to it as well.
    is_inherited: bool,
}

/// Who is called what, and whom style sheets call.
struct References<'d, 'i> {
    /// The first element of each name, and the last: readers differ in which of them is meant.
    named: HashMap<&'d str, [Node<'d, 'i>; 2]>,
    /// Whom the style sheets call, by the word of a selector that stands before it.
    styled: HashMap<&'d str, Vec<Call<'d>>>,
    /// Whom they call for anything.
    anywhere: Vec<Call<'d>>,
}

impl<'d, 'i> References<'d, 'i> {
    fn of(document: &'d Document<'i>) -> Result<Self, String> {
        let mut references = Self { named: HashMap::new(), styled: HashMap::new(), anywhere: Vec::new() };
        let mut in_styles = 0;
        for node in document.descendants().filter(Node::is_element) {
            if let Some(name) = node.attribute("id") {
                references.named.entry(name).or_insert([node; 2])[1] = node;
            }
            let texts = node.children().filter_map(|child| child.text()).filter(|_| node.tag_name().name() == "style");
            for rule in texts.flat_map(|text| text.split('}')) {
                in_styles += references.take_rule(rule);
            }
        }
        if in_styles > MOST_IN_STYLES {
            return Err(format!("its style sheets refer to elements more than {MOST_IN_STYLES} times"));
        }
        Ok(references)
    }

    /// Takes the references of a rule of a style sheet; how many there are.
    fn take_rule(&mut self, rule: &'d str) -> usize {
        let (selector, calls) = match rule.split_once('{') {
            Some((selector, body)) => (Some(selector), calls_of_style(body).collect()),
            None => (None, calls(rule, true).collect::<Vec<_>>()),
        };
        match selector.filter(|selector| !selector.contains(['*', '[', ':', '\\', '@'])) {
            Some(selector) => {
                for word in selector.split(|letter: char| !(letter.is_alphanumeric() || "-_".contains(letter))) {
                    self.styled.entry(word).or_default().extend(&calls);
                }
            }
            None => self.anywhere.extend(&calls),
        }
        calls.len()
    }

    /// What is drawn as a part of a node, and the calls that led there: its children, and what it refers to.
    fn below(&self, node: Node<'d, 'i>) -> Vec<(Node<'d, 'i>, Option<Call<'d>>)> {
        let is_called = ["id", "class"].into_iter().filter_map(|name| node.attribute(name));
        let words = is_called.flat_map(str::split_whitespace).chain([node.tag_name().name()]);
        let styled = words.filter_map(|word| self.styled.get(word)).flatten();
        let anywhere = self.anywhere.iter().filter(|_| node.is_element());
        let calls = own_calls(node).chain(styled.chain(anywhere).copied());
        let mut below: Vec<_> = node.children().filter(Node::is_element).map(|child| (child, None)).collect();
        for call in calls {
            let Some([first, last]) = self.named.get(call.name) else { continue };
            // A gradient is a list of colours: it is not drawn again for each shape.
            let is_list = first.tag_name().name().ends_with("Gradient");
            let call = if is_list { Call { times: 1, is_inherited: false, ..call } } else { call };
            below.push((*first, Some(call)));
            below.extend((first != last).then_some((*last, Some(call))));
        }
        below
    }
}

/// The calls in the attributes of a node.
fn own_calls<'d>(node: Node<'d, '_>) -> impl Iterator<Item = Call<'d>> {
    node.attributes().flat_map(move |attribute| {
        let (name, value) = (attribute.name(), attribute.value());
        let link = (name == "href").then(|| value.trim().strip_prefix('#')).flatten();
        let link = link.map(|name| Call { name, times: 1, is_inherited: false });
        let styled = (name == "style").then(|| calls_of_style(value));
        let plain = (name != "style").then(|| calls(value, is_inherited(name)));
        // A marker stands at each point of an outline.
        let is_of_points = name.starts_with("marker") || (name == "style" && value.contains("marker"));
        let times = if is_of_points { points(node) } else { 1 };
        let calls = styled.into_iter().flatten().chain(plain.into_iter().flatten());
        link.into_iter().chain(calls.map(move |call| Call { times, ..call }))
    })
}

/// The calls of declarations, as in `fill: red; mask: url(#a)`.
fn calls_of_style(text: &str) -> impl Iterator<Item = Call<'_>> {
    text.split(';').flat_map(|declaration| {
        let property = declaration.split(':').next().unwrap_or_default();
        calls(declaration, is_inherited(property.trim()) || property.contains('/'))
    })
}

/// Whether elements have the value of the one that they are in.
fn is_inherited(property: &str) -> bool {
    ["fill", "stroke", "marker"].iter().any(|inherited| property.starts_with(inherited))
}

/// The names in every `url(#name)` of a text.
fn calls(text: &str, is_inherited: bool) -> impl Iterator<Item = Call<'_>> {
    text.split("url(").skip(1).filter_map(move |rest| {
        let rest = rest.trim_start_matches([' ', '\'', '"']).strip_prefix('#')?;
        let name = rest.split([')', '\'', '"']).next()?.trim();
        Some(Call { name, times: 1, is_inherited })
    })
}

/// The points of an outline at the most: what can be a number in the texts that say where it goes.
fn points(node: Node<'_, '_>) -> u64 {
    let texts = ["d", "points"].into_iter().filter_map(|name| node.attribute(name));
    let is_apart = |letter: char| letter.is_whitespace() || letter.is_alphabetic() || letter == ',' || letter == '-';
    texts.flat_map(|text| text.split(is_apart)).filter(|part| !part.is_empty()).count().max(1) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reach_of(inside: &str) -> Result<Reach, String> {
        reach(&Document::parse(&format!("<svg>{inside}</svg>")).unwrap())
    }

    /// Elements and depth, without the document and its root element.
    fn counted(inside: &str) -> (u64, usize) {
        let Reach { elements, depth } = reach_of(inside).unwrap();
        (elements - 2, depth - 2)
    }

    #[test]
    fn an_element_counts_as_often_as_it_is_drawn() {
        assert_eq!(counted("<g><a/><b/></g><c/>"), (4, 2));
        assert_eq!(counted("<g id='x'><a/></g><use href='#x'/><use href=' #x'/>"), (2 + 3 + 3, 3));
        assert_eq!(counted("<m id='x'><a/></m><g mask='url(#x)' style='fill: url( \"#x\" )'/>"), (2 + 5, 3));
        assert_eq!(counted("<g id='x'/><g id='x'><a/></g><use href='#x'/>"), (3 + 4, 3), "either may be meant");
        assert_eq!(counted("<g id='x'><a/></g><g fill='url(#x)'><a/><b/></g>"), (2 + 3 + 3 * 2, 3), "for each inside");
        assert_eq!(counted("<g id='x'><a/></g><g style='stroke:url(#x);mask:none'><a/></g>"), (2 + 2 + 2 * 2, 3));
        assert_eq!(
            counted("<linearGradient id='x'><a/></linearGradient><g fill='url(#x)'><a/><b/></g>"),
            (2 + 3 + 2, 3)
        );
        assert_eq!(counted("<m id='x'/><path marker-mid='url(#x)' d='M1,2L3-4h5'/>"), (2 + 5, 2), "at each point");
        assert_eq!(counted("<use href='#nobody'/><g fill='url(a.svg#b)'/>"), (2, 1));
    }

    #[test]
    fn a_circle_ends() {
        assert_eq!(counted("<g id='x'><use href='#x'/></g>"), (2, 2));
        assert_eq!(counted("<g id='x' mask='url(#y)'/><g id='y' mask='url(#x)'/>").1, 2);
        let many = format!("<g id='x'>{}</g>", "<use href='#x'/>".repeat(MOST_CIRCLES + 1));
        assert!(reach_of(&many).unwrap_err().contains("more than 16"));
    }

    #[test]
    fn style_sheets_refer_as_attributes_do() {
        let sheet = |rule: &str| {
            counted(&format!("<style>{rule}</style><p id='x'><a/></p><g class='one two'/><g id='me'/><g/>"))
        };
        let without = sheet("g { fill: red }");
        assert_eq!(without, (6, 2));
        for (rule, more) in [
            (".two { fill: url(#x) }", 2),
            ("#me{mask:url(#x)}", 2),
            ("a > .one, #me { fill: url('#x') }", 4),
            ("g { fill: url(#x) }", 6),
            ("[y] { fill: url(#x) }", 6),
            (".two { /* } */ fill: url(#x) }", 6),
            (".nobody { fill: url(#x) }", 0),
        ] {
            assert!(sheet(rule).0 >= without.0 + more, "{rule}: {:?}", sheet(rule));
        }
        let many = format!("<style>{}</style>", "g{fill:url(#x)}".repeat(MOST_IN_STYLES + 1));
        assert!(reach_of(&many).unwrap_err().contains("more than 500"));
    }

    #[test]
    fn what_grows_with_every_reference_is_counted_without_being_walked() {
        let layer = |at: usize| format!("<g id='x{at}'>{}</g>", format!("<use href='#x{}'/>", at + 1).repeat(10));
        let bomb: String = (0..40).map(layer).collect();
        assert_eq!(reach_of(&bomb).unwrap().elements, u64::MAX);
    }
}
