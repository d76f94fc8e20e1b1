//! The display descriptions that ship with the program, as texts.

use crate::geometry::Size;

/// Name and text of every shipped description, in the order of the list that users see.
pub const SHIPPED: [(&str, &str); 15] = [
    ("label-2in1", include_str!("shipped/label-2in1.display.json")),
    ("label-7in5", include_str!("shipped/label-7in5.display.json")),
    ("meter-2in9", include_str!("shipped/meter-2in9.display.json")),
    ("watch-1in3", include_str!("shipped/watch-1in3.display.json")),
    ("handheld-4in2", include_str!("shipped/handheld-4in2.display.json")),
    ("tag-red-2in6", include_str!("shipped/tag-red-2in6.display.json")),
    ("tag-yellow-2in6", include_str!("shipped/tag-yellow-2in6.display.json")),
    ("sign-7in3", include_str!("shipped/sign-7in3.display.json")),
    ("segments-5v", include_str!("shipped/segments-5v.display.json")),
    ("segments-15v", include_str!("shipped/segments-15v.display.json")),
    ("flag-red", include_str!("shipped/flag-red.display.json")),
    ("panel-5in", include_str!("shipped/panel-5in.display.json")),
    ("reader-7in", include_str!("shipped/reader-7in.display.json")),
    ("tablet-10in3", include_str!("shipped/tablet-10in3.display.json")),
    ("desk-13in3", include_str!("shipped/desk-13in3.display.json")),
];

/// Name and text of every drawing of segments that the shipped descriptions use.
const DRAWINGS: [(&str, &str); 2] = [
    ("segments-5v.svg", include_str!("shipped/segments-5v.svg")),
    ("flag-red.svg", include_str!("shipped/flag-red.svg")),
];

/// The text of a drawing of segments that a shipped description uses.
pub fn drawing_of(name: &str) -> Option<&'static str> {
    DRAWINGS.iter().find(|(shipped, _)| *shipped == name).map(|(_, text)| *text)
}

/// The text of a shipped description.
pub fn text_of(name: &str) -> Option<&'static str> {
    SHIPPED.iter().find(|(shipped, _)| *shipped == name).map(|(_, text)| *text)
}

/// The names of the shipped descriptions that give a size, with that size in pixels: those that only change another are left
/// out.
pub fn sizes() -> impl Iterator<Item = (&'static str, Size)> + Clone {
    SHIPPED.iter().filter_map(|(name, text)| {
        let (sides, _) = text.split_once("\"size_px\": [")?.1.split_once(']')?;
        let (width, height) = sides.split_once(',')?;
        Some((*name, Size { width: width.trim().parse().ok()?, height: height.trim().parse().ok()? }))
    })
}

/// The names of the shipped descriptions.
pub fn names() -> impl Iterator<Item = &'static str> + Clone {
    SHIPPED.iter().map(|(name, _)| *name)
}
